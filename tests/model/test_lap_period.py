"""Laps found without positions, against the simulator's truth (an invented circuit and car)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lapwright.demo import make_session
from lapwright.errors import InputError
from lapwright.model.amend import drop_channel
from lapwright.model.drive import build_drive
from lapwright.model.lap_period import find_crossings
from lapwright.model.repair import repair_recording
from lapwright.numerics.motion import estimate_motion
from lapwright.numerics.series import Series
from lapwright.readers import read_log


@pytest.fixture(scope="module")
def truth():
    return make_session("coach", 3, 11, costs=False)


@pytest.fixture(scope="module")
def blind(truth, tmp_path_factory):
    """The session's log without positions and heights."""
    recording = repair_recording(read_log(truth.write(tmp_path_factory.mktemp("blind")).log))
    for name in ("x", "y", "z"):
        recording = drop_channel(recording, name)
    return recording


def test_crossings_are_one_true_lap_apart(blind, truth):
    channels = {n: blind.channels[n] for n in ("speed", "yaw_rate")}
    motion = estimate_motion({n: Series(c.time, c.values) for n, c in channels.items()})
    crossings = np.array(find_crossings(motion))
    # the car passes the same true place each time: within 8 m, where laps are 4,163 m long
    t = np.asarray(truth.truth.t)
    places = [(np.interp(c, t, truth.truth.x), np.interp(c, t, truth.truth.y)) for c in crossings]
    assert len(places) >= 3
    assert np.ptp(np.array(places), axis=0).max() < 8.0


def test_a_closed_motion_comes_back_to_its_start_each_lap(blind, truth):
    motion = build_drive(blind).motion
    crossings = np.asarray(truth.truth.crossings_s)
    x = np.interp(crossings, motion.time, motion.x)
    y = np.interp(crossings, motion.time, motion.y)
    assert np.ptp(x) < 12.0
    assert np.ptp(y) < 12.0


def test_a_straight_drive_repeats_nothing():
    t = np.arange(0.0, 120.0, 0.02)
    rng = np.random.default_rng(5)
    motion = estimate_motion(
        {
            "speed": Series(t, 30.0 + rng.normal(0.0, 0.05, t.size)),
            "yaw_rate": Series(t, rng.normal(0.0, 0.01, t.size)),
        }
    )
    assert find_crossings(motion) == ()


def test_a_log_that_repeats_nothing_is_refused_with_the_way_out(blind):
    cut = 60.0  # less than a lap
    channels = {
        n: replace(c, time=c.time[c.time < cut], values=c.values[c.time < cut])
        for n, c in blind.channels.items()
    }
    with pytest.raises(InputError, match=r"do not repeat from lap to lap.*Log a position"):
        build_drive(replace(blind, channels=channels))
