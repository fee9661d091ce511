"""Another day's air, found on straights whose physics is integrated here, in time, by SciPy.

A closed road of four straights, car, days and drivers are invented; elementary mechanics.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from lapwright.driving.ledger_traces import LedgerTrace
from lapwright.driving.redrive_pass import Motor
from lapwright.driving.review_air import AirChange, Pace, find_air_change, find_pace

Array = NDArray[np.float64]
CAR = Motor(170.0, 4.5e-4)
SIDE_M, CORNER_M, STEP_M = 600.0, 100.0, 10.0
LENGTH_M = 4 * (SIDE_M + CORNER_M)
ENTRIES = (25.0, 30.0, 22.0, 28.0)
CALM = (0.0, 0.0, 0.0)


def place(side: int) -> float:
    return side * (SIDE_M + CORNER_M)


def heading(s: Array) -> Array:
    return np.floor(s / (SIDE_M + CORNER_M)).clip(0, 3) * np.pi / 2


def drive_side(side: int, entry: float, air: tuple[float, float, float]) -> tuple[Array, Array]:
    """Speed and seconds at every 10 m of a straight at full throttle."""
    thicker, wind_x, wind_y = air
    angle = side * np.pi / 2
    behind = wind_x * np.cos(angle) + wind_y * np.sin(angle)

    def rise(_: float, y: Array) -> list[float]:
        v = y[1]
        felt = (v - behind) * abs(v - behind)
        return [v, (1 + thicker) * (CAR.power / v - CAR.drag * felt)]

    run = solve_ivp(rise, (0.0, 40.0), [0.0, entry], max_step=0.2, rtol=1e-8)
    marks = np.arange(0.0, SIDE_M + 1e-9, STEP_M)
    return np.interp(marks, run.y[0], run.y[1]), np.interp(marks, run.y[0], run.t)


def drive(
    air: tuple[float, float, float], entries: tuple[float, ...] = ENTRIES
) -> tuple[Pace, Array]:
    """Drive the lap: its pace, and what each straight took."""
    s = np.arange(0.0, LENGTH_M + 1e-9, STEP_M)
    speed, flat, took = np.full(s.size, 24.0), np.zeros(s.size, dtype=bool), []
    for side, entry in enumerate(entries):
        v, t = drive_side(side, entry, air)
        first = round(place(side) / STEP_M)
        speed[first : first + v.size] = v
        flat[first : first + v.size] = True
        took.append(t[-1])
    return Pace(speed, flat), np.array(took)


def find(before: Pace, now: Pace) -> AirChange:
    s = np.linspace(0.0, LENGTH_M, before.speed.size)
    found = find_air_change(before, now, heading(s), LENGTH_M, CAR)
    assert found is not None
    return found


def side_costs(found: AirChange) -> Array:
    spans = [(place(i) / LENGTH_M, (place(i) + SIDE_M) / LENGTH_M) for i in range(4)]
    return np.array([found.cost_of(*span)[0] for span in spans])


@pytest.mark.parametrize(
    "air", [(0.0, 3.0, 0.0), (0.0, -1.0, 2.0), (0.05, 0.0, 0.0), (-0.04, 1.5, -2.5), CALM]
)
def test_planted_air_and_its_cost_are_found(air: tuple[float, float, float]):
    (before, was), (now, took) = drive(CALM), drive(air)
    found = find(before, now)
    assert found.thicker == pytest.approx(air[0], abs=0.01)
    assert (found.wind_x_mps, found.wind_y_mps) == pytest.approx(air[1:], abs=0.3)
    assert side_costs(found) == pytest.approx(took - was, abs=0.01)


def test_a_straight_over_the_start_line_is_one():
    before, now = drive(CALM)[0], drive((0.0, -3.0, 1.0))[0]
    s = np.linspace(0.0, LENGTH_M, before.speed.size)

    def turn(values: Array) -> Array:  # the start line lies 300 m on, in the first straight
        turned = np.roll(values[:-1], -30)
        return np.append(turned, turned[0])

    paces = [Pace(turn(p.speed), turn(p.flat).astype(bool)) for p in (before, now)]
    found = find_air_change(*paces, turn(heading(s)), LENGTH_M, CAR)
    assert found is not None
    whole = find(before, now).cost_of(0.0, 1.0)[0]
    assert found.cost_of(0.0, 1.0)[0] == pytest.approx(whole, abs=0.01)


def test_behind_a_straight_a_headwind_costs_less_and_less():
    found = find(drive(CALM)[0], drive((0.0, -3.0, 0.0))[0])
    ends = [(SIDE_M + x) / LENGTH_M for x in (0.0, 50.0, 100.0)]
    behind, then = (found.cost_of(*span)[0] for span in itertools.pairwise(ends))
    assert behind > then > 0.0


def test_what_a_straight_begins_with_is_not_of_the_air():
    before, now = drive(CALM)[0], drive(CALM, (28.0, 27.0, 26.0, 31.0))[0]
    found = find(before, now)
    cost, error = found.cost_of(0.0, 1.0)
    assert abs(cost) < 0.05  # the entries alone make 0.3 s a straight
    assert 0.0 < error < 0.05
    assert (found.wind_x_mps, found.wind_y_mps) == pytest.approx((0.0, 0.0), abs=0.3)


def test_a_gear_taken_late_on_one_straight_does_not_pass_for_wind():
    before, now = drive(CALM)[0], drive((0.0, 2.0, 0.0))[0]
    last = round(SIDE_M / STEP_M) + 1
    slower = now.speed.copy()
    slower[20:last] -= 1.0  # m/s, from 200 m on
    found = find(before, Pace(slower, now.flat))
    assert (found.wind_x_mps, found.wind_y_mps) == pytest.approx((2.0, 0.0), abs=0.5)


def test_without_straights_or_power_nothing_is_said():
    pace = drive(CALM)[0]
    s = np.linspace(0.0, LENGTH_M, pace.speed.size)
    never = Pace(pace.speed, np.zeros(s.size, dtype=bool))
    assert find_air_change(never, pace, heading(s), LENGTH_M, CAR) is None
    unknown = Motor(float("inf"), CAR.drag)
    assert find_air_change(pace, pace, heading(s), LENGTH_M, unknown) is None


def trace(speed: float, throttle: float | None) -> LedgerTrace:
    flat = np.full(101, 1.0)
    pedal = None if throttle is None else throttle * flat
    return LedgerTrace("1", np.arange(101.0), speed * flat, 0 * flat, 0 * flat, pedal)


def test_a_pace_is_flat_where_nearly_all_laps_are():
    both = find_pace([trace(40.0, 1.0), trace(44.0, 1.0)], 100.0)
    assert both is not None
    assert both.speed == pytest.approx(np.full(11, 42.0))
    assert both.flat.all()
    lifted = find_pace([trace(40.0, 1.0), trace(44.0, 0.5)], 100.0)
    assert lifted is not None
    assert not lifted.flat.any()
    assert find_pace([trace(40.0, 1.0), trace(44.0, None)], 100.0) is None
