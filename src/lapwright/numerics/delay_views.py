"""What each group of sources shows of speed, accelerations and turning, on one time base."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lapwright.numerics.motion import estimate_motion
from lapwright.numerics.motion_grid import Grid, bin_series
from lapwright.numerics.series import Motion, Series

Array = NDArray[np.float64]
View = dict[str, Array]

#: A gap up to this many steps in a measured channel is bridged by a straight line.
BRIDGED_STEPS = 6
SHORTEST_S = 20.0
#: A car that is faster than this, m/s, is driven.
DRIVEN_MPS = 8.0


def build_views(series: Mapping[str, Series], step: float, longest: float) -> dict[str, View]:
    """Bring the groups onto one grid.

    Parameters
    ----------
    series
        By canonical name.
    step
        Grid step in s.
    longest
        At most so many seconds are looked at, where most is driven.

    Returns
    -------
    dict
        Group to quantity (speed, acceleration, lateral, turn; throttle, brake) to values.
    """
    given = {n: s for n, s in series.items() if np.isfinite(s.values).sum() > 20}
    if not given:
        return {}
    first = min(float(s.time[0]) for s in given.values())
    last = max(float(s.time[-1]) for s in given.values())
    if last - first < SHORTEST_S:
        return {}
    if last - first > longest:
        begin = _find_driven(given, longest)
        middle = 0.5 * (first + last - longest)
        first = max(min(middle if begin is None else begin, last - longest), first)
        last = first + longest
    given = {n: _cut(s, first, last) for n, s in given.items()}
    grid = Grid(first, step, int((last - first) / step) + 1)
    views = {
        "pedals": _pedals(given, grid),
        "imu": _imu(given, grid),
        "speed": _speed(given, grid),
        "position": _position(given, grid),
    }
    return {name: view for name, view in views.items() if view}


def _find_driven(given: Mapping[str, Series], longest: float) -> float | None:
    """Find where ``longest`` seconds begin in which most is driven; None where nothing tells."""
    name = next((n for n in ("speed", "velocity_forward") if _usable(given, n)), None)
    if name is not None:
        time, fast = given[name].time, np.abs(given[name].values) > DRIVEN_MPS
    elif _usable(given, "x", "y"):
        x, y = given["x"], given["y"]
        time = x.time[1:]
        step = np.hypot(np.diff(x.values), np.diff(np.interp(x.time, y.time, y.values)))
        fast = step > DRIVEN_MPS * np.diff(x.time)
    else:
        return None
    seconds = np.unique(np.floor(time[fast]))
    if not seconds.size:
        return None
    held = np.searchsorted(seconds, seconds + longest) - np.arange(seconds.size)
    good = seconds[held >= 0.98 * held.max()]
    return float(good[good.size // 2])


def _cut(s: Series, first: float, last: float) -> Series:
    inside = (s.time >= first) & (s.time <= last)
    return Series(s.time[inside], s.values[inside], s.sd)


def _usable(given: Mapping[str, Series], *names: str) -> bool:
    return all(n in given and np.isfinite(given[n].values).sum() > 20 for n in names)


def _pedals(given: Mapping[str, Series], grid: Grid) -> View:
    view = {}
    for name in ("throttle", "brake_pressure", "brake"):
        key = "throttle" if name == "throttle" else "brake"
        if _usable(given, name) and key not in view and np.nanstd(given[name].values) > 0.0:
            view[key] = _on_grid(given[name], grid)
    return view


def _imu(given: Mapping[str, Series], grid: Grid) -> View:
    names = {
        "acceleration_forward": "acceleration",
        "acceleration_left": "lateral",
        "yaw_rate": "turn",
    }
    return {key: _on_grid(given[n], grid) for n, key in names.items() if _usable(given, n)}


def _speed(given: Mapping[str, Series], grid: Grid) -> View:
    for name in ("speed", "velocity_forward"):
        if _usable(given, name):
            motion = estimate_motion({"speed": given[name]}, fastest_hz=1.0 / grid.step)
            return {
                "speed": _seen(motion, motion.speed, given[name], grid),
                "acceleration": _seen(motion, motion.acceleration_forward, given[name], grid),
            }
    return {}


def _position(given: Mapping[str, Series], grid: Grid) -> View:
    if not _usable(given, "x", "y"):
        return {}
    motion = estimate_motion({"x": given["x"], "y": given["y"]}, fastest_hz=1.0 / grid.step)
    quantities = {
        "speed": motion.speed,
        "acceleration": motion.acceleration_forward,
        "lateral": motion.acceleration_left,
        "turn": motion.yaw_rate,
    }
    return {key: _seen(motion, values, given["x"], grid) for key, values in quantities.items()}


def _seen(motion: Motion, values: Array, source: Series, grid: Grid) -> Array:
    """Values of a motion on the grid; NaN at standstill and where the source has a gap."""
    out = np.interp(grid.time, motion.time, values, left=np.nan, right=np.nan)
    speed = np.interp(grid.time, motion.time, motion.speed, left=np.nan, right=np.nan)
    good = source.time[np.isfinite(source.values)]
    gap = 3.0 * float(np.median(np.diff(good))) + 2.0 * grid.step
    at = np.searchsorted(good, grid.time).clip(1, good.size - 1)
    far = good[at] - good[at - 1] > gap
    out[far | ~(speed > 3.0)] = np.nan
    return np.asarray(out)


def _on_grid(s: Series, grid: Grid) -> Array:
    """Averages on the grid, short gaps bridged."""
    values = bin_series(s, grid).values
    known = np.flatnonzero(np.isfinite(values))
    if known.size < 2:
        return values
    typical = max(BRIDGED_STEPS, 3 * int(np.median(np.diff(known))))
    out = np.interp(np.arange(grid.count), known, values[known], left=np.nan, right=np.nan)
    # bin means belong to the mean time of their samples, not to the grid's
    offset = bin_series(s, grid).offsets[known]
    out = np.interp(grid.time, grid.time[known] + offset, values[known], left=np.nan, right=np.nan)
    at = np.searchsorted(known, np.arange(grid.count)).clip(1, known.size - 1)
    out[known[at] - known[at - 1] > typical] = np.nan
    return np.asarray(out)
