"""What is said about laps that do not count; the laps are invented."""

from __future__ import annotations

from typing import Any

from lapwright.model.lap import Lap
from lapwright.model.lap_findings import find_lap_messages

GAP = "no position from 0.75 s before to 0.75 s after the line: time ±0.06 s, not ranked"


def lap(number: int, why_not: str = "", **changes: Any) -> Lap:
    given: dict[str, Any] = {
        "id": str(number), "file": "s.csv", "driver": "", "number": number, "kind": "part",
        "start_s": 60.0 * number, "end_s": 60.0 * number + 60.0, "time_s": 60.0,
        "time_sd_s": 0.01, "used": not why_not, "why_not": why_not,
    }  # fmt: skip
    return Lap(**(given | changes))


def test_two_laps_at_one_gap_are_one_message():
    # FAULTS row L07
    laps = [lap(1), lap(2, GAP), lap(3, GAP), lap(4)]
    (message,) = find_lap_messages(laps)
    assert message.text == (
        f"s.csv, laps 2 and 3, t = 120.0–240.0 s: {GAP}. Left out of statistics."
    )
    assert (message.lap, message.start_s, message.end_s) == (2, 120.0, 240.0)


def test_a_run_of_laps_is_said_once_and_each_file_by_itself():
    why = "driven clockwise; the circuit runs anticlockwise"
    laps = [lap(n, why, file=f) for f in ("a.csv", "b.csv") for n in (1, 2, 3)]
    said = [m.text for m in find_lap_messages(laps)]
    assert [s.split(", t =")[0] for s in said] == ["a.csv, laps 1–3", "b.csv, laps 1–3"]


def test_laps_apart_or_with_other_reasons_are_said_apart():
    laps = [lap(1, GAP), lap(2), lap(3, GAP), lap(4, "30 m of the road left out"), lap(5, GAP)]
    laps.append(lap(6, GAP, time_s=None))
    places = [m.text.split(",")[1].strip() for m in find_lap_messages(laps)]
    assert places == ["lap 1", "lap 3", "lap 4", "lap 5", "lap 6"]
