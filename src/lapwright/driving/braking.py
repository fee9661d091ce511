"""Braking in one corner: the application that slows the car for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.window import Window
from lapwright.model.lap import Trace
from lapwright.numerics.events import crossing_time, fill_gaps, find_runs, foot_time

Array = NDArray[np.float64]

#: Shares of the highest pressure at which an application is noticed, and ends.
NOTICED, ENDED = 0.06, 0.025
#: A quiet channel shows the pedal's first and last touch already at this share.
TOUCHED = 0.01
#: Applications parted by less are one, and shorter ones are none, s.
JOINED_S, SHORTEST_S = 0.15, 0.08


@dataclass(frozen=True, slots=True)
class Braking:
    """One brake application; times since the lap's start in s."""

    start_s: float
    end_s: float
    rise_s: float
    release_s: float


def find_braking(window: Window, slowest_s: float) -> Braking | None:
    """Find the brake application that slows the car for the corner.

    Of the applications that begin after the corner before and before the slowest
    place, the one with the largest area counts.
    """
    brake = window.trace("brake")
    if brake is None:
        return None
    near = (brake.time >= window.before_s - 0.5) & (brake.time <= window.next_s)
    time, level = brake.time[near], brake.values[near]
    if time.size < 4:
        return None
    runs = fill_gaps(find_runs(level, NOTICED, ENDED), time, JOINED_S)
    step = float(np.median(np.diff(time)))
    good = [
        (a, b)
        for a, b in runs
        if time[b] - time[a] + step >= SHORTEST_S
        and time[a] <= slowest_s
        and time[b] > window.before_s
    ]
    if not good:
        return None
    a, b = max(good, key=lambda run: float(level[run[0] : run[1] + 1].sum()))
    return _measure(time, level, a, b, _touch(brake.values))


def _touch(values: Array) -> float:
    """Level of the first and last touch: as low as the released pedal's unrest allows."""
    released = values[values < ENDED]
    unrest = float(np.quantile(released, 0.9)) if released.size else ENDED
    return float(np.clip(2.0 * unrest, TOUCHED, ENDED))


def _measure(time: Array, level: Array, a: int, b: int, touch: float) -> Braking:
    first = int(np.flatnonzero(level[:a] <= touch)[-1]) + 1 if (level[:a] <= touch).any() else a
    loose = np.flatnonzero(level[b + 1 :] <= touch)
    last = b + 1 + int(loose[0]) if loose.size else b + 1
    start = foot_time(time, first)
    end = crossing_time(time, level, touch, last)
    run, clock = level[a : b + 1], time[a : b + 1]
    plateau = float(np.quantile(run, 0.9))
    firm = np.flatnonzero(run >= 0.85 * plateau)
    return Braking(start, end, float(clock[firm[0]] - start), float(end - clock[firm[-1]]))


def time_above(trace: Trace | None, level: float, from_s: float, to_s: float) -> Array:
    """Tell for each sample between two times whether it is above a level; empty without any."""
    if trace is None:
        return np.zeros(0)
    near = (trace.time >= from_s) & (trace.time <= to_s)
    return (trace.values[near] > level).astype(float)
