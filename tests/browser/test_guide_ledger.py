"""The ledger adds up on the page, leads to the road by keys, and says what it cannot show."""

from __future__ import annotations

import copy
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lapwright.publish.html import render_html
from lapwright.publish.hundredths import print_account

SUMS = """() => [...document.querySelectorAll('#ledger tbody tr')].map(r =>
  [r.dataset.corner, r.querySelector('.sum').textContent])"""

BARS = """c => {
  const svg = document.querySelector(`[data-corner="${c}"] .bar-picture`);
  const zero = Number(svg.querySelector('.zeroline').getAttribute('d').match(/M([\\d.]+)/)[1]);
  return [...svg.querySelectorAll('rect')].map(r =>
    [r.getAttribute('class').split(' ')[1], r.x.baseVal.value - zero, r.width.baseVal.value]);
}"""


@pytest.fixture(scope="module")
def view(make_view: Any) -> Any:
    return make_view()


@pytest.fixture(scope="module")
def opened(open_guide: Any, guide: Path) -> Any:
    return open_guide(guide)


def read_seconds(text: str) -> int:
    """Read "0.31" or "−0.13 gained" back into hundredths."""
    read = re.fullmatch(r"(\u2212?)(\d+)\.(\d\d)( gained)?", text)
    assert read is not None, text
    assert bool(read[1]) == bool(read[4])  # a gain is always said in words too
    return int(read[2] + read[3]) * (-1 if read[1] else 1)


def account_of(view: Any, lap: str, against: str) -> Any:
    accounts = view["ledger"]["accounts"]
    return next(a for a in accounts if (a["lap"], a["against"]) == (lap, against))


def test_the_page_prints_the_same_hundredths_as_the_plain_form(opened: Any, view: Any):
    printed = print_account(account_of(view, view["pictures"]["chosen_lap"], "own_best"))
    sums = {corner: read_seconds(text) for corner, text in opened.page.evaluate(SUMS)}
    assert sums == {c.account["corner"]: c.total for c in printed.corners}
    feet = [read_seconds(t) for t in opened.page.locator("#ledger tfoot .sum").all_text_contents()]
    assert feet == [printed.straight, printed.difference]
    assert sum(sums.values()) + feet[0] == feet[1]
    for one in printed.corners:
        rows = opened.page.locator(f"#corner-{one.account['corner']} .account tbody tr:not(.paper)")
        said = rows.locator(".sum").all_text_contents()
        assert [read_seconds(t) for t in said] == [n for _, n in one.rows]


def test_loss_lies_right_of_zero_gain_left_and_what_cannot_be_shown_is_hollow(
    opened: Any, view: Any
):
    chosen = account_of(view, view["pictures"]["chosen_lap"], "own_best")
    for corner in chosen["corners"]:
        bars = opened.page.evaluate(
            BARS,
            corner["corner"],
        )
        assert len(bars) == sum(abs(r["cost_s"]) >= 5e-4 for r in corner["rows"])
        for kind, x, wide in bars:
            if kind == "gained":
                assert x + wide <= 0.1
            if kind == "lost":
                assert x >= -0.1
        kinds = [kind for kind, _, _ in bars]
        assert kinds.count("hollow") == sum(
            not r["significant"] and abs(r["cost_s"]) >= 5e-4 for r in corner["rows"]
        )
    fills = "c => getComputedStyle(document.querySelector(`#ledger table .cost.${c}`)).fill"
    assert opened.page.evaluate(fills, "hollow") == "none"
    assert "gainhatch" in opened.page.evaluate(fills, "gained")
    nothing = sum(not any(r["significant"] for r in c["rows"]) for c in chosen["corners"])
    assert nothing > 0
    said = opened.page.locator("#ledger tbody").inner_text()
    assert said.count("No difference that this data can show") == nothing


def test_a_cause_leads_by_keys_to_its_place_on_the_road(open_guide: Any, guide: Path, view: Any):
    opened = open_guide(guide)
    button = opened.page.locator("#ledger .cause").first
    corner = button.evaluate("e => e.closest('tr').dataset.corner")
    button.focus()
    opened.page.keyboard.press("Enter")
    sheet = f"#corner-{corner}"
    opened.until(f"document.querySelector('{sheet} .pickedplace') !== null")
    focus = opened.page.evaluate("document.activeElement.dataset.cause")
    rows = next(
        c["rows"]
        for c in account_of(view, view["pictures"]["chosen_lap"], "own_best")["corners"]
        if c["corner"] == corner
    )
    row = next(r for r in rows if r["cause"] == focus)
    assert (
        opened.page.evaluate(
            f"document.querySelector('{sheet} .account').getBoundingClientRect().top"
        )
        < 120
    )
    # The cursor stands in the middle of the marked stretch.
    line = opened.page.locator(f"{sheet} .ribbon [data-part=line]")
    opened.until(f"document.querySelector('{sheet} .ribbon.reading') !== null")
    x = float(re.findall(r"translate\(([\d.]+)", line.get_attribute("transform"))[0])
    ends = opened.page.locator(f"{sheet} .bracket").get_attribute("d")
    a, b = (float(v) for v in re.findall(r"M([\d.]+)", ends))
    assert x == pytest.approx((a + b) / 2, abs=1.5)
    pressed = opened.page.locator(f"{sheet} .account [aria-pressed=true]")
    assert pressed.get_attribute("data-cause") == row["cause"]
    opened.page.keyboard.press("Enter")  # once more lets it go
    opened.until(f"document.querySelector('{sheet} .pickedplace') === null")


def test_on_a_narrow_screen_the_marked_road_comes_into_sight(open_guide: Any, guide: Path):
    opened = open_guide(guide, width=390)
    opened.page.locator("#ledger .cause").nth(3).click()
    opened.until("document.querySelector('.pickedplace') !== null")
    top, bottom, room = opened.page.evaluate(
        """() => { const b = document.querySelector('.pickedplace').getBoundingClientRect();
          return [b.top, b.bottom, innerHeight]; }"""
    )
    assert 0 < top < bottom < room
    reading = opened.page.locator(".ribbon.reading [data-part=lost]").first.bounding_box()
    assert reading["x"] >= 0
    assert reading["x"] + reading["width"] <= 390


def test_ticks_stand_where_the_ledger_loses_time(opened: Any, view: Any):
    lost = np.asarray(account_of(view, view["pictures"]["chosen_lap"], "own_best")["lost_s"])
    step = view["pictures"]["step_m"]
    corner = view["guide"]["corners"][5]
    sheet = opened.page.locator(f"#corner-{corner['id']}")
    slider = sheet.locator(".slider")
    low, high = (float(slider.get_attribute(f"aria-value{end}")) for end in ("min", "max"))
    first, last = (round((corner["apex_m"] + v) / step) for v in (low, high))
    change = lost[last] - lost[first]
    net = sheet.locator(".ribbon .tick.lost").count() - sheet.locator(".ribbon .tick.won").count()
    assert net == pytest.approx(change / 0.05, abs=1.1)
    assert sheet.locator(".ribbon .tick").count() > 0


def test_the_lap_and_what_it_is_held_against_can_be_chosen(open_guide: Any, guide: Path, view: Any):
    opened = open_guide(guide)
    choosers = opened.page.locator("#ledger .chooser select")
    for lap, key in (("L4", "possible_on_line"), ("L9", "possible_on_fastest_line")):
        choosers.nth(0).select_option(lap)
        choosers.nth(1).select_option(key)
        printed = print_account(account_of(view, lap, key))
        foot = opened.page.locator("#ledger tfoot .sum").last.inner_text()
        assert read_seconds(foot) == printed.difference
    choosers.nth(1).select_option("lap:L5")
    said = opened.page.locator("#ledger .empty").inner_text()
    assert "keeps no account of lap 9 against lap 5" in said
    assert opened.page.locator("#ledger .ledger").count() == 0
    assert opened.complaints == []


def test_a_sheet_is_held_against_the_lap_that_was_best_there(
    open_guide: Any, make_view: Any, tmp_path: Path
):
    view = make_view(laps=4)
    account = account_of(view, view["pictures"]["chosen_lap"], "own_best")
    others = [lap for lap in view["pictures"]["laps"] if lap != view["pictures"]["chosen_lap"]]
    for i, corner in enumerate(account["corners"]):
        corner["against_lap"] = others[i % 2]
    path = tmp_path / "own_best.html"
    path.write_bytes(render_html(view))
    opened = open_guide(path)
    for i, corner in enumerate(account["corners"][:2]):
        key = opened.page.locator(f"#corner-{corner['corner']} .key[aria-label=key]").inner_text()
        assert f"against: lap {others[i % 2][1:]}" in key


def test_order_of_work_says_evidence_first_and_seconds_last(opened: Any):
    items = opened.page.locator(".work li").all_inner_texts()
    assert len(items) == 3
    assert all(
        0 < t.index("Done on laps") < t.index("Goal:") < t.index("worth about") for t in items
    )


def test_what_is_possible_is_drawn(opened: Any, view: Any):
    assert opened.page.locator("#possible .panels svg").count() == 3
    for panel in opened.page.locator("#possible .panels svg").all():
        dashes = panel.locator(".limit").evaluate_all(
            "es => es.map(e => getComputedStyle(e).strokeDasharray !== 'none')"
        )
        assert dashes == [True, False, True]  # carried on, shown, carried on
        assert panel.locator(".limitband").get_attribute("d") != ""
    corners = len(view["guide"]["corners"])
    assert opened.page.locator(".sheet .ribbon .lap.possible").count() == 2 * corners
    assert opened.page.locator(".sheet .inset .lap.possible").count() == corners
    assert opened.page.locator(".sheet .cando").count() == corners
    assert opened.page.locator(".load.pressed").count() > 0
    assert opened.page.locator(".load.light").count() > 0


def test_teeth_of_the_comb_are_longest_where_road_is_worth_most(opened: Any, view: Any):
    possible, corner = view["pictures"]["possible"], view["guide"]["corners"][3]
    sheet = opened.page.locator(f"#corner-{corner['id']}")
    comb = sheet.locator(".ribbon .comb").get_attribute("d")
    teeth = [(float(x), float(v)) for x, v in re.findall(r"M([\d.]+) [\d.]+v(-?[\d.]+)", comb)]
    side, sign = ("left", -1) if corner["direction"] == "left" else ("right", 1)
    longest = max((t for t in teeth if t[1] * sign > 0), key=lambda t: abs(t[1]))
    zero = sheet.locator(".ribbon path.grid.zero").first.get_attribute("d")
    apex = float(re.findall(r"M([\d.]+)", zero)[0])
    worth = possible[f"worth_{side}"]
    assert worth[round(corner["apex_m"] / view["pictures"]["step_m"])] > 0.9 * worth.max()
    assert longest[0] == pytest.approx(apex, abs=60)


def test_a_guide_without_a_ledger_stands_as_before(open_guide: Any, make_view: Any, tmp_path: Path):
    path = tmp_path / "before.html"
    path.write_bytes(render_html(make_view(laps=3, worth=False)))
    opened = open_guide(path)
    for part in ("#ledger", "#possible", ".work", ".account", ".comb", ".lap.possible"):
        assert opened.page.locator(part).count() == 0
    assert opened.page.locator(".sheet .ribbon .tick").count() > 0  # against the lap
    assert opened.complaints == []


def test_gaps_are_said_and_nothing_breaks(open_guide: Any, make_view: Any, tmp_path: Path):
    view = copy.deepcopy(make_view(laps=3))
    view["pictures"]["possible"]["load"] = None
    view["pictures"]["envelope"]["drive"] = None
    view["pictures"]["envelope"]["brake"]["low"] = view["pictures"]["envelope"]["brake"]["high"] = (
        None
    )
    view["words"]["possible"]["why_null"] = {"t": "No fastest line: the road is narrower.", "v": []}
    view["ledger"]["accounts"] = []
    view["ledger"]["habits"] = None
    view["ledger"]["why_null"] = {"t": "No ledger: one lap counts.", "v": []}
    view["order_of_work"] = []
    path = tmp_path / "gaps.html"
    path.write_bytes(render_html(view))
    opened = open_guide(path)
    text = opened.page.evaluate("document.body.innerText")
    for words in ("the road is narrower", "one lap counts", "support no item of work"):
        assert words in text
    assert opened.page.locator("#possible .panels svg").count() == 2
    assert opened.page.locator(".load").count() == 0
    assert opened.complaints == []


def test_the_plain_form_holds_the_ledger(open_guide: Any, guide: Path, view: Any):
    opened = open_guide(guide, script=False)
    text = opened.page.locator("main.plain").inner_text()
    chosen = view["pictures"]["chosen_lap"]
    for choice in view["ledger"]["against"]:
        printed = print_account(account_of(view, chosen, choice["key"]))
        assert f"Lap {chosen[1:]} against {choice['label']}" in text
        assert f"{printed.difference / 100:.2f}".replace("-", "\u2212") in text
    assert "Order of work" in text
    assert "What is possible" in text


def test_gaps_of_the_laps_are_differences_of_the_times_shown(
    open_guide: Any, make_view: Any, tmp_path: Path
):
    view = copy.deepcopy(make_view(laps=4))
    used = [lap for lap in view["guide"]["laps"] if lap["used"]]
    for lap, time in zip(used, (94.7376, 94.7734, 94.9996, 95.1), strict=False):
        lap["time_s"] = time  # 94.738 and 94.773 are shown: 0.035 apart, not 0.036
    path = tmp_path / "gaps.html"
    path.write_bytes(render_html(view))
    rows = open_guide(path).page.locator(".laps tbody tr").all_inner_texts()
    found = [re.findall(r"1:3(\d\.\d{3})|\+(\d\.\d{3})", row) for row in rows]
    shown = {cells[0][0]: cells[1][1] for cells in found if len(cells) == 2}
    assert shown["4.773"] == "0.035"
    assert all(gap == f"{float(time) - 4.738:.3f}" for time, gap in shown.items())
