"""Faults of single sensors: spikes, stuck values, reached ranges, impossible zeros."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lapwright.model.amend import mark, note_repairs, put_channels, say
from lapwright.model.recording import Channel, Recording, Span

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

#: First thresholds (common practice, no source).
_STUCK_S, _STUCK_SPEED_MPS = 3.0, 5.0
_CLIPPED_SAMPLES, _CLIPPED_TIMES = 5, 3
#: No car on tyres changes its speed faster (common practice, no source).
_HARDEST_MPS2 = 60.0

#: Below this rate one sample can hold a whole movement of hand or foot.
_SPIKE_HZ = 8.0

_PEDALS = ("throttle", "brake", "brake_pressure")
_STUCK = (*_PEDALS, "engine_speed", "speed", "velocity_forward")
_TURNING = ("steering", "road_wheel_angle", "yaw_rate", "acceleration_left")
_RANGED = ("acceleration_forward", "acceleration_left", "acceleration_up", "yaw_rate")
_SPIKED = (*_PEDALS, *_RANGED, "engine_speed", "steering", "road_wheel_angle", "speed")


def repair_sensors(recording: Recording) -> Recording:
    """Remove spikes and impossible zeros; mark stuck sensors and reached ranges."""
    for name in ("speed", "velocity_forward"):
        recording = _remove_zeros(recording, name)
    for name in _SPIKED:
        recording = _remove_spikes(recording, name)
    for name in (*_STUCK, *_TURNING):
        recording = _mark_stuck(recording, name)
    for name in _RANGED:
        recording = _mark_clipped(recording, name)
    return recording


def _runs_of(mask: Mask) -> Iterator[tuple[int, int]]:
    """First index and the index after the last of each run of True."""
    edges = np.flatnonzero(np.diff(mask.astype(np.int8), prepend=0, append=0))
    yield from zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True)


def _blank(recording: Recording, channel: Channel, at: IntArray, what: str) -> Recording:
    values = channel.values.copy()
    values[at] = np.nan
    runs = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
    spans = [
        Span(channel.name, float(channel.time[r[0]]), float(channel.time[r[-1]]), what)
        for r in runs
    ]
    recording = put_channels(recording, replace(channel, values=values))
    return note_repairs(recording, spans)


def _remove_zeros(recording: Recording, name: str) -> Recording:
    """Remove zeros into which a moving car cannot have fallen."""
    channel = recording.channels.get(name)
    if channel is None:
        return recording
    v, t = channel.values, channel.time
    for first, end in list(_runs_of(v == 0.0)):
        if first == 0 or end >= v.size or t[end - 1] - t[first] > 5.0:
            continue
        fall = (v[0 if first == 0 else first - 1]) / (t[first] - t[first - 1])
        rise = v[end] / (t[end] - t[end - 1])
        if not (fall > _HARDEST_MPS2 and rise > _HARDEST_MPS2 and v[first - 1] > 5.0):
            continue
        span = float(t[first]), float(t[end - 1])
        lasts = float(t[end] - t[first])
        found = f"0 m/s for {lasts:.2f} s at {v[first - 1]:.0f} m/s (−{fall:.0f} m/s²)"
        done = f"{end - first} samples removed"
        recording = say(recording, "repaired", name, found, done, span=span)
        at = np.arange(first, end, dtype=np.int64)
        recording = _blank(recording, recording.channels[name], at, "impossible zero removed")
    return recording


def _remove_spikes(recording: Recording, name: str) -> Recording:
    """Remove single samples that leave their neighbours by more than the channel's whole range."""
    channel = recording.channels.get(name)
    if channel is None or channel.values.size < 100 or channel.rate_hz < _SPIKE_HZ:
        return recording
    v = channel.values
    low, high = np.nanpercentile(v, [0.5, 99.5])
    reach = float(high - low)
    before, after = v[:-2], v[2:]
    out = np.abs(v[1:-1] - before) > 1.2 * reach
    out &= np.abs(v[1:-1] - after) > 1.2 * reach
    out &= np.abs(before - after) < 0.5 * reach
    at = np.flatnonzero(out) + 1
    if not at.size or reach == 0.0 or at.size > 1e-3 * v.size + 20:
        return recording
    seen = v[at] * (1e-5 if name == "brake_pressure" else 1.0)
    unit = "bar" if name == "brake_pressure" else channel.unit
    single = "single sample" if at.size == 1 else "single samples"
    found = f"{at.size} {single} of {_number(seen.min())}"
    found += f" to {_number(seen.max())} {unit}" if at.size > 1 else f" {unit}"
    span = float(channel.time[at[0]]), float(channel.time[at[-1]])
    recording = say(recording, "repaired", name, found, "Removed", span=span)
    return _blank(recording, recording.channels[name], at, "spike removed")


def _number(value: float) -> str:
    text = f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"
    return text.replace(",", " ").replace("-", "−")


def _mark_stuck(recording: Recording, name: str) -> Recording:
    """Mark stretches in which a sensor shows one value though the car's motion changes."""
    channel = recording.channels.get(name)
    if channel is None or channel.values.size < 10:
        return recording
    v, t = channel.values, channel.time
    for first, last in _find_constant(channel):
        value = float(v[first])
        if _is_end_stop(channel, value) or not _is_moving(recording, channel, first, last):
            continue
        span = float(t[first]), float(t[last])
        recording = mark(recording, [Span(name, *span, "stuck")])
        found = f"{_shown(channel, value)} throughout"
        recording = say(recording, "flagged", name, found, "Marked, left out there", span=span)
    return recording


def _find_constant(channel: Channel) -> Iterator[tuple[int, int]]:
    """First and last sample of each stretch of one value, longer than `_STUCK_S`."""
    v, t = channel.values, channel.time
    for first, end in _runs_of(v[1:] == v[:-1]):
        if t[end] - t[first] > _STUCK_S:
            yield first, end


def _is_end_stop(channel: Channel, value: float) -> bool:
    """Whether a value is where the pedal or sensor rests: released, or pressed to the end."""
    if channel.name in _TURNING or channel.name in ("speed", "velocity_forward"):
        return False
    low, high = float(np.nanmin(channel.values)), float(np.nanmax(channel.values))
    near = 0.02 * (high - low)
    return value <= low + near or value >= high - near


def _is_moving(recording: Recording, channel: Channel, first: int, last: int) -> bool:
    """Whether the rest of the car moves enough for this sensor to have to follow."""
    start, end = float(channel.time[first]), float(channel.time[last])
    if channel.name in _TURNING:
        return _turns(recording, channel.name, start, end)
    names = ["speed", "velocity_forward", *[f"wheel_speed_rear_{s}" for s in ("left", "right")]]
    held = [n for n in names if n in recording.channels and n != channel.name]
    return any(
        _range_of(recording.channels[n], start, end) > _STUCK_SPEED_MPS
        for n in held
    )  # fmt: skip


def _turns(recording: Recording, name: str, start: float, end: float) -> bool:
    """Whether other channels show a change of turning that this one must show as well."""
    limits = {"yaw_rate": 0.2, "acceleration_left": 4.0}
    others = [n for n in limits if n != name and n in recording.channels]
    return any(_range_of(recording.channels[n], start, end) > limits[n] for n in others)


def _range_of(channel: Channel, start: float, end: float) -> float:
    inside = channel.values[np.searchsorted(channel.time, start) :]
    inside = inside[: np.searchsorted(channel.time, end) - np.searchsorted(channel.time, start)]
    inside = inside[np.isfinite(inside)]
    return float(np.ptp(inside)) if inside.size else 0.0


def _shown(channel: Channel, value: float) -> str:
    if channel.unit == "1":
        return f"{100.0 * value:.1f} %"
    if channel.unit == "Pa":
        return f"{value / 1e5:.1f} bar"
    return f"{value:.3g} {channel.unit}".replace("-", "−")


def _mark_clipped(recording: Recording, name: str) -> Recording:
    """Mark samples at a reached range: the same extreme held again and again."""
    channel = recording.channels.get(name)
    if channel is None or channel.values.size < 100:
        return recording
    v = channel.values
    if not np.isfinite(v).any() or np.nanmax(v) == np.nanmin(v):
        return recording
    sides = [e for e in (float(np.nanmax(v)), float(np.nanmin(v))) if _is_clipped(v, e)]
    if not sides:
        return recording
    at = np.isin(v, sides)
    spans = [
        Span(name, float(channel.time[a]), float(channel.time[b - 1]), "range reached")
        for a, b in _runs_of(at)
    ]
    shown = " and ".join(f"{s:.2f}" for s in sides).replace("-", "−")
    if len(sides) == 2 and np.isclose(abs(sides[0]), abs(sides[1]), rtol=1e-6):
        shown = f"±{abs(sides[0]):.2f}"
    found = f"{int(at.sum())} samples at {shown} {channel.unit} exactly"
    done = "Sensor range reached; no grip estimate from these samples"
    return mark(say(recording, "flagged", name, found, done), spans)


def _is_clipped(v: Array, extreme: float) -> bool:
    """Whether an extreme is held often, and far more often than the level next to it."""
    at = v == extreme
    held = sum(end - first >= _CLIPPED_SAMPLES for first, end in _runs_of(at))
    if held < _CLIPPED_TIMES:
        return False
    inner = v[np.isfinite(v) & ~at]
    beside = inner.max() if extreme > inner.max() else inner.min()
    return bool(at.sum() > 3 * (v == beside).sum())
