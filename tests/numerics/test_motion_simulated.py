"""The motion filter and the delays on an invented, simulated session.

The car there slides, rolls and is driven with scatter, by code that shares nothing with the
filter; its truth is the motion of the middle of the wheelbase without noise.
"""

import numpy as np
import pytest
from scipy.ndimage import uniform_filter1d

from lapwright.demo import make_session
from lapwright.demo.sensors import Sensors
from lapwright.numerics.delays import align_delays
from lapwright.numerics.motion import Series, estimate_motion

PLACE = ("x", "y")
IMU = ("yaw_rate", "acceleration_forward", "acceleration_left")


def drive(**sensors):
    return make_session(laps=2, seed=4, sensors=Sensors(**sensors), costs=False)


def series_of(session, names):
    return {n: Series(*session.log.channels[n][1:]) for n in names if n in session.log.channels}


@pytest.fixture(scope="module")
def good():
    return drive(position_sd_m=0.02, delay_s=0.0)


def truth_of(session):
    t = session.truth
    vx, vy = np.gradient(t.x, t.t), np.gradient(t.y, t.t)
    speed, course = np.hypot(vx, vy), np.unwrap(np.arctan2(vy, vx))
    turn = uniform_filter1d(np.gradient(course, t.t), 11)
    return {
        "x": t.x,
        "y": t.y,
        "speed": speed,
        "heading": course,
        "curvature": turn / np.maximum(speed, 1.0),
        "acceleration_left": turn * speed,
    }


@pytest.mark.parametrize("names", [PLACE, (*PLACE, "speed", *IMU)], ids=["position", "all"])
def test_motion_and_its_intervals(good, names):
    motion = estimate_motion(series_of(good, names))
    inner = (motion.time > 2.0) & (motion.time < motion.time[-1] - 2.0)
    for name, values in truth_of(good).items():
        error = getattr(motion, name) - np.interp(motion.time, good.truth.t, values)
        if name == "heading":
            error -= 2 * np.pi * np.round(np.median(error) / (2 * np.pi))
        spread = motion.position_sd if name in PLACE else getattr(motion, f"{name}_sd")
        share = np.mean(np.abs(error[inner]) < 1.6449 * spread[inner])
        # curvature from positions alone: intervals are wide in calm driving, by design
        top = 1.0 if len(names) == 2 and name in ("curvature", "acceleration_left") else 0.98
        assert 0.80 <= share <= top, name
        if name in PLACE:
            assert np.sqrt(np.mean(error[inner] ** 2)) < 0.01
    assert motion.not_used == {}


def test_slowest_points(good):
    motion = estimate_motion(series_of(good, PLACE))
    speed, time = truth_of(good)["speed"], good.truth.t
    reach = 2000
    errors = []
    for corner in range(reach, speed.size - reach, 10):
        window = speed[corner - reach : corner + reach]
        if speed[corner] == window.min():
            near = np.abs(motion.time - time[corner]) < 1.0
            errors.append(motion.speed[near].min() - speed[corner])
    assert len(errors) >= 5
    assert np.abs(errors).max() < 0.3


@pytest.mark.parametrize(("rate", "sd", "drift"), [(100.0, 0.02, 0.0), (10.0, 0.5, 0.5)])
def test_position_late_by_150_ms(rate, sd, drift):
    session = drive(position_rate_hz=rate, position_sd_m=sd, drift_m=drift, delay_s=0.15)
    pedals = ("throttle", "brake_pressure")
    for names in ((*PLACE, "speed", *IMU), (*PLACE, "speed"), PLACE):
        found = align_delays(series_of(session, (*names, *pedals)))["position"]
        assert found.identifiable
        # half a metre of noise and nothing but pedals beside it: the floor is 0.03 s, and said
        alone = names == PLACE and sd > 0.1
        assert found.delay_s == pytest.approx(0.15, abs=0.03 if alone else 0.02), names
        assert abs(found.delay_s - 0.15) < 2.5 * found.sd
