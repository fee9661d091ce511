"""Clocks made regular again, and positions moved in time to where the speed puts them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from lapwright.model.amend import (
    find_place_names,
    note_repairs,
    put_channels,
    say,
)
from lapwright.model.plausible import find_plane
from lapwright.model.recording import Array, Channel, Recording, Span

Mask = NDArray[np.bool_]

#: Jitter below this share of the step is left alone (common practice, no source).
_SMALL_JITTER = 0.03
#: Above this share of the step the rows can no longer be counted.
_COUNTABLE = 0.6
#: Positions are retimed when their along-path scatter is this many times the scatter across.
_ALONG_OVER_ACROSS = 2.0
_LEAST_TIMING_S = 5e-4
#: Timing errors are told from slow differences between position and speed within this.
_WINDOW_S = 2.0
_SLOW_MPS = 5.0


def restore_clock(recording: Recording) -> Recording:
    """Give back a regular clock to a logger whose time stamps jitter.

    A clock is made regular when its stamps scatter about a steady count of
    equal steps and the positions, where there are any, confirm that count;
    real gaps keep their length.
    """
    bases = {id(c.time): c.time for c in recording.channels.values()}
    for time in sorted(bases.values(), key=lambda t: -t.size):
        regular = _find_regular(time)
        if regular is None or not _is_confirmed(recording, time, regular):
            continue
        recording = _say_jitter(recording, time, regular)
        recording = _swap_time(recording, time, regular)
    return recording


def _find_regular(time: Array) -> Array | None:
    """Find the regular clock behind jittering stamps; None when there is nothing to mend."""
    if time.size < 50:
        return None
    steps = np.diff(time)
    usual = float(np.mean(steps[steps < 2.5 * np.median(steps)]))
    if float(np.std(steps[steps < 2.5 * usual])) < _SMALL_JITTER * usual:
        return None
    wide = np.flatnonzero(steps > 2.5 * usual) + 1
    parts = np.split(np.arange(time.size), wide)
    regular = np.concatenate([_fit_part(time[p], usual) for p in parts])
    fits = np.max(np.abs(time - regular)) < _COUNTABLE * usual
    return regular if fits and (np.diff(regular) > 0).all() else None


def _fit_part(time: Array, usual: float) -> Array:
    """Fit ``a + step * k`` to one stretch without gaps, counting left-out rows."""
    if time.size < 20:
        return time
    k = np.round((time - time[0]) / usual)
    for _ in range(3):
        step, start = np.polyfit(k, time, 1)
        k = np.round((time - start) / step)
    if (np.diff(k) < 1).any():
        k = np.arange(time.size, dtype=np.float64)
        step, start = np.polyfit(k, time, 1)
    return np.asarray(start + step * k)


def _is_confirmed(recording: Recording, time: Array, regular: Array) -> bool:
    """Whether position steps over speed scatter less about the regular steps."""
    place = find_plane(recording)
    speed = recording.channels.get("speed") or recording.channels.get("velocity_forward")
    if place is None or speed is None or place[0].size != time.size or speed.time is not time:
        return True
    t, x, y = place
    if not np.array_equal(t, time):
        return True
    v = 0.5 * (speed.values[1:] + speed.values[:-1])
    fast = v > _SLOW_MPS
    if fast.sum() < 50:
        return True
    taken = np.hypot(np.diff(x), np.diff(y))[fast] / v[fast]
    return bool(_scatter(taken - np.diff(regular)[fast]) < _scatter(taken - np.diff(time)[fast]))


def _scatter(values: Array) -> float:
    values = values[np.isfinite(values)]
    return float(np.median(np.abs(values - np.median(values))))


def _say_jitter(recording: Recording, time: Array, regular: Array) -> Recording:
    moved = np.abs(time - regular)
    step = float(np.median(np.diff(regular)))
    found = f"time stamps jitter by up to {1e3 * moved.max():.1f} ms "
    found += f"(rms {1e3 * float(np.sqrt(np.mean(moved**2))):.1f} ms) about steps of {step:.4g} s"
    done = f"{time.size} stamps put back on a regular clock, gaps kept"
    recording = say(recording, "repaired", "time", found, done)
    span = Span("time", float(regular[0]), float(regular[-1]), "regular clock restored")
    return note_repairs(recording, [span])


def _swap_time(recording: Recording, time: Array, regular: Array) -> Recording:
    def swap(channel: Channel) -> Channel:
        return replace(channel, time=regular) if channel.time is time else channel

    return replace(
        recording,
        channels={n: swap(c) for n, c in recording.channels.items()},
        others={n: swap(c) for n, c in recording.others.items()},
    )


@dataclass(frozen=True, slots=True)
class _Timing:
    """By how much each position lies ahead of its stamp: seconds, shape (n,)."""

    error: Array
    fast: Mask


def retime_place(recording: Recording) -> Recording:
    """Move position samples in time to where the logged speed puts them.

    Receivers and loggers hand positions over early or late by milliseconds.
    Such an error shifts a position along the path only, in proportion to
    speed, whereas noise scatters it across the path as well; only the former
    is mended. Position channels get a time base of their own.
    """
    names = find_place_names(recording)
    place = find_plane(recording)
    speed = recording.channels.get("speed") or recording.channels.get("velocity_forward")
    if names is None or place is None or speed is None or place[0].size < 200:
        return recording
    timing = _find_timing(*place, speed)
    if timing is None:
        return recording
    t = place[0] + timing.error
    if (np.diff(t) <= 0).any():
        return recording
    recording = _say_timing(recording, names, timing, place[0])
    for name in names:
        channel = recording.channels[name]
        shifted = channel.time + np.interp(channel.time, place[0], timing.error)
        recording = put_channels(recording, replace(channel, time=shifted))
    spans = [Span(n, float(t[0]), float(t[-1]), "retimed from speed") for n in names]
    return note_repairs(recording, spans)


def _find_timing(t: Array, x: Array, y: Array, speed: Channel) -> _Timing | None:
    """Find timing errors; None when there are none that can be told from noise."""
    known = np.isfinite(speed.values)
    v = np.interp(t, speed.time[known], speed.values[known])
    driven = _cumulate(0.5 * (v[1:] + v[:-1]) * np.diff(t))
    gone = _cumulate(np.hypot(np.diff(x), np.diff(y)))
    step = float(np.median(np.diff(t)))
    size = max(2 * round(_WINDOW_S / step / 2) + 1, 5)
    ahead = gone - driven
    ahead -= uniform_filter1d(ahead, size)
    fast = v > _SLOW_MPS
    near_gap = np.zeros(t.size, dtype=bool)
    for k in np.flatnonzero(np.diff(t) > 2.5 * step):
        near_gap[max(k - size, 0) : k + size] = True
    good = fast & ~near_gap
    if good.sum() < 200:
        return None
    error = np.where(good, ahead / np.maximum(v, _SLOW_MPS), 0.0)
    spread = float(np.sqrt(np.mean(error[good] ** 2)))
    along, across = _scatter_along_across(t, x, y, good)
    limit = max(_LEAST_TIMING_S, 0.02 * step)
    if spread < limit or along < _ALONG_OVER_ACROSS * across:
        return None
    return _Timing(np.clip(error, -0.45 * step, 0.45 * step), good)


def _cumulate(steps: Array) -> Array:
    return np.concatenate([np.zeros(1), np.cumsum(steps)])


def _scatter_along_across(t: Array, x: Array, y: Array, good: Mask) -> tuple[float, float]:
    """Root mean square of third differences along and across the path in metres.

    Third differences leave noise and timing errors and take out the path's own shape.
    """
    dx, dy = x[3:] - x[:-3], y[3:] - y[:-3]
    length = np.maximum(np.hypot(dx, dy), 1e-9)
    ex, ey = np.diff(x, 3), np.diff(y, 3)
    use = good[3:] & good[:-3] & (t[3:] - t[:-3] < 4.5 * float(np.median(np.diff(t))))
    along = ((ex * dx + ey * dy) / length)[use]
    across = ((ey * dx - ex * dy) / length)[use]
    return float(np.sqrt(np.mean(along**2))), float(np.sqrt(np.mean(across**2)))


def _say_timing(
    recording: Recording, names: tuple[str, str], timing: _Timing, t: Array
) -> Recording:
    error = timing.error[timing.fast]
    far = int((np.abs(error) > 2e-3).sum())
    rms, most = 1e3 * float(np.sqrt(np.mean(error**2))), 1e3 * float(np.abs(error).max())
    found = (
        f"time stamps jitter: position steps do not fit speed, samples lie up to {most:.0f} ms "
        f"early or late (rms {rms:.1f} ms, {far} by more than 2 ms)"
    )
    done = f"{timing.error.size} samples moved in time to where the speed puts them"
    span = float(t[0]), float(t[-1])
    return say(recording, "repaired", names, found, done, span=span)
