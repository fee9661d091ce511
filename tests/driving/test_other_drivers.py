"""The same actions by drivers who are neither smooth nor quick: invented, simulated at 1 kHz."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lapwright.demo import Sensors

TWO_SAMPLES_S = 0.020


@pytest.fixture(scope="module", params=["learner", "hasty"])
def other(request: pytest.FixtureRequest, simulated: Any) -> tuple[Any, Any]:
    session = simulated.drive(request.param, 2, 5)
    return session, simulated.analyse(session, Sensors())


@pytest.mark.parametrize("action", ["off_throttle_m", "full_throttle_m"])
def test_full_throttle_is_left_and_reached_when_it_was(
    simulated: Any, other: tuple[Any, Any], action: str
) -> None:
    errors, lost = simulated.errors_s(*other, action)
    assert errors.size >= 18
    assert lost == 0
    assert np.abs(errors).max() <= TWO_SAMPLES_S


def test_brake_starts_are_true_but_for_a_pedal_that_creeps(
    simulated: Any, other: tuple[Any, Any]
) -> None:
    errors, lost = simulated.errors_s(*other, "brake_start_m")
    assert errors.size >= 18
    # a brush of 1.4 % of the pedal is no braking here and is one to the simulator; a pedal
    # that takes 0.3 s over its first 5 % has no start that is true to 20 ms
    assert lost <= 1
    assert np.mean(np.abs(errors) <= TWO_SAMPLES_S) >= 0.9


def test_a_pick_up_is_the_rise_that_is_not_given_back(
    simulated: Any, other: tuple[Any, Any]
) -> None:
    session, found = other
    truth = session.truth
    held = []
    for true, own in simulated.true_passes(session, found):
        at = simulated.true_time(session, "throttle_first_m", true)
        place = own.actions["throttle_first_m"]
        if np.isnan(at) or np.isnan(true.full_s):
            continue
        rising = (truth.t > at + 0.06) & (truth.t < true.full_s)
        given_back = rising.any() and truth.throttle[rising].min() < 0.05
        if not given_back:
            assert place is not None
            held.append(simulated.time_of(found, own, place) - at)
    assert len(held) >= 15
    assert np.abs(held).max() <= TWO_SAMPLES_S
