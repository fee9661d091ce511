"""Events in sampled signals: hysteresis, crossings within the sample."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def find_runs(values: Array, enter: float, leave: float) -> list[tuple[int, int]]:
    """Find stretches that rise to ``enter`` and last until they fall below ``leave``.

    Parameters
    ----------
    values
        Shape (n,).
    enter, leave
        ``leave`` ≤ ``enter``. A run reaches back to where ``leave`` was exceeded.

    Returns
    -------
    First and last sample of each run (inclusive).
    """
    above = np.flatnonzero(np.diff(np.concatenate([[0], values > leave, [0]]).astype(int)))
    pairs = above.reshape(-1, 2)
    return [(int(a), int(b) - 1) for a, b in pairs if values[a:b].max() >= enter]


def crossing_time(time: Array, values: Array, level: float, i: int) -> float:
    """Time at which a signal crosses a level between samples i − 1 and i, by interpolation."""
    if i <= 0:
        return float(time[0])
    if i >= time.size:
        return float(time[-1])
    low, high = values[i - 1], values[i]
    if high == low:
        return float(time[i])
    share = np.clip((level - low) / (high - low), 0.0, 1.0)
    return float(time[i - 1] + share * (time[i] - time[i - 1]))


def foot_time(time: Array, i: int) -> float:
    """Time at which a signal began to move, first seen moving at sample i: the step's middle.

    Interpolating towards a level near rest would always give the sample before, half a
    step too early; the middle errs by step/√12 (uniform), which is all that sampling leaves.
    """
    if i <= 0:
        return float(time[0])
    if i >= time.size:
        return float(time[-1])
    return float(0.5 * (time[i - 1] + time[i]))


def fill_gaps(runs: list[tuple[int, int]], time: Array, longest: float) -> list[tuple[int, int]]:
    """Join runs that are parted by no more than ``longest`` seconds."""
    out: list[tuple[int, int]] = []
    for a, b in runs:
        if out and time[a] - time[out[-1][1]] <= longest:
            out[-1] = (out[-1][0], b)
        else:
            out.append((a, b))
    return out
