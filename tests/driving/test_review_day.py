"""Another day taken out: closed forms of speed and braking distance under less grip.

v² = a r at the same radius; d = (v0² − v1²)/2a: elementary mechanics. Times of stretches are
invented: a planted day at each stretch's price, planted gains, and drawn scatter.
"""

from __future__ import annotations

import numpy as np
import pytest

from lapwright.driving.review_day import (
    Braking,
    Stretch,
    find_day_by_time,
    find_day_change,
    take_day_out,
)
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


PRICES = (3.2, 2.6, 3.3, 0.6, 2.6, 2.1, 1.9, 2.6, 2.8, 2.7, 3.7)
#: How far what each stretch takes lies from the day's, s: of scatter, none in the mean.
SCATTER = (0.02, -0.03, 0.01, 0.0, -0.02, 0.03, 0.02, -0.01, 0.01, -0.02, -0.01)


def drive_stretches(gained: dict[int, float], told: set[int]) -> list[Stretch]:
    return [
        Stretch(p * (1.0 - GRIP) + x - gained.get(i, 0.0), 0.02, p, i in told)
        for i, (p, x) in enumerate(zip(PRICES, SCATTER, strict=True))
    ]


@pytest.mark.parametrize("gained", [{}, {0: 0.3, 4: 0.15}, {0: 0.3, 2: 0.2, 4: 0.15, 7: 0.2}])
def test_what_stretches_without_a_goal_take_more_is_the_day(gained: dict[int, float]):
    day = find_day_by_time(drive_stretches(gained, {0, 2, 4, 7, 9}))
    assert day is not None
    assert day.grip == pytest.approx(GRIP, abs=0.005)
    assert day.corners == len(PRICES)


def test_a_driver_who_met_every_goal_is_not_taken_for_a_day_with_more_grip():
    told = {0, 2, 4, 7, 9}
    day = find_day_by_time(drive_stretches(dict.fromkeys(told, 0.35), told))
    assert day is not None
    assert day.grip == pytest.approx(GRIP, abs=0.005)


def test_a_gain_that_nobody_asked_for_is_left_out_as_well():
    day = find_day_by_time(drive_stretches({5: 0.4}, {0, 2, 4, 7, 9}))
    assert day is not None
    assert day.grip == pytest.approx(GRIP, abs=0.005)


def test_too_few_stretches_with_a_price_tell_no_day():
    stretches = drive_stretches({}, set())
    assert find_day_by_time(stretches[:4]) is None
    free = [Stretch(s.more_s, s.error_s, 0.0, False) for s in stretches[4:]]
    assert find_day_by_time([*stretches[:4], *free]) is None


def test_the_days_error_holds_what_it_says():
    rng = np.random.default_rng(5)
    prices, inside = np.array(PRICES), 0
    for _ in range(300):
        scatter = 0.03 * np.exp(0.4 * rng.normal(size=prices.size))
        more = prices * (1.0 - GRIP) + rng.normal(size=prices.size) * scatter
        seen = scatter * np.sqrt(rng.chisquare(10, prices.size) / 10)
        rows = zip(more, seen, prices, strict=True)
        day = find_day_by_time([Stretch(*map(float, row), told=False) for row in rows])
        assert day is not None
        inside += abs(day.grip - GRIP) <= 1.645 * day.error
    assert 0.86 <= inside / 300 <= 0.97  # of normal errors 0.90


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


def test_most_corners_changed_at_once_are_not_taken_for_the_day():
    """Six of eleven corners had a goal and gained 0.3 s: the other five tell the day."""
    told = set(range(6))
    day = find_day_by_time(drive_stretches(dict.fromkeys(told, 0.3), told))
    assert day is not None
    assert day.grip == pytest.approx(GRIP, abs=0.01)
