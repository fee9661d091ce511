"""The guide in a browser: quiet, linked, led by keys, and in the reader's units."""

from __future__ import annotations

import copy
import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from lapwright.guide.sentences import write_text
from lapwright.publish.html import render_html

HOSTILE = "<img src=x onerror=document.title='owned'>"


@pytest.fixture(scope="module")
def view(make_view: Any) -> Any:
    return make_view()


@pytest.fixture(scope="module")
def opened(open_guide: Any, guide: Path) -> Any:
    return open_guide(guide)


def cursor_x(opened: Any, corner: int) -> float:
    """Where the cursor line of a sheet stands, in its own pixels."""
    moved = opened.page.locator(f"#corner-{corner} .ribbon [data-part=line]")
    return float(re.findall(r"translate\(([\d.]+)", moved.get_attribute("transform"))[0])


def readings(opened: Any, corner: int) -> dict[str, str]:
    """What is written beside the cursor of a sheet."""
    answer: dict[str, str] = opened.page.evaluate(
        """corner => Object.fromEntries([...document.querySelectorAll(
            `#corner-${corner} .ribbon .cursor [data-part]`)].map(e => [e.dataset.part,
            e.textContent]))""",
        corner,
    )
    return answer


def read_place(text: str, apex: float) -> float:
    """Read "12 m before the apex" back into metres from the line."""
    read = re.fullmatch(r"(\d+)\u00a0m (before|after) the apex", text)
    assert read is not None
    return apex + int(read[1]) * (-1 if read[2] == "before" else 1)


def test_page_asks_for_nothing_and_complains_about_nothing(opened: Any, guide: Path):
    opened.page.locator("#corner-3 .slider").hover()
    assert opened.requests == [guide.as_uri()]
    assert opened.complaints == []


def test_every_corner_has_a_sheet_with_its_picture(opened: Any, view: Any):
    corners = view["guide"]["corners"]
    assert opened.page.locator(".sheet svg.ribbon").count() == len(corners) >= 12
    assert opened.page.locator(".sheet svg.inset").count() == len(corners)


def test_ribbon_strips_inset_and_plan_share_one_cursor(opened: Any):
    slider = opened.page.locator("#corner-4 .slider")
    slider.scroll_into_view_if_needed()
    slider.hover(position={"x": 700, "y": 200})
    opened.until("document.querySelector('#corner-4 .ribbon.reading') !== null")
    lines = opened.page.locator("#corner-4 .ribbon [data-part=line]")
    assert lines.count() == 1
    box, strip = lines.bounding_box(), opened.page.locator("#corner-4 [data-strip=steering]")
    road = opened.page.locator("#corner-4 .ribbon .road").bounding_box()
    assert box["y"] < road["y"] + 5
    assert box["y"] + box["height"] > strip.bounding_box()["y"] + 30
    assert cursor_x(opened, 4) == pytest.approx(700, abs=1.5)
    dots = "#corner-4 .ribbon .cursor .dot.this"
    xs = opened.page.evaluate(
        "s => [...document.querySelectorAll(s)].map(e => e.transform.baseVal[0].matrix.e)", dots
    )
    assert len(xs) == 5  # the ribbon, speed, throttle, acceleration, steering
    assert {round(x, 1) for x in xs} == {round(cursor_x(opened, 4), 1)}
    inset = opened.page.locator("#corner-4 .inset .cursor .dot").bounding_box()
    assert opened.page.locator("#corner-4 .inset").bounding_box()["x"] < inset["x"]


def test_the_plan_s_cursor_stands_at_the_same_place(opened: Any, view: Any):
    pictures = view["pictures"]
    road, step = pictures["road"], pictures["step_m"]
    opened.page.locator("#corner-4 .slider").hover(position={"x": 420, "y": 200})
    opened.until("document.querySelector('#corner-4 .ribbon.reading') !== null")
    place = read_place(readings(opened, 4)["place"], view["guide"]["corners"][3]["apex_m"])
    box = opened.page.evaluate(
        "(b => [b.x, b.y, b.width, b.height])(document.querySelector('.planroad').getBBox())"
    )
    dot = opened.page.locator("[data-part=plan]").get_attribute("transform")
    x, y = (float(v) for v in re.findall(r"-?[\d.]+", dot))
    i = round(place / step)
    scale = box[2] / np.ptp(road["x"])
    assert x == pytest.approx(box[0] + (road["x"][i] - road["x"].min()) * scale, abs=2)
    assert y == pytest.approx(box[1] + (road["y"].max() - road["y"][i]) * scale, abs=2)


def test_cursor_reads_the_view_s_own_numbers(opened: Any, view: Any):
    pictures = view["pictures"]
    slider = opened.page.locator("#corner-4 .slider")
    slider.focus()
    slider.hover(position={"x": 500, "y": 200})
    opened.until("document.querySelector('#corner-4 .ribbon.reading') !== null")
    said = readings(opened, 4)
    place = read_place(said["place"], view["guide"]["corners"][3]["apex_m"])
    speed = pictures["laps"][pictures["chosen_lap"]]["speed"][round(place / pictures["step_m"])]
    assert float(said["strip-speed"].split("\u00a0")[0]) == pytest.approx(speed * 3.6, abs=1.5)
    label = slider.get_attribute("aria-valuetext")
    assert said["place"] in label
    assert said["strip-speed"] in label


def test_arrow_keys_move_the_cursor_and_shift_moves_it_further(opened: Any):
    slider = opened.page.locator("#corner-6 .slider")
    slider.hover(position={"x": 600, "y": 200})
    opened.until("document.querySelector('#corner-6 .ribbon.reading') !== null")
    places = [cursor_x(opened, 6)]
    for key in ("ArrowRight", "Shift+ArrowRight", "ArrowLeft"):
        before = places[-1]
        opened.page.keyboard.press(key)
        opened.page.wait_for_timeout(60)
        places.append(cursor_x(opened, 6))
        assert places[-1] != before
    metre = places[1] - places[0]
    assert metre > 0
    assert places[2] - places[1] == pytest.approx(10 * metre, rel=0.02)
    assert places[3] - places[2] == pytest.approx(-metre, rel=0.02)


def test_j_and_k_go_from_corner_to_corner(opened: Any):
    opened.page.evaluate("scrollTo(0, 0)")
    opened.until("document.querySelector('.bar .steps select').value === '-1'")
    focus = "document.activeElement.id"
    opened.page.keyboard.press("j")
    opened.page.keyboard.press("j")
    assert opened.page.evaluate(focus) == "corner-2-title"
    assert (
        opened.page.evaluate("document.querySelector('#corner-2').getBoundingClientRect().top")
        < 120
    )
    opened.page.keyboard.press("k")
    assert opened.page.evaluate(focus) == "corner-1-title"


def test_fast_keys_count_even_while_the_page_scrolls(browser: Browser, guide: Path):
    context = browser.new_context(offline=True, reduced_motion="no-preference")
    page = context.new_page()
    page.goto(guide.as_uri())
    while page.evaluate("document.documentElement.dataset.drawn") != "all":
        page.wait_for_timeout(50)
    page.locator("h1").first.focus()
    # Three presses a few frames apart, each while the scroll of the one before is on its way.
    page.evaluate(
        """() => { let n = 0; const press = () => {
             document.activeElement.dispatchEvent(
               new KeyboardEvent('keydown', { key: 'j', bubbles: true }));
             if (++n < 3) setTimeout(press, 60); }; press(); }"""
    )
    page.wait_for_timeout(3000)
    assert page.evaluate("document.activeElement.id") == "corner-3-title"
    assert page.get_by_label("corner", exact=True).input_value() == "2"
    page.mouse.wheel(0, -100000)  # the reader's own scroll is followed again
    page.wait_for_timeout(3000)
    assert page.get_by_label("corner", exact=True).input_value() != "2"
    context.close()


def test_focus_can_be_seen(opened: Any):
    opened.page.locator("#corner-1 .account .cause").last.focus()
    opened.page.keyboard.press("Tab")
    style = opened.page.evaluate(
        "(s => [s.outlineStyle, s.outlineWidth])(getComputedStyle(document.activeElement))"
    )
    assert opened.page.evaluate("document.activeElement.getAttribute('role')") == "slider"
    assert style == ["solid", "2px"]


def test_plan_numbers_lead_to_their_corners(opened: Any):
    opened.page.locator(".plannumber").nth(4).focus()
    opened.page.keyboard.press("Enter")
    top = "document.querySelector('#corner-5').getBoundingClientRect().top"
    assert opened.until(f"Math.abs({top}) < 120")


def test_units_rewrite_every_sentence(open_guide: Any, guide: Path, view: Any):
    opened = open_guide(guide)
    for name in ("imperial", "metric"):
        opened.page.get_by_label("units").select_option(name)
        system = view["units"]["systems"][name]
        words = [view["words"]["lede"], *view["words"]["missing"]]
        for corner in view["words"]["corners"].values():
            words += [corner["title"], corner["why"], *corner["instructions"]]
        expected = [write_text(text, system) for text in words]
        said = opened.page.evaluate("document.body.innerText")
        assert [text for text in expected if text not in said] == []
        unit = system["quantities"]["speed"]["unit"]
        assert f"speed, {unit}" in opened.page.locator("#corner-1 .ribbon").text_content()


def test_another_lap_can_be_shown_and_held_against(open_guide: Any, guide: Path):
    opened = open_guide(guide)
    opened.page.locator("#corner-1 .actions summary").click()
    row = opened.page.locator("#corner-1 .actions tbody tr").first
    opened.page.get_by_label("show lap 4", exact=True).check()
    opened.page.get_by_label("hold it against lap 9", exact=True).check()
    head = opened.page.locator("#corner-1 .actions thead").inner_text()
    assert re.search(r"lap 4\s+lap 9", head)
    opened.page.locator(".which select").nth(1).select_option("")
    assert "lap 9" not in opened.page.locator("#corner-1 .actions thead").inner_text()
    assert opened.page.locator("#corner-1 .ribbon .lap.against").count() == 0
    assert row.locator("td").count() == 6


def test_dark_and_light_can_be_switched(open_guide: Any, guide: Path):
    opened = open_guide(guide, scheme="dark")
    ground = "getComputedStyle(document.body).backgroundColor"
    dark = opened.page.evaluate(ground)
    opened.page.locator(".theme").click()
    light = opened.page.evaluate(ground)
    assert [int(re.findall(r"\d+", c)[0]) > 128 for c in (dark, light)] == [False, True]


def test_hostile_names_appear_as_text(open_guide: Any, make_view: Any, tmp_path: Path):
    path = tmp_path / "hostile.html"
    path.write_bytes(render_html(make_view(laps=3, hostile=HOSTILE)))
    opened = open_guide(path)
    assert opened.page.locator("img").count() == 0
    assert HOSTILE in opened.page.locator("h1").inner_text()
    assert HOSTILE in opened.page.title()
    assert opened.complaints == []


@pytest.fixture(scope="module")
def bare(make_view: Any) -> Any:
    """A recording without pedals, steering or surveyed edges, and with one lap."""
    view = copy.deepcopy(make_view(laps=2))
    view["guide"]["circuit"]["surveyed"] = False
    view["pictures"]["compare_lap"] = None
    view["pictures"]["spans"] = view["pictures"]["landmarks"] = []
    for lap in view["pictures"]["laps"].values():
        for channel in ("throttle", "brake", "steering", "gear"):
            lap[channel] = None
        lap["n"][40:90] = float("nan")
    return view


def test_what_is_missing_is_said_where_it_would_stand(open_guide: Any, bare: Any, tmp_path: Path):
    path = tmp_path / "bare.html"
    path.write_bytes(render_html(bare))
    opened = open_guide(path)
    picture = opened.page.locator("#corner-1 .ribbon").text_content()
    for lacking in ("throttle", "steering"):
        assert f"Not in this recording: {lacking}." in picture
    assert "edges not surveyed" in picture
    dashes = "getComputedStyle(document.querySelector('.edge.unsurveyed')).strokeDasharray"
    assert opened.page.evaluate(dashes) != "none"
    assert opened.complaints == []


def test_plain_form_stands_without_a_script(open_guide: Any, guide: Path, view: Any):
    opened = open_guide(guide, script=False)
    text = opened.page.locator("main.plain").inner_text()
    for corner in view["guide"]["corners"]:
        assert f"Corner {corner['id']}, {corner['name']}" in text
    assert "set aside: out lap" in text
    assert "Build up to a later brake point" in text
    assert opened.page.locator("noscript").is_visible()


#: Nothing on paper is set smaller, pt; a browser's own steps are finer than a tenth of it.
LEAST_PT = 8.9


def read_paper(page: Any) -> list[tuple[str, float]]:
    """Text of each sheet of paper, and the size of its smallest type in points."""
    sheets = []
    for sheet in PdfReader(io.BytesIO(page.pdf(format="A4", print_background=True))).pages:
        sizes = []

        def visit(text: str, cm: Any, tm: Any, _font: Any, size: float, sizes: Any = sizes) -> None:
            scale = [abs(m[0] * m[3] - m[1] * m[2]) ** 0.5 for m in (cm, tm)]
            if text.strip():
                sizes.append(abs(size) * scale[0] * scale[1])

        text = sheet.extract_text(visitor_text=visit)
        sheets.append((text, min(sizes, default=LEAST_PT)))
    return sheets


def test_each_corner_takes_one_sheet_of_paper(open_guide: Any, guide: Path, view: Any):
    page = open_guide(guide).page
    sheets = read_paper(page)
    drawn = [text for text, _ in sheets if "steering left" in text]
    assert len(drawn) == len(view["guide"]["corners"])
    for corner, text in zip(view["guide"]["corners"], drawn, strict=True):
        assert f"Corner {corner['id']}, {corner['name']}" in text
    # What has no room there stands behind all of them.
    assert sum("More of each corner" in text for text, _ in sheets) == 1
    assert min(size for _, size in sheets) >= LEAST_PT
    # Printing lays the pictures out anew; afterwards they fit the screen again.
    box = "document.querySelector('#corner-1 .ribbon').viewBox.baseVal.width"
    wide = "document.querySelector('#corner-1 .picture').clientWidth"
    page.wait_for_timeout(100)
    assert page.evaluate(box) == page.evaluate(wide)
