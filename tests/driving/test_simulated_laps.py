"""Lap times, actions, speeds, offsets and delays against what the simulator drove.

All laps, cars and sensors are invented; the truth is the simulated motion without noise and
the pedals' true travel at 1 kHz. Two samples at 100 Hz are 20 ms.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lapwright.demo import Sensors

TWO_SAMPLES_S = 0.020


@pytest.fixture(scope="module")
def rough(simulated: Any, session: Any) -> list[Any]:
    """10 Hz, 0.5 m of noise and 0.5 m of drift, measured three times."""
    sensors = Sensors(rate_hz=10.0, position_sd_m=0.5, drift_m=0.5, drift_time_s=120.0)
    return [simulated.analyse(session, sensors, seed=seed) for seed in (1, 2, 3)]


def lap_errors(session: Any, found: Any) -> np.ndarray:
    times = np.array([lap.time_s for lap in found.laps])
    assert times.size == session.truth.lap_times.size
    return times - session.truth.lap_times


def test_lap_times_are_true_within_five_milliseconds(session: Any, found: Any) -> None:
    assert np.quantile(np.abs(lap_errors(session, found)), 0.95) <= 0.005


def test_lap_times_reach_the_floor_of_a_poor_position(session: Any, rough: list[Any]) -> None:
    # A lap time is the difference of two crossings, each wrong by position error / speed.
    # Of the drift only what changes within a lap counts: a share 1 − exp(−T/τ) of its
    # variance (an exponentially correlated process, closed form); white noise counts whole
    # at worst, and not at all in the limit of perfect smoothing.
    truth = session.truth
    speed = float(np.interp(truth.crossings_s, truth.t, truth.v).mean())
    changed = 0.5**2 * (1.0 - np.exp(-truth.lap_times.mean() / 120.0))
    unsmoothed = np.sqrt(2.0 * (changed + 0.5**2)) / speed  # 13.6 ms
    drift_alone = np.sqrt(2.0 * changed) / speed  # 8.1 ms
    errors = np.concatenate([lap_errors(session, f) for f in rough])
    rms = float(np.sqrt(np.mean(errors**2)))
    assert rms < unsmoothed
    # the rms of fifteen errors scatters by 1/√30, about a fifth: two of those are allowed
    assert rms < 1.4 * drift_alone


@pytest.mark.parametrize("action", ["brake_start_m", "throttle_first_m", "full_throttle_m"])
def test_pedal_actions_are_true_within_two_samples(
    simulated: Any, session: Any, found: Any, action: str
) -> None:
    errors, lost = simulated.errors_s(session, found, action)
    assert errors.size >= 44
    assert lost == 0
    assert np.abs(errors).max() <= TWO_SAMPLES_S


@pytest.mark.parametrize("action", ["off_throttle_m", "brake_end_m"])
def test_releases_are_true_within_two_samples(
    simulated: Any, session: Any, found: Any, action: str
) -> None:
    errors, lost = simulated.errors_s(session, found, action)
    assert errors.size >= 44
    assert lost == 0
    assert np.abs(errors).max() <= TWO_SAMPLES_S


def test_no_brake_is_found_where_none_was_touched(simulated: Any, session: Any, found: Any) -> None:
    free = [p for t, p in simulated.true_passes(session, found) if not t.braked]
    assert free
    assert all(p.actions["brake_start_m"] is None for p in free)


def test_minimum_speeds_are_true(simulated: Any, session: Any, found: Any) -> None:
    # where less than 0.3 m/s came off (a breath off the throttle in a fast bend) the
    # simulator's lowest speed after the lift and the corner's lowest are different things
    errors = [
        p.actions["minimum_speed_mps"] - t.minimum_speed
        for t, p in simulated.true_passes(session, found)
        if simulated.slowed_by(session, t) > 0.3
    ]
    assert len(errors) >= 48
    assert np.abs(errors).max() <= 0.3


def test_offsets_are_those_of_the_true_path(simulated: Any, session: Any, found: Any) -> None:
    for lap in found.laps:
        own, true = simulated.true_n(session, lap)
        assert np.sqrt(np.mean((own - true) ** 2)) <= 0.15


def test_a_late_position_is_found_and_taken_out(simulated: Any, session: Any) -> None:
    late = simulated.analyse(session, Sensors(delay_s=0.15))
    delay = late.driven.drives[0].delays["position"]
    assert delay.identifiable
    assert delay.delay_s == pytest.approx(0.15, abs=0.02)
    errors, _ = simulated.errors_s(session, late, "brake_start_m")
    assert np.abs(errors).max() <= TWO_SAMPLES_S


def test_no_delay_is_made_up(found: Any) -> None:
    delays = found.driven.drives[0].delays
    assert abs(delays["position"].delay_s) <= 0.02
    assert abs(delays["speed"].delay_s) <= 0.02
