"""What the guide says of room to be wrong, on invented findings."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from lapwright.driving.ledger_records import OWN_BEST
from lapwright.driving.room import Missed, Room
from lapwright.driving.room_goals import Goal
from lapwright.driving.work_order import WorkItem
from lapwright.guide.compose import compose_view
from lapwright.guide.sentences import write_text
from lapwright.guide.unit_system import METRIC
from lapwright.publish.json import render_json

GOAL = Goal("2", "brake_start_m", "later", 498.0, 508.0, ("Driver A", "3"), "3")
STAYS = Missed(5.0, None, None, None, None, None, 0.8, None, "the car stays on the road")
LEAVES = Missed(10.0, 21.0, 23.0, None, 570.0, "right", None, 12.0)


def view_of(invented: Any, *rooms: Room) -> dict[str, Any]:
    return compose_view(replace(invented.make_findings(), rooms=rooms), METRIC)


def said(view: dict[str, Any]) -> str:
    system = view["units"]["systems"]["metric"]
    return " ".join(write_text(t, system) for t in view["words"]["corners"]["2"]["room"])


def test_a_change_names_who_showed_it_what_missing_it_risks_and_the_steps(invented: Any):
    view = view_of(invented, Room(GOAL, (STAYS, LEAVES), (503.0, 508.0)))
    text = said(view).replace("\xa0", " ")
    assert "Braking 10 m later than usual (shown by Driver A on lap 3)" in text
    assert "Missed by 5 m, the car stays on the road with 0.8 m left" in text
    assert "reaches the right edge of the road at up to 83 km/h" in text
    assert "12 m of run-off are left" in text
    assert "that 11 laps showed" in text
    assert "each held before the next: 57 m, 52 m before the apex" in text


def test_advice_beyond_what_anyone_has_shown_is_called_computed_and_is_no_order(invented: Any):
    for change, action, today, goal in (
        ("later", "brake_start_m", 498.0, 508.0),
        ("faster", "minimum_speed_mps", 24.0, 25.0),
        ("flat", "off_throttle_m", 470.0, None),
    ):
        room = Room(
            replace(GOAL, change=change, action=action, today=today, goal=goal, shown_by=None),
            (STAYS, replace(STAYS, by_m=10.0)),
            (),
        )
        view = view_of(invented, room)
        text = said(view)
        assert "computed; nobody has driven it" in text
        assert "shown by" not in text
        assert not re.search(r"(?:^|\. )(?:Brake|Go|Stay|Carry|Keep|Take|Hold)\b|\bmust\b", text)
        (corner,) = [c for c in view["guide"]["corners"] if c["id"] == "2"]
        assert corner["room"][0]["shown_by"] is None
        assert corner["room"][0]["computed"] is True


@pytest.mark.parametrize(
    ("missed", "part"),
    [
        (replace(LEAVES, runoff_m=-7.0), "the run-off is 7 m too short to stop"),
        (replace(LEAVES, runoff_m=None, runoff_why_null="none"), "the run-off there is not known"),
        (replace(LEAVES, edge_mps=None), "it may reach the right edge"),
    ],
)
def test_run_off_and_doubt_are_worded(invented: Any, missed: Missed, part: str):
    text = said(view_of(invented, Room(GOAL, (STAYS, missed), ()))).replace("\xa0", " ")
    assert part in text


def test_the_document_holds_a_row_for_each_miss(invented: Any):
    view = view_of(invented, Room(GOAL, (STAYS, LEAVES), (503.0, 508.0)))
    (corner,) = [c for c in view["guide"]["corners"] if c["id"] == "2"]
    rows = corner["room"]
    assert [row["missed_by_m"] for row in rows] == [5.0, 10.0]
    assert rows[0]["speed_at_edge_mps"] is None
    assert rows[1]["speed_at_edge_mps"] == 23.0
    assert rows[1]["runoff_m"] == 12.0
    assert rows[1]["shown_by"] == {"driver": "Driver A", "lap": "3"}
    assert rows[1]["steps"] == [503.0, 508.0]
    others = [c for c in view["guide"]["corners"] if c["id"] != "2"]
    assert all(c["room"] == [] and c["room_why_empty"] for c in others)
    assert render_json(view["guide"])


@pytest.mark.parametrize(
    ("cause", "change"),
    [("early_braking", "later"), ("slow_minimum", "faster"), ("lift", "flat")],
)
def test_what_is_asked_for_without_a_known_room_says_why(invented: Any, cause: str, change: str):
    item = WorkItem(
        "2", cause, OWN_BEST, None, None, None, None, ("3",), ("1", "2"), 0.8, 0.2, 0.1, 0.3
    )
    findings = replace(invented.make_findings(), work=(item,))
    view = compose_view(replace(findings, no_room="the edges were not surveyed"), METRIC)
    assert said(view).endswith("is not known: the edges were not surveyed.")
    (corner,) = [c for c in view["guide"]["corners"] if c["id"] == "2"]
    assert [one["change"] for one in corner["room_unknown"]] == [change]
    room = Room(replace(GOAL, change=change), (STAYS, replace(STAYS, by_m=10.0)), ())  # type: ignore[arg-type]
    view = compose_view(replace(findings, rooms=(room,)), METRIC)
    assert "is not known" not in said(view)
    (corner,) = [c for c in view["guide"]["corners"] if c["id"] == "2"]
    assert corner["room_unknown"] == []


def numbers(part: Any) -> list[float]:
    """Every number that stands in a document."""
    if isinstance(part, dict):
        return [n for value in part.values() for n in numbers(value)]
    if isinstance(part, list):
        return [n for value in part for n in numbers(value)]
    return [float(part)] if isinstance(part, (int, float)) and not isinstance(part, bool) else []


def test_every_number_of_a_sentence_stands_in_the_document(invented: Any):
    """Those of the room's sentences, over the start line too; signs are words in a sentence."""
    findings = invented.make_findings()
    length = findings.circuit.length_m
    over = [replace(c, apex_m=3.0) if c.id == "2" else c for c in findings.circuit.corners]
    short = replace(LEAVES, runoff_m=-7.3)
    faster = replace(
        GOAL, change="faster", action="minimum_speed_mps", today=24.0, goal=25.7, shown_by=None
    )
    line = replace(GOAL, today=length - 61.0, goal=length - 48.7)
    for circuit, rooms in (
        (findings.circuit, [Room(GOAL, (STAYS, LEAVES), (503.0, 508.0))]),
        (findings.circuit, [Room(faster, (STAYS, short), (24.9, 25.7))]),
        (
            replace(findings.circuit, corners=tuple(over)),
            [Room(line, (STAYS, short), (length - 55.0, length - 48.7))],
        ),
    ):
        view = compose_view(replace(findings, circuit=circuit, rooms=tuple(rooms)), METRIC)
        (corner,) = [c for c in view["guide"]["corners"] if c["id"] == "2"]
        told = view["words"]["corners"]["2"]["room"]
        values = [value[0] for text in told for value in text["v"]]
        assert len(values) >= 6
        held = [abs(n) for n in numbers(corner["room"])]
        assert not [v for v in values if not any(abs(abs(v) - n) < 1e-9 for n in held)]
    assert corner["room"][0]["later_m"] == pytest.approx(12.3)
    assert corner["room"][0]["steps_before_apex_m"] == pytest.approx([58.0, 51.7])


def test_the_cautions_come_with_it(invented: Any):
    cautions = " ".join(view_of(invented)["guide"]["cautions"]).lower()
    for word in ("steps", "closed circuits", "marshals"):
        assert word in cautions
