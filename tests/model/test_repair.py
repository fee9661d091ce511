"""Repair of recordings built in memory, with invented motion and planted faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.amend import blank_marked
from lapwright.model.plausible import (
    build_evidence,
    find_noise,
    fit_ratio,
    mean_over,
    project_plane,
    rate_over,
)
from lapwright.model.recording import Channel, Recording, Span
from lapwright.model.repair import examine_recording, repair_recording

RADIUS_M = 120.0


def make_recording(rate_hz=20.0, seconds=90.0, noise_m=0.01, messages=()):
    """A car on a circle of 120 m, its speed swinging between 24 and 36 m/s."""
    rng = np.random.default_rng(2)
    t = np.arange(0.0, seconds, 1.0 / rate_hz)
    v = 30.0 + 6.0 * np.sin(0.5 * t)
    gone = 30.0 * t - 12.0 * (np.cos(0.5 * t) - 1.0)
    angle = gone / RADIUS_M
    values = {
        "x": RADIUS_M * np.sin(angle) + rng.normal(0.0, noise_m, t.size),
        "y": -RADIUS_M * np.cos(angle) + rng.normal(0.0, noise_m, t.size),
        "speed": v,
        "yaw_rate": v / RADIUS_M,
        "acceleration_forward": 3.0 * np.cos(0.5 * t),
        "acceleration_left": v**2 / RADIUS_M,
        "throttle": np.clip(0.5 + 0.5 * np.cos(0.5 * t), 0.0, 1.0),
    }
    units = {"x": "m", "y": "m", "speed": "m/s", "yaw_rate": "rad/s", "throttle": "1"}
    channels = {n: Channel(n, units.get(n, "m/s^2"), t, c, n) for n, c in values.items()}
    return Recording("s.csv", "00", channels, messages=tuple(messages))


def spoil(recording, name, change):
    channel = recording.channels[name]
    values = channel.values.copy()
    values = change(values, channel.time)
    changed = Channel(name, channel.unit, channel.time, values, name, channel.original_unit)
    return Recording("s.csv", "00", {**recording.channels, name: changed})


def test_sound_recording_is_unchanged():
    recording = make_recording()
    repaired = repair_recording(recording)
    assert repaired.messages == ()
    assert repaired.repairs == ()
    assert repaired.marked == ()
    for name, channel in recording.channels.items():
        np.testing.assert_array_equal(repaired.channels[name].values, channel.values)


def test_repair_does_not_touch_its_input():
    recording = spoil(make_recording(), "x", lambda v, t: np.where(np.isclose(t, 40.0), 999.0, v))
    before = {n: c.values.copy() for n, c in recording.channels.items()}
    examine_recording(recording)
    for name, values in before.items():
        np.testing.assert_array_equal(recording.channels[name].values, values)


def test_repairing_twice_changes_nothing_more():
    recording = spoil(make_recording(), "x", lambda v, t: np.where(np.isclose(t, 40.0), 999.0, v))
    once = repair_recording(recording)
    twice = repair_recording(once)
    assert len(twice.repairs) == len(once.repairs)
    np.testing.assert_array_equal(twice.channels["x"].values, once.channels["x"].values)


def test_questions_raise_all_at_once_with_those_of_reading():
    asked = Message("ask", "s.csv", "something", answer="--set latitude.unit=deg")
    recording = make_recording(messages=[asked])
    with pytest.raises(InputError) as raised:
        repair_recording(recording)
    assert raised.value.messages == (asked,)


def test_neither_place_nor_speed_is_refused():
    whole = make_recording()
    kept = {n: c for n, c in whole.channels.items() if n in ("throttle", "yaw_rate")}
    with pytest.raises(InputError, match="neither a position nor a speed"):
        repair_recording(Recording("s.csv", "00", kept))


def test_marked_stretches_can_be_blanked():
    recording = spoil(
        make_recording(), "throttle", lambda v, t: np.where((t > 20.0) & (t < 40.0), 0.37, v)
    )
    repaired = repair_recording(recording)
    (span,) = repaired.marked
    assert (span.channel, span.what) == ("throttle", "stuck")
    blanked = blank_marked(repaired, "throttle")
    inside = (blanked.time >= span.from_s) & (blanked.time <= span.to_s)
    assert np.isnan(blanked.values[inside]).all()
    assert np.isfinite(blanked.values[~inside]).all()
    assert np.isfinite(repaired.channels["throttle"].values).all()


def test_velocities_along_the_worlds_axes_are_told():
    recording = make_recording()
    x, y = (recording.channels[n] for n in ("x", "y"))
    t = x.time
    vx, vy = np.gradient(x.values, t), np.gradient(y.values, t)
    channels = {n: c for n, c in recording.channels.items() if n != "speed"}
    channels["velocity_forward"] = Channel("velocity_forward", "m/s", t, vx, "vx")
    channels["velocity_left"] = Channel("velocity_left", "m/s", t, vy, "vy")
    repaired = repair_recording(Recording("s.csv", "00", channels))
    assert "velocity_forward" not in repaired.channels
    assert set(repaired.others) == {"vx", "vy"}
    speed = repaired.channels["speed"].values[2:-2]
    np.testing.assert_allclose(speed, recording.channels["speed"].values[2:-2], atol=1.0)


@pytest.mark.parametrize("factor", [0.5, 0.7, 1.6])
def test_scaled_acceleration_is_inconsistent(factor):
    repaired = examine_recording(
        spoil(make_recording(), "acceleration_forward", lambda v, _: factor * v)
    )
    assert [m.outcome for m in repaired.messages] == ["flagged"]
    assert "inconsistent" in repaired.messages[0].text
    assert repaired.marked[0].what == "not used"


@settings(max_examples=15, deadline=None)
@given(st.floats(0.03, 0.45), st.integers(200, 1500), st.floats(20.0, 400.0))
def test_any_single_jump_is_removed(noise, at, size):
    """A jump of more than six standard deviations of a step's innovation goes."""
    recording = make_recording(rate_hz=20.0, noise_m=noise)
    channel = recording.channels["x"]
    recording = spoil(recording, "x", lambda v, _: np.where(np.arange(v.size) == at, v + size, v))
    repaired = examine_recording(recording)
    assert np.flatnonzero(np.isnan(repaired.channels["x"].values)).tolist() == [at]
    assert [s.from_s for s in repaired.repairs if s.channel == "x"] == [channel.time[at]]


@settings(max_examples=10, deadline=None)
@given(st.sampled_from([5.0, 10.0, 25.0, 50.0, 100.0]), st.floats(0.0, 0.5), st.integers(0, 99))
def test_noise_alone_is_never_marked(rate_hz, noise, seed):
    rng = np.random.default_rng(seed)
    recording = make_recording(rate_hz=rate_hz, noise_m=0.0, seconds=60.0)
    for name in ("x", "y"):
        recording = spoil(recording, name, lambda v, _: v + rng.normal(0.0, noise, v.size))
    repaired = examine_recording(recording)
    assert [m.text for m in repaired.messages] == []


def test_windowed_means_and_rates_agree_for_a_line_and_a_square():
    """Both sides of mean(dx/dt) = (x(t+h) − x(t−h)) / 2h, for x = t²: closed form 2 t."""
    t = np.arange(0.0, 20.0, 0.01)
    at = np.arange(2.0, 18.0, 0.5)
    rate = rate_over(Channel("x", "m", t, t**2, "x"), at, 0.5)
    mean = mean_over(Channel("speed", "m/s", t, 2.0 * t, "v"), at, 0.5)
    np.testing.assert_allclose(rate, 2.0 * at, atol=1e-9)
    np.testing.assert_allclose(mean, 2.0 * at, atol=1e-9)


def test_no_mean_across_a_gap():
    t = np.concatenate([np.arange(0.0, 5.0, 0.05), np.arange(8.0, 12.0, 0.05)])
    at = np.array([2.0, 4.8, 6.0, 8.2, 10.0])
    mean = mean_over(Channel("speed", "m/s", t, np.ones(t.size), "v"), at, 0.5)
    assert np.isnan(mean).tolist() == [False, True, True, True, False]


def test_noise_of_positions_is_found():
    t = np.arange(0.0, 100.0, 0.01)
    rng = np.random.default_rng(4)
    x = 30.0 * t + rng.normal(0.0, 0.25, t.size)
    y = rng.normal(0.0, 0.25, t.size)
    assert find_noise(t, x, y) == pytest.approx(0.25, rel=0.05)


def test_plane_against_the_outside_value_for_a_local_tangent_plane():
    """45.01 N 9.01 E about 45 N 9 E, heights equal: 788.34 m east, 1111.39 m north.

    Source: the project's table of outside checks (local ENU by WGS 84, computed
    with ECEF formulas); a plane without curvature may differ by 0.1 %.
    """
    east, north = project_plane(np.array([45.0, 45.0, 45.01]), np.array([9.0, 9.0, 9.01]))
    assert east[2] - east[0] == pytest.approx(788.34, rel=1e-3)
    assert north[2] - north[0] == pytest.approx(1111.39, rel=1e-3)


def test_ratio_is_robust():
    rng = np.random.default_rng(8)
    x = rng.normal(0.0, 5.0, 2000)
    y = 0.6 * x + 1.5 + rng.normal(0.0, 0.1, 2000)
    y[:100] = 500.0
    fit = fit_ratio(x, y, 1.0)
    assert fit.slope == pytest.approx(0.6, abs=0.05)
    assert fit_ratio(x[:20], y[:20], 1.0) is None


def test_marked_samples_are_no_evidence():
    recording = make_recording()
    spans = tuple(Span(n, 30.0, 50.0, "shifted") for n in ("x", "y"))
    evidence = build_evidence(Recording("s.csv", "00", recording.channels, marked=spans))
    assert evidence is not None
    inside = (evidence.time > 31.0) & (evidence.time < 49.0)
    assert np.isnan(evidence.path_speed[inside]).all()
    assert np.isfinite(evidence.path_speed[~inside][:100]).all()


def test_evidence_is_built_anew_for_a_changed_channel():
    recording = make_recording()
    first = build_evidence(recording)
    assert build_evidence(replace(recording, messages=())) is first
    speed = recording.channels["speed"]
    faster = {**recording.channels, "speed": replace(speed, values=2.0 * speed.values)}
    other = build_evidence(replace(recording, channels=faster))
    np.testing.assert_allclose(other.speed, 2.0 * first.speed)
    again = build_evidence(recording)
    marked = replace(recording, marked=(Span("x", 30.0, 50.0, "shifted"),))
    assert np.isnan(build_evidence(marked).path_speed).sum() > np.isnan(again.path_speed).sum()


def test_many_findings_of_one_kind_are_said_in_few_messages():
    recording = make_recording(seconds=240.0)
    t = recording.channels["x"].time
    missing = (t % 10.0 > 4.0) & (t % 10.0 < 6.0)
    for name in ("x", "y"):
        recording = spoil(recording, name, lambda v, _: np.where(missing, np.nan, v))
    repaired = examine_recording(recording)
    assert len([s for s in repaired.marked if s.channel == "x"]) == 24
    assert 2 <= len(repaired.messages) <= 7
    assert repaired.messages[-1].end_s == pytest.approx(236.0)


def test_positions_beyond_repair_end_soon():
    """Nine thousand planted jumps: the work is bounded and the outcome says so."""
    rng = np.random.default_rng(0)
    recording = make_recording(rate_hz=100.0, seconds=900.0)
    at = rng.integers(0, 90_000, 9000)
    off = np.zeros(90_000)
    off[at] = rng.normal(0.0, 500.0, at.size)
    repaired = examine_recording(spoil(recording, "x", lambda v, _: v + off))
    assert repaired.repairs
    assert len(repaired.messages) < 20
