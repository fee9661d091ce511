"""The throttle in one corner: leaving it, picking it up, being back on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.window import Window
from lapwright.model.lap import Trace
from lapwright.numerics.events import crossing_time, foot_time

Array = NDArray[np.float64]

#: Full throttle and released, as shares of the pedal's highest plateau.
FULL, RELEASED = 0.98, 0.05
#: A pedal that rises past RELEASED was touched where it passed this, coming from rest.
TOUCHED, AT_REST = 0.02, 0.01
#: A pedal that never falls below this was not lifted.
LIFTED = 0.93


@dataclass(frozen=True, slots=True)
class Throttle:
    """Times since the lap's start in s; None where it did not happen in this corner."""

    off_s: float | None
    first_s: float | None
    full_s: float | None
    lowest: float


def find_throttle(window: Window, slowest_s: float) -> Throttle | None:
    """Find where the throttle is left, picked up and full again.

    The pick-up is the first rise that is not given back before full throttle: the last
    time at which the pedal was released (or, if it never was, lowest) before it is full.
    None without a throttle channel.
    """
    trace = window.trace("throttle")
    if trace is None:
        return None
    near = (trace.time >= window.before_s) & (trace.time <= window.last_s)
    time, pedal = trace.time[near], trace.values[near]
    if time.size < 4:
        return None
    middle = _lowest(time, pedal, window, slowest_s)
    if pedal[middle] >= LIFTED:
        return Throttle(None, None, None, float(pedal[middle]))
    after = np.flatnonzero(pedal[middle:] >= FULL) + middle
    full_i = int(after[0]) if after.size else None
    off = _left(window, trace, float(time[middle]))
    full = crossing_time(time, pedal, FULL, full_i) if full_i is not None else None
    if full is not None and full > window.next_s and window.next_s > window.end_s:
        full = None  # that is the next straight's throttle, not this corner's
    first = _pick_up(time, pedal, middle, full_i, window)
    return Throttle(off, first, full, float(pedal[middle]))


def _left(window: Window, trace: Trace, lowest_s: float) -> float | None:
    """Time at which full throttle was left, be it before the corner before has ended."""
    first = float(window.track.time[window.inside][0]) if window.inside.any() else window.before_s
    way = (trace.time >= min(first, window.before_s)) & (trace.time < lowest_s)
    full = np.flatnonzero(trace.values[way] >= FULL)
    return foot_time(trace.time[way], int(full[-1]) + 1) if full.size else None


def _lowest(time: Array, pedal: Array, window: Window, slowest_s: float) -> int:
    """Sample of the lowest pedal about the slowest place; the last one of a released pedal."""
    until = max(slowest_s, window.apex_s, window.start_s)
    look = np.flatnonzero((time >= window.start_s - 0.5) & (time <= until))
    if look.size == 0:
        look = np.arange(time.size)
    lowest = pedal[look].min()
    return int(look[np.flatnonzero(pedal[look] <= max(lowest + 0.02, 0.0))[-1]])


def _pick_up(
    time: Array, pedal: Array, middle: int, full_i: int | None, window: Window
) -> float | None:
    end = full_i if full_i is not None else int(np.searchsorted(time, window.next_s)) - 1
    if end <= middle:
        return None
    lowest = float(pedal[middle])
    level = RELEASED if lowest < RELEASED else lowest + 0.03
    low = np.flatnonzero(pedal[middle : end + 1] <= level) + middle
    if low.size == 0 or low[-1] + 1 > end:
        return None
    risen = int(low[-1]) + 1
    first = _touch(pedal, risen) if lowest < TOUCHED else None
    if first is not None:
        return foot_time(time, first)
    return crossing_time(time, pedal, level, risen)


def _touch(pedal: Array, risen: int) -> int | None:
    """First sample past the touch after the last rest before the pedal rose for good."""
    rest = np.flatnonzero(pedal[:risen] <= AT_REST)
    if rest.size == 0:
        return None
    touched = np.flatnonzero(pedal[rest[-1] : risen + 1] > TOUCHED)
    return int(rest[-1] + touched[0]) if touched.size else None
