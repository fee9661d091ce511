"""The same drive at other sampling rates and with channels missing.

Invented laps; the measure is the simulator's truth and what the whole log gives.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lapwright.demo import Sensors
from lapwright.driving.action_names import ACTIONS

#: Of passes at each rate, how many may miss an action by more than the sampling explains: at
#: 10 Hz full throttle can be touched and left again between two samples.
SLIPS = {10.0: 0.1, 25.0: 0.02, 1000.0: 0.0}
#: Of motion at any rate: position, speed and yaw rate are good, s and m/s.
LAP_S, SPEED_MPS = 0.005, 0.3


@pytest.fixture(scope="module", params=sorted(SLIPS))
def sampled(request: Any, simulated: Any, session: Any, slow: Any) -> tuple[float, Any]:
    rate = request.param
    if rate == 25.0:
        return rate, slow
    one = simulated.shorten(session, 2) if rate == 1000.0 else session
    return rate, simulated.analyse(one, Sensors(rate_hz=rate))


def test_corners_are_the_same_at_every_rate(sampled: Any, found: Any) -> None:
    own, usual = sampled[1].driven.circuit.corners, found.driven.circuit.corners
    assert [(c.id, c.direction) for c in own] == [(c.id, c.direction) for c in usual]
    assert [c.apex_m for c in own] == pytest.approx([c.apex_m for c in usual], abs=10.0)


def test_lap_times_are_the_same_at_every_rate(session: Any, sampled: Any) -> None:
    times = np.array([lap.time_s for lap in sampled[1].laps])
    assert np.abs(times - session.truth.lap_times[: times.size]).max() <= LAP_S


@pytest.mark.parametrize("action", ["brake_start_m", "throttle_first_m", "full_throttle_m"])
def test_actions_are_true_at_every_rate(
    simulated: Any, session: Any, sampled: Any, action: str
) -> None:
    rate, own = sampled
    errors, lost = simulated.errors_s(session, own, action)
    missed = lost + int(np.sum(np.abs(errors) > 2.0 / max(rate, 100.0) + 1.0 / rate))
    assert missed <= SLIPS[rate] * (errors.size + lost)
    # uniform within a sample: the spread that sampling leaves is 1/√12 of it
    floor = np.hypot(1.0 / rate / np.sqrt(12.0), 0.003)
    assert 1.4826 * np.median(np.abs(errors - np.median(errors))) <= 1.5 * floor
    assert abs(np.median(errors)) <= max(0.5 / rate, 0.005)


def test_minimum_speeds_are_true_at_every_rate(simulated: Any, session: Any, sampled: Any) -> None:
    errors = [
        p.actions["minimum_speed_mps"] - t.minimum_speed
        for t, p in simulated.true_passes(session, sampled[1])
        if simulated.slowed_by(session, t) > 0.3
    ]
    assert np.abs(errors).max() <= SPEED_MPS


CASES = {
    "throttle": ("throttle",),
    "brake": ("brake_pressure",),
    "steering": ("steering",),
    "gear": ("gear",),
}


@pytest.mark.parametrize("missing", CASES)
def test_a_missing_channel_costs_only_what_needs_it(
    simulated: Any, session: Any, slow: Any, missing: str
) -> None:
    poor = simulated.analyse(session, Sensors(rate_hz=25.0, without=CASES[missing]))
    corners = slow.driven.circuit.corners
    assert [c.id for c in poor.driven.circuit.corners] == [c.id for c in corners]
    for corner in corners:
        usual, own = slow.summaries[corner.id].actions, poor.summaries[corner.id].actions
        for name, row in ACTIONS.items():
            if missing in row.needs:
                assert own[name].median is None
                assert own[name].why_null == f"no {missing} channel"
            elif usual[name].median is None:
                assert own[name].median is None
            else:
                # other delays and thus other smoothing: centimetres and hundredths
                assert own[name].median == pytest.approx(usual[name].median, abs=0.1, rel=1e-3)
