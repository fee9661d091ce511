"""Lines under the roads: what they say and of which laps. All data is invented."""

from __future__ import annotations

from typing import Any

import pytest

from lapwright.guide.mark_words import TOPIC_TITLES, compose_mark_words
from lapwright.guide.sentences import write_text
from lapwright.guide.unit_system import choose_unit_system

METRIC = choose_unit_system("metric").as_view()


def make_view(**corner: Any) -> dict[str, Any]:
    """A guide of one corner and two laps."""
    actions = {"brake_start_m": {"median": 140.0}, "turn_in_m": {"median": None}}
    words = {
        name: {"label": label, "is_place": True}
        for name, label in (("brake_start_m", "brake start"), ("turn_in_m", "turn-in"))
    }
    laps = [{"id": str(k), "number": k, "track_limits": None} for k in (1, 2)]
    return {
        "guide": {
            "corners": [{"id": "1", "apex_m": 200.0, "actions": actions, **corner}],
            "laps": laps, "corner_laps": [],
        },
        "pictures": {"spans": [
            {"kind": "kerb", "name": "{0} kerb", "start_m": 190.0, "end_m": 210.0}]},
        "words": {"actions": words, "corners": {"1": {}}},
    }  # fmt: skip


def tell(view: dict[str, Any], key: str = "corners") -> list[tuple[str, Any]]:
    """Every line in metric units, with the laps that it holds of."""
    marks = compose_mark_words(view)
    lines = marks[key]["1"] if key == "corners" else marks[key]
    return [(write_text(one["text"], METRIC), one.get("laps")) for one in lines]


def test_a_corner_of_which_nothing_is_known_has_no_lines():
    assert tell(make_view()) == []
    assert compose_mark_words(make_view())["kerb_charts"] == {"1": []}


def test_road_past_the_edge_is_no_road_left():
    def part(left: float, verdict: str | None = "used") -> dict[str, Any]:
        return {"left_m": left, "side": "inside", "verdict": verdict}

    view = make_view(road_use={"entry": part(1.24, "leave it"), "apex": part(-0.31), "exit": None})
    said = "road left: entry 1.2\u00a0m (leave it) · apex none, 0.3\u00a0m past the edge"
    assert tell(view) == [(said, None)]


def test_laps_that_left_a_kerb_alone_share_a_line():
    uses = [
        {"lap": "1", "wheels": ["front left", "rear left"], "depth_m": 0.25, "length_m": 12.0},
        {"lap": "2", "wheels": [], "depth_m": 0.0, "length_m": 0.0},
        {"lap": "3", "wheels": [], "depth_m": 0.0, "length_m": 0.0},
    ]
    on, off = tell(make_view(kerbs=[{"name": "{0} kerb", "uses": uses}]))
    assert on[0].endswith(
        "front left and rear left, 0.3\u00a0m deep, for 12\u00a0m; 1 of 3 laps on it"
    )
    assert on[1] == ["1"]
    assert off[0].endswith("no wheel on it; 1 of 3 laps on it")
    assert off[1] == ["2", "3"]


def test_a_depth_that_a_slide_could_make_is_only_bounded():
    uses = [{"lap": "1", "wheels": ["front left"], "depth_m": 0.03, "length_m": 12.0}]
    ((said, _),) = tell(make_view(kerbs=[{"name": "{0} kerb", "uses": uses}]))
    assert "front left, less than 0.1\u00a0m deep" in said


def test_the_author_s_reference_stands_in_place_of_the_computed_one():
    view = make_view(chosen_references=[{"action": "brake_start_m", "reference": "the {1} tree"}])
    view["pictures"]["references"] = [
        {"corner": "1", "action": "brake_start_m", "at_m": 139.0, "kind": "place",
         "text": {"t": "the board", "v": []}},
    ]  # fmt: skip
    ((said, _),) = tell(view)
    assert said.startswith("brake start: the {")
    assert said.endswith("tree, the author's choice")
    view["guide"]["corners"][0]["chosen_references"] = []
    assert tell(view) == [("brake start: the board", None)]


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"road_left_m": 1.5}, "stays on the road, 1.5\u00a0m left"),
        ({"speed_at_edge_mps": 30.0, "side": "left", "runoff_m": 4.0},
         "over the edge on the left at up to 108\u00a0km/h, run-off left 4\u00a0m"),
        ({"speed_at_edge_mps": 30.0, "runoff_m": -4.0},
         "over the edge at up to 108\u00a0km/h, run-off too short by 4\u00a0m"),
        ({"speed_at_edge_mps": 30.0}, "over the edge at up to 108\u00a0km/h"),
    ],
)  # fmt: skip
def test_of_two_misses_the_worse_is_told(values: dict[str, Any], said: str):
    unknown = ("edge_m", "side", "road_left_m", "speed_at_edge_mps", "runoff_m")
    change = {"action": "brake_start_m", "change": "later", "today": 140.0}
    blank = {**change, **dict.fromkeys(unknown)}
    rows = [{**blank, **values, "missed_by_m": by} for by in (5.0, 10.0)]
    assert tell(make_view(room=rows)) == [(f"braking later, missed by 10\u00a0m: {said}", None)]


def test_a_breach_is_told_of_its_own_lap():
    view = make_view()
    row = {"side": "left", "start_m": 10.0, "end_m": 30.0, "by_m": 0.34, "duration_s": 0.5}
    view["guide"]["laps"][1]["track_limits"] = {
        "breaches": [{**row, "sure": True}, {**row, "sure": False}]
    }
    sure, perhaps = tell(view, "bounds")
    assert sure == ("lap 2 past the bound on the left, by 0.3\u00a0m for 0.5\u00a0s", ["2"])
    assert perhaps[0].startswith("lap 2 perhaps past")


def test_topics_are_titled_once_for_page_and_paper():
    topics = compose_mark_words(make_view())["topics"]
    assert [(one["key"], one["title"]) for one in topics] == list(TOPIC_TITLES)
