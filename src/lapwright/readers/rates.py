"""The native rate of a channel that a file repeats or pads to a common rate."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Changes of value needed before a rhythm is believed.
_ENOUGH_CHANGES = 20
#: A slow source into a fast file repeats each value so often that a padded
#: channel has at most this share of filled cells.
_SPARSE_SHARE = 0.6


def find_native_samples(columns: Sequence[Array]) -> IntArray | None:
    """Find the rows in which a sensor really gave new values.

    Parameters
    ----------
    columns
        Channels that one sensor gives together, such as latitude and
        longitude, each of shape (n,), NaN where missing.

    Returns
    -------
    array of row indices or None
        None when every row is a sample of its own.
    """
    filled = np.all([np.isfinite(c) for c in columns], axis=0)
    share = float(filled.mean()) if filled.size else 0.0
    if 0.0 < share <= _SPARSE_SHARE:
        rows = np.flatnonzero(filled)
        held = _find_held([c[rows] for c in columns])
        return rows if held is None else rows[held]
    return _find_held(columns)


def _find_held(columns: Sequence[Array]) -> IntArray | None:
    """Find the rhythm in which values change; None when there is none."""
    n = columns[0].size
    changed = np.zeros(n, dtype=bool)
    for column in columns:
        different = column[1:] != column[:-1]
        different &= ~(np.isnan(column[1:]) & np.isnan(column[:-1]))
        changed[1:] |= different
    at = np.flatnonzero(changed)
    if at.size < _ENOUGH_CHANGES or at.size > 0.6 * n:
        return None
    runs = np.diff(at)
    usual = int(np.median(runs))
    if usual < 2:
        return None
    phase = np.bincount(at % usual, minlength=usual)
    if phase.max() >= 0.97 * at.size:
        return np.arange(int(phase.argmax()) % usual, n, usual, dtype=np.int64)
    return _find_uneven(at, runs, n)


def _find_uneven(at: IntArray, runs: IntArray, n: int) -> IntArray | None:
    """Accept a rate that does not divide the file's: runs of m and m + 1 rows in turn."""
    low = int(np.floor(np.mean(runs[runs <= 2 * np.median(runs)])))
    near = (runs == low) | (runs == low + 1)
    if low < 2 or near.mean() < 0.95:
        return None
    usual = float(runs[near].mean())
    rows: list[IntArray] = []
    for start, end in zip(at, np.append(at[1:], n), strict=True):
        steps = max(round((end - start) / usual), 1)
        rows.append(np.round(np.linspace(start, end, steps + 1)[:-1]).astype(np.int64))
    return np.concatenate([np.zeros(1, dtype=np.int64), *rows])
