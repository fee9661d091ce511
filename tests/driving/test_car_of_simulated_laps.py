"""The car that is found from simulated laps against what the simulator's car did.

Circuit, car and driver are the demo's, all invented; the truth is the simulator's own envelope as
far as the driver reached it, and its motion without noise. The benchmark of coverage does the
same with hundreds of cars.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lapwright.demo import Day, make_session
from lapwright.model.fit_car import fit_car
from lapwright.possible.own_lines import solve_own_lines

#: How far the fit may be off: power 3 %, drag 10 %, cornering and braking 3 %.
BARS = {"power_per_mass": 0.03, "drag_per_mass": 0.10, "lateral": 0.03, "brake": 0.03}


@pytest.fixture(scope="module", params=[True, False], ids=["banking surveyed", "not surveyed"])
def fitted(request: pytest.FixtureRequest, simulated: Any, session: Any) -> Any:
    road = (simulated.survey_banked if request.param else simulated.survey)(session)
    found = simulated.analyse(session, circuit=road)
    return request.param, found, fit_car(found.laps, road, resamples=30)


def test_power_drag_cornering_and_braking_are_those_driven(
    reached: Any, session: Any, fitted: Any
) -> None:
    banked, _, fit = fitted
    truth = reached.find_reached(session, fit, banked)
    for part, bar in BARS.items():
        assert truth.off(part) == pytest.approx(0.0, abs=bar), part
        low, high = fit.intervals[part]
        assert low <= truth.true[part] <= high, part


def test_cornering_is_that_of_the_envelope_at_all_speeds_visited(
    reached: Any, session: Any, fitted: Any
) -> None:
    banked, _, fit = fitted
    low, high = fit.car.support["lateral"]
    speeds = np.linspace(low, high, 6)
    share = reached.find_reached(session, fit, banked).share["lateral"]
    side = share * reached.level_limits(session, speeds)[0]
    found = fit.car.lateral.at_rest + fit.car.lateral.per_v2 * speeds**2
    off = np.abs(found / side - 1)
    assert off[:-1].max() < 0.03
    assert off[-1] < 0.035  # the highest speed of one bend only: 3.2 % were seen


def test_the_car_drives_each_clean_lap_on_its_own_line(fitted: Any) -> None:
    _, found, fit = fitted
    own = solve_own_lines(found.driven.circuit, found.laps, fit.car)
    for lap in found.laps:
        assert own[lap.id].time[-1] == pytest.approx(lap.time_s, rel=0.005)


def test_conditions_of_laps_are_taken_out(simulated: Any) -> None:
    # the road's grip changes from lap to lap by 1.5 % (1 sd), which the truth knows
    session = make_session("coach", 8, 9, day=Day(grip_spread=0.015), costs=False)
    found = simulated.analyse(session)
    road, laps = found.driven.circuit, found.laps
    fit = fit_car(laps, road, resamples=0)
    grip = {lap.number: lap.conditions.grip for lap in session.truth.laps}
    true = np.array([grip[lap.number] for lap in laps])
    told = np.array([fit.conditions[i].grip for i in range(len(laps))])
    told, true = told / np.median(told), true / np.median(true)
    # what a lap shows is mixed with how near the limit it was driven: about 0.6 of the change
    # is found
    assert np.corrcoef(told, true)[0, 1] > 0.85
    assert 0.4 < np.polyfit(true - 1, told - 1, 1)[0] < 1.1
    over = [
        np.std([own[lap.id].time[-1] / lap.time_s for lap in laps])
        for own in (
            solve_own_lines(road, laps, fit.car), solve_own_lines(road, laps, fit.car, fit)
        )
    ]  # fmt: skip
    assert over[1] < 0.5 * over[0]
