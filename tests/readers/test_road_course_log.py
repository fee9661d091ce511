"""A real log: an open-wheel car on a road course, 25 Hz.

Source: shared/data/road_course_log (GPL-3.0), a car driven by software. The faults
that it is known to hold are listed in the project's design; nothing of it is copied here.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from lapwright.model.repair import repair_recording
from lapwright.readers import read_log
from lapwright.workflow.inspect import inspect_log

LOG = Path(__file__).parents[3] / "shared/data/road_course_log/run_roadcourse.csv"


@pytest.fixture(scope="module")
def recording():
    if not LOG.exists():
        if os.environ.get("CI") == "true":
            pytest.fail(f"{LOG} is absent")
        pytest.skip("the real log is kept outside the repository")
    return repair_recording(read_log(LOG))


@pytest.fixture(scope="module")
def raw(recording):
    assert recording is not None
    header, *lines = LOG.read_text().splitlines()
    names = [cell.strip("# ").split("(")[0] for cell in header.split(",")]
    return dict(zip(names, np.array([line.split(",") for line in lines], float).T, strict=True))


def test_outcome_and_messages(recording):
    inspection = inspect_log(LOG)
    assert inspection.outcome == "flagged"
    said = {(m.outcome, m.channel) for m in inspection.messages}
    assert said == {("flagged", "roll"), ("flagged", "ax"), ("repaired", "x, y")}
    by_channel = {m.channel: m.text for m in recording.messages}
    assert "inconsistent with the rate of change of speed" in by_channel["ax"]
    assert "not used" in by_channel["ax"]
    assert "not used" in by_channel["roll"]
    assert "jitter" in by_channel["x, y"]


def test_units_are_understood_from_the_header(recording, raw):
    channels = recording.channels
    expected = {
        "throttle": ("throttle_ped_cmd", "%", 0.01),
        "brake_pressure": ("brake_ped_cmd", "kPa", 1000.0),
        "heading": ("phi", "rad", None),
        "road_wheel_angle": ("delta", "rad", 1.0),
        "yaw_rate": ("omega", "rad/s", 1.0),
        "velocity_forward": ("vx", "m/s", 1.0),
        "velocity_left": ("vy", "m/s", 1.0),
        "wheel_speed_rear_left": ("wheel_rl", "kmph", 1.0 / 3.6),
    }
    for name, (original, unit, factor) in expected.items():
        channel = channels[name]
        assert (channel.original, channel.original_unit) == (original, unit)
        assert channel.how_known == "header"
        if factor is not None:
            np.testing.assert_allclose(channel.values, raw[original] * factor, rtol=1e-9)
    assert "brake" not in channels
    assert set(recording.others) == {"deltadelta"}


def test_clock_is_regular_and_begins_at_zero(recording):
    time = recording.channels["yaw_rate"].time
    assert time[0] == 0.0
    np.testing.assert_allclose(np.diff(time), 0.04, atol=1e-6)
    assert recording.channels["yaw_rate"].rate_hz == pytest.approx(25.0, rel=1e-4)
    assert recording.info["time 0 is at"].startswith("2023-08-15T16:33:07.463")
    assert recording.channels["utc"].values[0] == pytest.approx(1692117187.4638, abs=1e-3)


def test_only_what_is_unsound_is_marked(recording):
    assert {(s.channel, s.what) for s in recording.marked} == {
        ("roll", "not used"),
        ("acceleration_forward", "not used"),
    }
    for span in recording.marked:
        assert span.to_s - span.from_s == pytest.approx(475.96, abs=0.01)
    assert {s.channel for s in recording.repairs} == {"x", "y"}


def test_position_steps_fit_speed_better_after_retiming(recording, raw):
    """Steps that differ from speed × time by over 10 % while faster than 5 m/s."""
    channels = recording.channels
    speed = np.hypot(raw["vx"], raw["vy"])
    mean = 0.5 * (speed[1:] + speed[:-1])
    steps = np.hypot(np.diff(raw["x"]), np.diff(raw["y"]))
    fast = mean > 5.5
    before = steps[fast] / mean[fast] / np.diff(raw["time"])[fast]
    after = steps[fast] / mean[fast] / np.diff(channels["x"].time)[fast]
    assert (np.abs(before - 1.0) > 0.1).sum() > 400
    assert (np.abs(after - 1.0) > 0.1).sum() < 40
    np.testing.assert_array_equal(channels["x"].values, raw["x"])


def test_velocity_components_are_in_the_frame_of_the_car(recording, raw):
    """The course from positions, less phi, is the sideslip atan2(vy, vx)."""
    assert "speed" not in recording.channels
    dx, dy = raw["x"][8:] - raw["x"][:-8], raw["y"][8:] - raw["y"][:-8]
    fast = raw["vx"][4:-4] > 10.0
    course = np.arctan2(dy, dx)[fast]
    car = raw["phi"][4:-4][fast]
    slip = np.arctan2(raw["vy"], raw["vx"])[4:-4][fast]
    gap = (course - car + np.pi) % (2.0 * np.pi) - np.pi
    assert np.median(np.abs(gap)) < 0.01
    assert np.percentile(np.abs(slip), 99) < 0.1
    assert "left positive" in recording.info["heading counts"]
