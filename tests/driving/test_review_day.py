"""Another day taken out: closed forms of speed and braking distance under less grip.

v² = a r at the same radius; d = (v0² − v1²)/2a: elementary mechanics.
"""

from __future__ import annotations

import pytest

from lapwright.driving.review_day import Braking, find_day_change, take_day_out
from lapwright.driving.review_goals import judge_goal

GRIP = 0.9


def test_braking_for_less_grip_begins_sooner_by_the_longer_distance():
    entry, slowest, slowing = 50.0, 20.0, 8.0
    before = (entry**2 - slowest**2) / (2 * slowing)
    now = (entry**2 - GRIP * slowest**2) / (2 * GRIP * slowing)
    # both as driven on the day with less grip; the apex lies at 1000 m
    driven = Braking(now, slowest * GRIP**0.5, slowing * GRIP)
    level = take_day_out(1000.0 - now, "brake_start_m", GRIP, driven)
    assert level == pytest.approx(1000.0 - before, abs=0.01)


def test_speed_goes_with_the_root_of_grip_and_slowing_with_grip():
    assert take_day_out(30.0 * GRIP**0.5, "minimum_speed_mps", GRIP, None) == pytest.approx(30.0)
    assert take_day_out(8.0 * GRIP, "mean_deceleration_mps2", GRIP, None) == pytest.approx(8.0)
    assert take_day_out(812.0, "throttle_first_m", GRIP, None) == 812.0


def test_a_goal_met_in_two_corners_is_not_taken_for_the_day():
    before = {str(k): 20.0 + k for k in range(7)}
    now = {k: v * GRIP**0.5 for k, v in before.items()}
    now |= {"0": 25.0, "3": 27.0}
    day = find_day_change(before, now)
    assert day is not None
    assert day.grip == pytest.approx(GRIP)
    assert find_day_change(before, dict(list(now.items())[:4])) is None


@pytest.mark.parametrize(
    ("values", "other", "met", "sure"),
    [
        ([31.0, 31.1, 30.9, 31.0], 0.0, True, True),
        ([29.0, 29.1, 28.9, 29.0], 0.0, False, True),
        ([31.0, 31.1, 30.9, 31.0], 0.7, True, False),  # the day is known to no better
        ([31.0, 31.1, 30.9, 31.0], 5.0, None, False),
        ([31.0, 31.1], 0.0, None, False),  # two laps settle nothing
    ],
)
def test_what_the_scatter_leaves_open_is_not_settled(
    values: list[float], other: float, met: bool | None, sure: bool
):
    said = judge_goal(
        values, action="minimum_speed_mps", today=29.0, goal=30.5, tolerance=0.4,
        length_m=4000.0, other_error=other,
    )  # fmt: skip
    assert (said.met, said.sure) == (met, sure)
