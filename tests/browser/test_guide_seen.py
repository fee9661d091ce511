"""What is seen, repeated with, left at the edges and in hand stands in pictures and in words.

Every number is invented here; a test holds the page to what was put in.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lapwright.guide.sentences import chosen_system, write_text
from lapwright.publish.html import render_html

AHEAD_M = 70.0
WIDTHS = ((0.04, "offset", 1), (0.0004, "offset", 1), (1e-9, "time", 2), (0.05, "speed", 0),
          (0.34, "offset", 1), (0.0, "offset", 1))  # fmt: skip
SAID = ("references", "road", "room", "sight", "hands")
TURNING = {"brake": 0.25, "neither": 0.05, "throttle": 0.7}
TEXTS = "sheet => [...sheet.querySelectorAll('.details text')].map(e => e.textContent)"


def find_corner(view: Any, number: str) -> Any:
    return next(c for c in view["guide"]["corners"] if c["id"] == number)


def add_what_is_seen(view: Any) -> Any:
    """Put sight, references, kerbs, breaches and room into an invented view."""
    pictures, words, guide = view["pictures"], view["words"], view["guide"]
    chosen, length = pictures["chosen_lap"], guide["circuit"]["length_m"]
    pictures["sight"] = {
        "ahead_m": np.full(pictures["points"], AHEAD_M), "reach_m": 600.0,
        "eye_m": [0.0, 0.3, 1.1], "eye_given": False, "corners": {}, "views": [],
        "alignments": [],
    }  # fmt: skip
    pictures["references"] = []
    for corner in guide["corners"]:
        for key in SAID:
            words["corners"][corner["id"]][key] = [
                {"t": f"Said of {key}: {{0}}.", "v": [[12.0, "distance"]]}
            ]
        place = (corner["apex_m"] - 20.0) % length
        pictures["references"] += [
            {"corner": corner["id"], "action": action, "at_m": place, "kind": kind,
             "landmarks": [], "text": {"t": f"the {kind} <b>&", "v": []}}
            for action, kind in (("brake_end_m", "place"), ("turn_in_m", "state"))
        ]  # fmt: skip
    corner = find_corner(view, "4")
    apex = corner["apex_m"]
    pictures["spans"].append({"kind": "kerb", "name": "test kerb", "start_m": apex - 8.0,
                              "end_m": apex + 8.0, "left_m": 7.4, "right_m": 6.4})  # fmt: skip
    corner["kerbs"] = [{"name": "test kerb", "effects": [], "uses": [
        {"lap": chosen, "wheels": ["front left"], "depth_m": 0.4, "length_m": 11.0}]}]  # fmt: skip
    corner["road_use"] = {
        part: {"left_m": left, "side": side, "verdict": verdict}
        for part, left, side, verdict in (
            ("entry", 1.2, "outside", "worth using"), ("apex", 0.6, "inside", "used"),
            ("exit", 2.4, "outside", "leave it"))
    }  # fmt: skip
    corner["room"] = [
        {"action": "brake_start_m", "change": "later", "today": apex - 60.0, "missed_by_m": missed,
         "speed_at_edge_mps": 20.0 + missed, "edge_m": apex - 5.0, "side": "left",
         "road_left_m": None, "runoff_m": -7.0} for missed in (5.0, 10.0)
    ]  # fmt: skip
    other = find_corner(view, "5")
    other["kerbs"] = [
        {
            "name": "deep kerb",
            "effects": [],
            "uses": [
                {
                    "lap": lap["id"],
                    "wheels": ["front left"] if k else [],
                    "depth_m": 0.1 * k,
                    "length_m": 9.0,
                }
                for k, lap in enumerate(one for one in guide["laps"] if one["used"])
            ],
        }
    ]
    other["rotation"] = {"turning": TURNING}
    corner["chosen_references"] = [
        {"action": "turn_in_m", "reference": "the white stack", "computed": False}
    ]
    lap = next(lap for lap in guide["laps"] if lap["id"] == chosen)
    lap["track_limits"] = {"rule": "whole-car", "breaches": [
        {"side": side, "start_m": apex + at, "end_m": apex + at + 12.0, "corner": "4",
         "duration_s": 0.5, "by_m": 0.3, "sd_m": 0.1, "sure": sure}
        for side, at, sure in (("left", 20.0, True), ("right", -30.0, False))]}  # fmt: skip
    words["corners"]["4"]["hands"] += [
        {"t": f"Repeats within ±\u00a0{{0}}, ± {{1}}, {key} {{0}}.",
         "v": [[width, quantity, decimals], [width, quantity]]}
        for key, (width, quantity, decimals) in enumerate(WIDTHS)
    ]  # fmt: skip
    words["sight"] = {"title": "What can be seen", "sentences": [{"t": "From the seat.", "v": []}]}
    words["stints"] = {"title": "Stints", "sentences": [
        {"t": "Grip fell by {0}.", "v": [[0.03, "share"]]}], "why_null": None}  # fmt: skip
    words["notes"] = {"unfit": [{"t": "line 4: corner 19 is not there.", "v": []}]}
    return view


@pytest.fixture(scope="module")
def view(make_view: Any) -> Any:
    return add_what_is_seen(make_view())


@pytest.fixture(scope="module")
def seen_guide(view: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("seen") / "guide.html"
    path.write_bytes(render_html(view))
    return path


@pytest.fixture(scope="module", params=[1440, 390])
def opened(request: pytest.FixtureRequest, open_guide: Any, seen_guide: Path) -> Any:
    return open_guide(seen_guide, width=request.param)


def test_the_page_asks_nobody_and_complains_of_nothing(opened: Any, seen_guide: Path):
    assert opened.requests == [seen_guide.as_uri()]
    assert opened.complaints == []


def test_the_hidden_road_begins_where_sight_ends(opened: Any, view: Any):
    corner = find_corner(view, "4")
    chosen = view["pictures"]["chosen_lap"]
    row = next(r for r in view["guide"]["corner_laps"]
               if r["corner"] == "4" and r["lap"] == chosen)  # fmt: skip
    sheet = opened.page.locator("#corner-4")
    box = sheet.locator(".ribbon").bounding_box()
    # The axis of the picture itself tells which pixel is which metre.
    marks = sheet.evaluate(
        """sheet => [...sheet.querySelectorAll('.ribbon .axis')].map(e => {
          const line = e.previousElementSibling.getBoundingClientRect();
          return [e.textContent, line.left + line.width / 2]; })"""
    )
    places = {0.0 if text == "apex" else float(text.replace("\u2212", "-").split("\u00a0")[0]): x
              for text, x in marks if text == "apex" or "\u00a0m" in text}  # fmt: skip
    (m1, x1), (m2, x2) = min(places.items()), max(places.items())
    horizon = sheet.locator(".ribbon .horizon").bounding_box()
    measured = m1 + (horizon["x"] + horizon["width"] / 2 - x1) * (m2 - m1) / (x2 - x1)
    wanted = row["actions"]["brake_start_m"] + AHEAD_M - corner["apex_m"]
    assert measured == pytest.approx(wanted, abs=2.0 * (m2 - m1) / box["width"] + 0.5)
    assert sheet.locator(".inset .veil").count() == 1
    assert "70\u00a0m of road in view from the brake point" in sheet.evaluate(TEXTS)
    assert "in view from the brake point" in sheet.locator(".inset").get_attribute("aria-label")


def test_kerbs_edges_and_room_stand_under_the_road(opened: Any):
    sheet = opened.page.locator("#corner-4")
    said = " ".join(sheet.evaluate(TEXTS))
    for words in (
        "test kerb: front left, 0.4\u00a0m deep, for 11\u00a0m; 1 of 1 laps on it",
        "road left: entry 1.2\u00a0m (worth using) · apex 0.6\u00a0m · exit 2.4\u00a0m (leave it)",
        "past the bound on the left, by 0.3\u00a0m for 0.5\u00a0s",
        "perhaps past the bound on the right",
        # The worse of the two misses: 10 m, not 5.
        "missed by 10\u00a0m: over the edge on the left at up to 108\u00a0km/h, "
        "run-off too short by 7\u00a0m",
        "turn-in: the white stack, the author's choice",
        "brake end: the place <b>&",
    ):
        assert words in said
    assert "the state" not in said  # the author's own stands in its place
    assert sheet.locator(".ribbon .wheel.on").count() == 1
    assert sheet.locator(".ribbon .wheel").count() == 4
    assert sheet.locator(".ribbon .roadleft.nothing").count() == 1
    assert sheet.locator(".details .over").count() == 2
    assert sheet.locator(".details .over.perhaps").count() == 1


def test_breaches_lie_outside_their_edge(opened: Any):
    sheet = opened.page.locator("#corner-4")
    road = sheet.locator(".ribbon .road").first.bounding_box()
    middle = road["y"] + road["height"] / 2
    marks = sheet.locator(".ribbon g:not(.details) > g > rect.over")
    sure = marks.and_(opened.page.locator(":not(.perhaps)")).first.bounding_box()
    perhaps = marks.and_(opened.page.locator(".perhaps")).first.bounding_box()
    assert sure["y"] < middle < perhaps["y"]  # left is up on the ribbon


def test_every_picture_s_marks_are_told_to_those_who_listen(opened: Any):
    for sheet in opened.page.locator(".sheet").all():
        told = sheet.locator(".unseen[aria-label] li").all_text_contents()
        drawn = re.sub(r"\s+", "", "".join(sheet.evaluate(TEXTS)))
        assert told
        assert all(re.sub(r"\s+", "", text) in drawn for text in told)


def test_the_road_in_view_follows_the_cursor_on_the_plan(opened: Any):
    slider = opened.page.locator("#corner-4 .slider")
    slider.focus()
    opened.page.keyboard.press("ArrowRight")
    opened.until("(document.querySelector('[data-part=seen]').getAttribute('d') || '') !== ''")
    long, whole = opened.page.evaluate(
        """() => [document.querySelector('[data-part=seen]').getTotalLength(),
                  document.querySelector('.planroad').getTotalLength()]"""
    )
    length = opened.page.evaluate(
        "JSON.parse(document.getElementById('view').textContent).guide.circuit.length_m"
    )
    assert long / whole == pytest.approx(AHEAD_M / length, rel=0.03)
    assert "70\u00a0m of road in view" in slider.get_attribute("aria-valuetext")


def test_words_stand_beside_the_pictures(opened: Any):
    page = opened.page
    for key in SAID:
        topic = page.locator(f"#corner-4 [data-topic={key}]")
        assert f"Said of {key}: 12\u00a0m." in topic.inner_text()
    titles = [t.strip() for t in page.locator("main h2").all_text_contents()]
    laps, ledger = (
        page.evaluate(f"document.querySelector('{s}').getBoundingClientRect().top + scrollY")
        for s in (".laps", "#ledger")
    )
    stints = page.locator("#stints")
    top = stints.evaluate("e => e.getBoundingClientRect().top + scrollY")
    assert laps < top < ledger
    assert "Grip fell by 3\u00a0%." in stints.inner_text()
    assert "Notes that no longer fit" in titles
    assert page.locator(".unfit li").all_inner_texts() == ["line 4: corner 19 is not there."]


def test_a_kerb_s_depth_stands_against_the_corner_s_time(opened: Any, view: Any):
    dots = opened.page.locator("#corner-5 .kerbchart circle")
    uses = find_corner(view, "5")["kerbs"][0]["uses"]
    rows = {r["lap"]: r["time_s"] for r in view["guide"]["corner_laps"] if r["corner"] == "5"}
    drawn = dots.evaluate_all("all => all.map(e => [e.dataset.lap, +e.getAttribute('cx'),"
                              " +e.getAttribute('cy'), e.classList.contains('none')])")  # fmt: skip
    places = {lap: (x, y, hollow) for lap, x, y, hollow in drawn}
    assert set(places) == {use["lap"] for use in uses}
    across = np.polyfit([u["depth_m"] for u in uses], [places[u["lap"]][0] for u in uses], 1)
    upward = np.polyfit([rows[u["lap"]] for u in uses], [places[u["lap"]][1] for u in uses], 1)
    assert across[0] > 0
    assert upward[0] < 0
    for use in uses:
        x, y, hollow = places[use["lap"]]
        assert x == pytest.approx(np.polyval(across, use["depth_m"]), abs=0.1)
        assert y == pytest.approx(np.polyval(upward, rows[use["lap"]]), abs=0.1)
        assert hollow is (not use["wheels"])
    assert "deep kerb" in opened.page.locator("#corner-5 .kerbchart figcaption").inner_text()
    assert opened.page.locator("#corner-4 .kerbchart").count() == 0  # one lap alone shows nothing


def test_the_turning_of_each_phase_is_as_long_as_its_share(opened: Any):
    boxes = {
        phase: opened.page.locator(f"#corner-5 [data-phase={phase}] .turn").bounding_box()
        for phase in TURNING
    }
    whole = sum(box["width"] for box in boxes.values())
    for phase, share in TURNING.items():
        assert boxes[phase]["width"] / whole == pytest.approx(share, abs=0.02)
    first, second, third = boxes.values()
    assert second["x"] == pytest.approx(first["x"] + first["width"], abs=1.5)  # one after another
    assert third["x"] == pytest.approx(second["x"] + second["width"], abs=1.5)


def test_widths_are_written_by_the_same_rule_as_elsewhere(opened: Any, view: Any):
    system = chosen_system(view["units"])
    expected = [write_text(text, system) for text in view["words"]["corners"]["4"]["hands"]]
    assert opened.page.locator("#corner-4 [data-topic=hands] p").all_inner_texts() == expected
    assert "±\u00a00.04\u00a0m" in expected[1]


def test_labels_stay_apart_and_inside(opened: Any):
    overlaps, outside = opened.page.evaluate(
        """() => { const overlaps = [], outside = [];
          for (const svg of document.querySelectorAll('svg.ribbon')) {
            const area = svg.getBoundingClientRect();
            const boxes = [...svg.querySelectorAll('.details text')].map(e => [e.textContent,
              e.getBoundingClientRect()]);
            boxes.forEach(([a, p], i) => {
              if (p.left < area.left - 1 || p.right > area.right + 1) outside.push(a);
              for (const [b, q] of boxes.slice(0, i))
                if (Math.min(p.right, q.right) - Math.max(p.left, q.left) > 1 &&
                    Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 2)
                  overlaps.push([a, b]);
            }); } return [overlaps, outside]; }"""
    )
    assert overlaps == []
    assert outside == []


def test_a_guide_without_sight_says_nothing_of_it(open_guide: Any, guide: Path):
    page = open_guide(guide).page
    assert page.locator(".veil, .horizon, .details text, .topics, #stints, .unfit").count() == 0
    assert "in view" not in page.locator("main").inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(open_guide: Any, seen_guide: Path, root: Path, scheme: str):
    axe = root / "web" / "node_modules" / "axe-core" / "axe.min.js"
    assert axe.exists(), "build the front end first: its packages bring axe-core"
    page = open_guide(seen_guide, scheme=scheme).page
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    page.evaluate(f"() => {{ {axe.read_text('utf-8')} }}")
    found = page.evaluate(
        """async () => (await axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a',
          'wcag21aa', 'wcag22aa', 'best-practice'] })).violations
          .map(v => [v.id, v.nodes.length, v.nodes[0].html.slice(0, 160)])"""
    )
    assert found == []


def test_without_a_script_the_words_stand_in_plain_form(
    open_guide: Any, seen_guide: Path, view: Any
):
    opened = open_guide(seen_guide, script=False)
    said = opened.page.locator("main").inner_text()
    for words in (*(f"Said of {key}: 12\u00a0m." for key in SAID), "Grip fell by 3\u00a0%.",
                  "line 4: corner 19 is not there."):  # fmt: skip
        assert words in said
    pictures = opened.page.get_by_role("img")
    assert pictures.count() == 1 + len(view["guide"]["corners"])
    assert "circuit from above" in pictures.first.get_attribute("aria-label")
    # The road is drawn in its colour: the policy has let the picture be.
    assert opened.page.locator(".onpaper path[fill='#e9eae6']").count() > 0
    assert opened.complaints == []
