"""A motion without positions: how far it drifts, and closing it over the laps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lapwright.numerics.series import Motion

Array = NDArray[np.float64]

#: What is left of a yaw-rate sensor's offset and of a speed's scale when nothing is known of
#: them: 0.1 deg/s and 1 % (common practice, no source).
YAW_OFFSET_SD = float(np.radians(0.1))
SPEED_SCALE_SD = 0.01


def with_drift(motion: Motion, yaw_offset_sd: float = YAW_OFFSET_SD) -> Motion:
    """Add the errors that grow while dead reckoning to the standard deviations.

    Parameters
    ----------
    motion
        From speed and yaw rate, without positions.
    yaw_offset_sd
        Of the constant part of the yaw rate's error, rad/s.
    """
    gone = motion.time - motion.time[0]
    step = np.gradient(motion.time)
    rate = motion.speed * gone * step
    # a constant yaw error swings the path about its start
    swing_x = np.cumsum(-np.sin(motion.heading) * rate)
    swing_y = np.cumsum(np.cos(motion.heading) * rate)
    swing = 0.5 * yaw_offset_sd**2 * (swing_x**2 + swing_y**2)
    away = np.hypot(motion.x - motion.x[0], motion.y - motion.y[0])
    stretch = 0.5 * SPEED_SCALE_SD**2 * away**2
    return replace(
        motion,
        position_sd=np.sqrt(motion.position_sd**2 + swing + stretch),
        heading_sd=np.sqrt(motion.heading_sd**2 + (yaw_offset_sd * gone) ** 2),
        speed_sd=np.hypot(motion.speed_sd, SPEED_SCALE_SD * motion.speed),
    )


def close_dead_reckoning(motion: Motion, crossings: Sequence[float]) -> Motion:
    """Lay the laps of a dead-reckoned motion over each other.

    Over each lap the heading must have turned by whole turns: the rest is a yaw-rate
    offset, taken out evenly in time. The position must have come back: the rest is
    taken out evenly in distance driven. Before the first and after the last crossing
    the nearest lap's correction goes on.

    Parameters
    ----------
    motion
        From `estimate_motion` without positions.
    crossings
        Times in s at which the car passed one place in one direction, increasing, at
        least two; the place of the first stays where it is.

    Returns
    -------
    Motion
        With position, heading, yaw rate, curvature and lateral acceleration corrected;
        ``position_sd`` within a lap is that of a bridge between two fixed ends whose
        misfit was seen.

    Raises
    ------
    ValueError
        With fewer than two crossings inside the motion.
    """
    at = np.searchsorted(motion.time, np.asarray(crossings, np.float64))
    at = at[(at > 0) & (at < motion.time.size)]
    if at.size < 2 or np.any(np.diff(at) < 2):
        raise ValueError(
            "crossings: at least two increasing times within the motion are needed, "
            f"{at.size} lie within it"
        )
    heading, offset = _close_heading(motion, at)
    x, y, misfit = _close_place(motion, heading, at)
    distance = _travelled(motion)
    share = _lap_share(distance, at)
    bridge = 2.0 * np.sqrt(share * (1.0 - share))
    yaw_rate = motion.yaw_rate - offset
    speed = np.maximum(motion.speed, 0.1)
    return replace(
        motion,
        x=x,
        y=y,
        heading=heading,
        yaw_rate=yaw_rate,
        curvature=motion.curvature - np.where(motion.speed > 1.0, offset / speed, 0.0),
        acceleration_left=motion.acceleration_left - offset * motion.speed,
        position_sd=np.sqrt((misfit * bridge) ** 2 + _within_lap(motion.position_sd, at) ** 2),
    )


def _travelled(motion: Motion) -> Array:
    steps = 0.5 * (motion.speed[1:] + motion.speed[:-1]) * np.diff(motion.time)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _lap_of(count: int, at: NDArray[np.int64]) -> NDArray[np.int64]:
    """Lap to which each sample belongs; the ends go with the nearest whole lap."""
    return np.clip(np.searchsorted(at, np.arange(count), side="right") - 1, 0, at.size - 2)


def _lap_share(distance: Array, at: NDArray[np.int64]) -> Array:
    lap = _lap_of(distance.size, at)
    length = distance[at[lap + 1]] - distance[at[lap]]
    return np.asarray(np.clip((distance - distance[at[lap]]) / np.maximum(length, 1e-6), 0.0, 1.0))


def _close_heading(motion: Motion, at: NDArray[np.int64]) -> tuple[Array, Array]:
    turned = np.diff(motion.heading[at])
    rest = turned - 2.0 * np.pi * np.round(turned / (2.0 * np.pi))
    rates = rest / np.diff(motion.time[at])
    offset = rates[_lap_of(motion.time.size, at)]
    taken = np.concatenate([[0.0], np.cumsum(offset[1:] * np.diff(motion.time))])
    return motion.heading - (taken - taken[at[0]]), offset


def _close_place(
    motion: Motion, heading: Array, at: NDArray[np.int64]
) -> tuple[Array, Array, Array]:
    """Positions along the corrected heading, closed lap by lap, and each lap's misfit."""
    steps = np.diff(_travelled(motion))
    middle = 0.5 * (heading[1:] + heading[:-1])
    lap = _lap_of(heading.size, at)
    distance = _travelled(motion)
    out = []
    gaps = []
    for first, part in ((motion.x, np.cos(middle)), (motion.y, np.sin(middle))):
        line = np.concatenate([[0.0], np.cumsum(steps * part)])
        gap = np.diff(line[at])
        length = np.diff(distance[at])
        into = (distance - distance[at[lap]]) / length[lap]
        out.append(first[at[0]] + line - line[at[lap]] - gap[lap] * into)
        gaps.append(gap[lap])
    return out[0], out[1], np.hypot(*gaps) / 2.0


def _within_lap(position_sd: Array, at: NDArray[np.int64]) -> Array:
    """Growth of the drift since the lap's start, at most half a lap's, in variance."""
    lap = _lap_of(position_sd.size, at)
    since = np.maximum(position_sd**2 - position_sd[at[lap]] ** 2, 0.0)
    until = np.maximum(position_sd[at[lap + 1]] ** 2 - position_sd**2, 0.0)
    return np.sqrt(np.minimum(since, until))
