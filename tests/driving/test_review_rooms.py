"""Room to be wrong of what a review asks for: a simulated pupil, the coach's lap and car.

Circuit, car and drivers are the demo's, all invented. What comes of braking late is the
simulator's; the demo shares no code with the analysis.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from lapwright.driving.review_goals import COST, Goal
from lapwright.driving.review_rooms import GoalRoom, find_goal_rooms
from lapwright.model.fit_car import fit_car

#: How much later the pupil is asked to brake in corner 3, m.
STEP_M = 5.0


def ask(corner: str, cause: str, action: str, today: float | None, goal: float | None) -> Goal:
    return Goal(corner, cause, action, today, 0.5, goal, goal, 1.0, (), 1.0, 0.2, 0.1)


@pytest.fixture(scope="module")
def pupil(simulated: Any, late_braking: Any) -> Any:
    return simulated.analyse(late_braking.session_of("pupil 2", 4, 7))


@pytest.fixture(scope="module")
def rooms(pupil: Any, found: Any) -> dict[str, GoalRoom]:
    """What is asked in corners 1 to 5, held with the coach's car and his best lap."""
    brake = pupil.summaries["3"].actions["brake_start_m"].median
    slowest = pupil.summaries["5"].actions["minimum_speed_mps"].median
    goals = (
        ask("3", "early_braking", "brake_start_m", brake, brake + STEP_M),
        ask("5", "slow_minimum", "minimum_speed_mps", slowest, slowest + 1.0),
        ask("4", "lift", COST, 0.2, 0.1),
        ask("2", "late_throttle", "throttle_first_m", 640.0, 630.0),
    )
    car = fit_car(found.laps, found.driven.circuit, resamples=0).car
    best = min(found.laps, key=lambda lap: lap.time_s)
    circuit = pupil.driven.circuit
    made = find_goal_rooms(circuit, goals, pupil.laps, pupil.passes, best, car)
    bare = replace(circuit, surveyed=False)
    unknown = find_goal_rooms(bare, goals, pupil.laps, pupil.passes, best, car)
    assert [one.why_null for one in unknown] == [*(["the edges were not surveyed"] * 3), ""]
    return {goal.corner: one for goal, one in zip(goals, made, strict=True)}


def test_what_asks_for_later_faster_or_flat_has_room_and_nothing_else_has(
    rooms: dict[str, GoalRoom], found: Any
):
    best = min(found.laps, key=lambda lap: lap.time_s)
    for corner, change in (("3", "later"), ("5", "faster"), ("4", "flat")):
        room = rooms[corner].room
        assert room is not None, rooms[corner].why_null
        assert room.goal.change == change
        assert room.goal.shown_by == (best.driver, best.id)
        assert [missed.by_m for missed in room.missed] == [5.0, 10.0]
    assert rooms["2"] == GoalRoom(None, "", rooms["2"].laps)


def test_a_pupils_late_braking_lies_inside_what_he_is_told(
    rooms: dict[str, GoalRoom], late_braking: Any
):
    """Later by the step and missed by 5 and 10 m: late by 10 and 15 m of today's place."""
    room = rooms["3"].room
    assert room is not None
    told = (STEP_M + 5.0, STEP_M + 10.0)
    lates = [o for o in late_braking.drive_late("pupil 2", 4, 7, told) if o.corner == 3]
    assert [o.late_m for o in lates] == pytest.approx(told, abs=2.5)
    for late, missed in zip(lates, room.missed, strict=True):
        assert (late.edge_mps or 0.0) <= (missed.worst_mps or 0.0)
        assert (late.edge_mps or 99.0) >= (missed.best_mps or 0.0)
    assert room.missed[1].worst_mps is not None


def test_more_speed_leaves_less_room(pupil: Any, found: Any, rooms: dict[str, GoalRoom]):
    slowest = pupil.summaries["5"].actions["minimum_speed_mps"].median
    goal = ask("5", "slow_minimum", "minimum_speed_mps", slowest, slowest + 4.0)
    best = min(found.laps, key=lambda lap: lap.time_s)
    args = (pupil.driven.circuit, (goal,), pupil.laps, pupil.passes, best)
    (more,) = find_goal_rooms(*args)
    less = rooms["5"].room
    assert less is not None
    assert more.room is not None
    for one, other in zip(less.missed, more.room.missed, strict=True):
        assert (other.worst_mps or 0.0) > (one.worst_mps or 0.0)
