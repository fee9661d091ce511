"""The record of a guide over several reviews. All drivers, goals and seconds are invented."""

from __future__ import annotations

from typing import Any

import pytest

from lapwright.guide.review_record import compose_record
from lapwright.guide.unit_system import choose_unit_system, units_as_view

VIEW = units_as_view(choose_unit_system("metric"))
SYSTEM = VIEW["systems"][VIEW["chosen"]]


def goal(corner: str, met: bool | None, promised: float, came: float | None) -> dict[str, Any]:
    return {
        "corner": corner, "cause": "early_braking", "met": met, "sure": True,
        "promised_s": promised, "realised_s": came,
        "realised_error_s": None if came is None else 0.03,
        "kept": None if came is None else came >= promised,
    }  # fmt: skip


def since(*goals: dict[str, Any]) -> list[dict[str, Any]]:
    return [{"driver": "Ines Varga", "goals": list(goals)}]


def test_reviews_hand_their_record_on_and_nothing_counts_twice():
    first = compose_record([], since(goal("1", True, 0.2, 0.25)), {"Ines Varga": "aa"}, SYSTEM)
    then = since(goal("1", False, 0.1, -0.02), goal("7", None, 0.3, None))
    logs = {"Ines Varga": "bb"}
    second = compose_record([{"record": first}], then, logs, SYSTEM)
    again = compose_record([{"record": first}, {"record": second}], then, logs, SYSTEM)
    for record in (second, again):
        assert (record["met"], record["not_met"], record["not_settled"]) == (1, 1, 1)
        assert (record["logs"], record["timed"], record["kept"]) == (2, 2, 1)
        assert record["promised_s"] == pytest.approx(0.3)  # of the two that could be timed
        assert record["realised_s"] == pytest.approx(0.23)
        assert record["realised_error_s"] == pytest.approx(0.03 * 2**0.5)
    said = " ".join(second["text"]).replace("\u00a0", " ")
    assert "3 goals were held against new laps in 2 logs: 1 met, 1 not met, 1 not settled." in said
    assert "Promised 0.30 s in all, came 0.23 s ± 0.04 s with the day taken out" in said


def test_a_guide_without_a_second_session_says_so():
    record = compose_record([], [], {}, SYSTEM)
    assert record["text"] == ["No goal of this guide's reviews has been held against new laps yet."]
