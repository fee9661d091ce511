import numpy as np
import pytest

from lapwright.numerics.motion import Series, close_dead_reckoning, estimate_motion


def in_its_frame(truth, time):
    """Planted path seen from its own start, along its first direction."""
    x, y = truth.at("x", time), truth.at("y", time)
    c, s = np.cos(truth.heading[0]), np.sin(truth.heading[0])
    dx, dy = x - truth.x[0], y - truth.y[0]
    return c * dx + s * dy, c * dy - s * dx


def test_speed_and_yaw_rate_give_a_path_that_drifts_as_said(lap, measure):
    offset = np.radians(0.1)
    yaw = measure(lap, "yaw_rate", 100, 0.01, 1)
    motion = estimate_motion(
        {
            "speed": measure(lap, "speed", 100, 0.05, 1),
            "yaw_rate": Series(yaw.time, yaw.values + offset),
        }
    )
    assert motion.x[0] == pytest.approx(0.0, abs=1e-3)
    assert motion.heading[0] == pytest.approx(0.0, abs=1e-3)
    x, y = in_its_frame(lap, motion.time)
    error = np.hypot(motion.x - x, motion.y - y)
    assert error[motion.time < 5.0].max() < 2.0
    # the planted offset is one standard deviation of what is assumed of a sensor
    assert 0.2 < np.median(error[1000:] / motion.position_sd[1000:]) < 3.0
    assert motion.position_sd[-1] > 20.0 * motion.position_sd[500]
    assert np.abs(motion.speed - lap.at("speed", motion.time)).max() < 0.15


def test_a_stand_gives_the_yaw_rates_offset(drive, measure):
    time = np.arange(40_000) / 1000.0
    speed = np.interp(time, [0, 8, 12, 40], [0, 0, 25, 25])
    truth = drive(speed, np.where(speed > 5.0, 0.01, 0.0))
    yaw = measure(truth, "yaw_rate", 50, 0.005, 1)
    motion = estimate_motion(
        {
            "speed": measure(truth, "speed", 50, 0.02, 1),
            "yaw_rate": Series(yaw.time, yaw.values + 0.03),
        }
    )
    assert motion.corrections["yaw_rate"].offset == pytest.approx(0.03, abs=0.001)
    error = motion.heading - (truth.at("heading", motion.time) - truth.heading[0])
    assert np.abs(error).max() < 0.03


def test_closing_over_laps_takes_the_drift_out(drive):
    # Invented lap: a stadium of two straights of 300 m and two half circles of 50 m, at 25 m/s.
    arc, straight = np.pi * 50.0, 300.0
    length = 2 * (arc + straight)
    time = np.arange(int(3.5 * length / 25.0 * 1000)) / 1000.0
    into = (25.0 * time) % (arc + straight)
    truth = drive(np.full(time.size, 25.0), np.where(into > straight, 0.02, 0.0), heading=0.0)
    offset = 0.004
    motion = estimate_motion(
        {
            "speed": Series(truth.time[::20], truth.speed[::20] * 1.004),
            "yaw_rate": Series(truth.time[::20], truth.yaw_rate[::20] + offset),
        }
    )
    crossings = [k * length / 25.0 + 2.0 for k in range(4) if k * length / 25.0 + 2.0 < time[-1]]
    closed = close_dead_reckoning(motion, crossings)
    inside = (motion.time > crossings[0]) & (motion.time < crossings[-1])

    def error(m):
        dx = m.x - truth.at("x", m.time)
        dy = m.y - truth.at("y", m.time)
        return np.hypot(dx - dx[inside][0], dy - dy[inside][0])[inside]

    assert error(motion).max() > 50.0
    assert error(closed).max() < 10.0
    lap_s = length / 25.0
    one = closed.time[inside][closed.time[inside] < crossings[1]]
    for name in ("x", "y"):
        again = np.interp(one + lap_s, closed.time, getattr(closed, name))
        assert np.abs(again - np.interp(one, closed.time, getattr(closed, name))).max() < 1.5
    assert np.mean(closed.yaw_rate - truth.at("yaw_rate", closed.time)) == pytest.approx(
        0.0, abs=2e-4
    )
    assert closed.position_sd[inside].max() < 0.4 * motion.position_sd[inside].max()


def test_closing_needs_two_crossings(drive):
    truth = drive(np.full(20_000, 20.0), np.zeros(20_000))
    motion = estimate_motion({"speed": Series(truth.time[::50], truth.speed[::50])})
    with pytest.raises(ValueError, match="at least two"):
        close_dead_reckoning(motion, [5.0])
