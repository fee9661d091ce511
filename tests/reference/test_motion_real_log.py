"""The motion filter on a real log.

Source: shared/data/road_course_log (open-wheel car, 25 Hz, GPL-3.0), see its folder. Known
of it: positions step against the speed as if their time stamps jittered, 61 steps by more
than 5 m/s; acceleration reads about half of the change of speed.
"""

import os
from pathlib import Path

import numpy as np
import pytest

from lapwright.numerics.motion import Series, estimate_motion

LOG = Path(__file__).parents[3] / "shared/data/road_course_log/run_roadcourse.csv"


@pytest.fixture(scope="module")
def log() -> dict[str, Series]:
    if not LOG.exists():
        if os.environ.get("CI") == "true":
            pytest.fail(f"{LOG} is missing")
        pytest.skip("the real log is not on this machine")
    rows = np.loadtxt(LOG, delimiter=",", comments="#", usecols=range(9))
    time = rows[:, 0] - rows[0, 0]
    columns = {
        "x": 1, "y": 2, "velocity_forward": 3, "velocity_left": 4, "heading": 5, "yaw_rate": 7,
        "acceleration_forward": 8,
    }  # fmt: skip
    return {name: Series(time, rows[:, k]) for name, k in columns.items()}


def test_speed_from_positions_agrees_with_the_logged_one(log):
    motion = estimate_motion({n: log[n] for n in ("x", "y")})
    logged = np.interp(motion.time, log["x"].time, log["velocity_forward"].values)
    error = (motion.speed - logged)[logged > 5.0]
    assert abs(np.median(error)) < 0.1
    # hiccups of the clock every 0.8 s cannot be told from driving without a second source
    assert np.quantile(np.abs(error), 0.9) < 0.6
    assert np.isfinite(motion.curvature).all()
    assert motion.speed.max() < 34.0


def test_everything_together(log):
    motion = estimate_motion(log)
    logged = np.interp(motion.time, log["x"].time, log["velocity_forward"].values)
    moving = logged > 5.0
    assert np.sqrt(np.mean((motion.speed - logged)[moving] ** 2)) < 0.1
    reason = motion.not_used["acceleration_forward"]
    slope = float(reason.split()[1])
    assert 0.35 < slope < 0.6
    assert 0.001 < motion.noise["time"] < 0.01
    assert motion.noise["position"] < 0.1
    assert motion.rejected["x"] < 0.02 * motion.time.size
    assert motion.sideslip is not None
    assert np.nanmax(np.abs(motion.sideslip[moving])) < 0.2
    # driven gently, at most 5.2 m/s^2 (known of the log)
    assert np.quantile(np.abs(motion.acceleration_left), 0.999) < 5.6
