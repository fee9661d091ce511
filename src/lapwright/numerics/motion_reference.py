"""A rough motion out of the positions alone, about which the filter is first linearised.

The filter's own running estimate would do while the car moves, but pulling away
from standstill in an unknown direction can lead it astray.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from lapwright.numerics import motion_kernels as mk

Array = NDArray[np.float64]

#: Width of the smoothing in s for positions good to a centimetre and to half a metre.
NARROW_S, WIDE_S = 0.2, 0.5
#: Below this speed (m/s) the direction is held.
HOLD_BELOW = 1.0
LARGEST_CURVATURE = 0.3
#: A pass is astray beyond these: distance in m, speed in m/s.
FAR_M, TOO_FAST = 30.0, 15.0


def rough_states(values: Array, step: float, scatter: float) -> Array:
    """States of the filter, shape (n, 10), from smoothed positions.

    Parameters
    ----------
    values
        Measurements, shape (7, n), with at least two positions.
    step
        Grid step in s.
    scatter
        Standard deviation of a position in m.
    """
    count = values.shape[1]
    places = np.flatnonzero(np.isfinite(values[mk.AT_X]) & np.isfinite(values[mk.AT_Y]))
    grid = np.arange(count)
    spacing = float(np.median(np.diff(places))) * step
    share = float(np.clip(scatter / 0.5, 0.0, 1.0)) ** 0.5
    width = max(NARROW_S + (WIDE_S - NARROW_S) * share, 0.7 * spacing) / step
    smooth = []
    for row in (mk.AT_X, mk.AT_Y):
        # single wild positions go before anything is averaged
        calm = median_filter(values[row, places], size=min(5, places.size), mode="nearest")
        kept = np.abs(values[row, places] - calm) < 3.0 * (scatter + np.abs(_reach(calm)))
        calm = np.where(kept, values[row, places], calm)
        smooth.append(_soften(np.interp(grid, places, calm), width))
    vx, vy = (np.gradient(line, step) for line in smooth)
    speed = np.hypot(vx, vy)
    direction = _held_direction(vx, vy, speed)
    state = np.zeros((count, mk.STATES))
    state[:, mk.X], state[:, mk.Y] = smooth
    state[:, mk.DIRECTION] = direction
    state[:, mk.SPEED] = speed
    state[:, mk.ACCELERATION] = np.gradient(speed, step)
    curvature = np.gradient(direction, step) / np.maximum(speed, HOLD_BELOW)
    state[:, mk.CURVATURE] = np.clip(curvature, -LARGEST_CURVATURE, LARGEST_CURVATURE)
    return state


def _soften(line: Array, width: float) -> Array:
    """Gaussian average that keeps the slope at both ends."""
    reach = min(int(4.0 * width) + 1, line.size - 1)
    padded = np.pad(line, reach, mode="reflect", reflect_type="odd")
    return np.asarray(gaussian_filter1d(padded, width)[reach : reach + line.size])


def _reach(calm: Array) -> Array:
    """Distance to the neighbours, the larger of both."""
    if calm.size < 2:
        return np.zeros_like(calm)
    steps = np.abs(np.diff(calm))
    return np.asarray(np.maximum(np.append(steps, 0.0), np.insert(steps, 0, 0.0)))


def _held_direction(vx: Array, vy: Array, speed: Array) -> Array:
    """Direction of the velocity, unwrapped, held where the car hardly moves."""
    moving = np.flatnonzero(speed > HOLD_BELOW)
    if moving.size == 0:
        return np.full(speed.size, float(np.arctan2(vy.sum(), vx.sum())))
    direction = np.unwrap(np.arctan2(vy[moving], vx[moving]))
    return np.asarray(np.interp(np.arange(speed.size), moving, direction))


def near_rough(state: Array, rough: Array) -> Array:
    """States to linearise about next: the rough ones where a pass has gone astray.

    Off the rough motion by more than any gap or noise explains, the linearised
    equations no longer hold, and the next pass would go further astray.
    """
    away = np.hypot(state[:, mk.X] - rough[:, mk.X], state[:, mk.Y] - rough[:, mk.Y])
    speed, top = state[:, mk.SPEED], float(rough[:, mk.SPEED].max())
    astray = (away > FAR_M) | (speed < -TOO_FAST) | (speed > top + TOO_FAST)
    astray |= np.abs(state[:, mk.CURVATURE]) > 2.0 * LARGEST_CURVATURE
    return np.where(astray[:, None], rough, state)
