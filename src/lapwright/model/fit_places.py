"""Bends as places: a limit is what most of them show, not what one of them shows.

A road is banked or worn in one bend and not in the next, and a survey without the banking
knows nothing of it. The highest forces anywhere are those of the kindest bend.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.numerics.fits import find_quantile

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Places = NDArray[np.int64]
#: Cells along the road, and the straight that parts two bends of one direction, m.
CELL_M, PART_M = 10.0, 60.0
#: A bend turns the car with this mean force at least, m/s².
TURNS = 3.0
#: Samples that a place needs to show its own level, and how far below the middle place
#: one stays that was not driven at the limit.
FEWEST_HERE, LOWEST = 8, 0.93
#: How near the highest place one stays where the same limit was reached.
ALIKE = 0.97


def find_bends(s: Array, left: Array, length_m: float) -> Places:
    """Find the bend in which, or before which, each sample lies: its number from 0, (k,).

    Parameters
    ----------
    s
        Metres along the road of the samples.
    left
        Force to the left in m/s².
    """
    cells = max(round(length_m / CELL_M), 1)
    at = (np.mod(s, length_m) * cells / length_m).astype(np.int64) % cells
    mean = np.bincount(at, left, cells) / np.maximum(np.bincount(at, minlength=cells), 1)
    sign = np.where(np.abs(mean) > TURNS, np.sign(mean), 0).astype(np.int64)
    return _number(sign, max(round(PART_M * cells / length_m), 1))[at]


def _number(sign: Places, apart: int) -> Places:
    """Give numbers to runs of one sign; what lies between belongs to the run ahead."""
    turned = np.flatnonzero(sign)
    if turned.size == 0:
        return np.zeros(sign.size, dtype=np.int64)
    gap = np.diff(turned, prepend=turned[-1] - sign.size)
    new = (gap > apart) | (sign[turned] != sign[np.roll(turned, 1)])
    run = np.cumsum(new) - 1
    run[run < 0] = max(int(run[-1]), 0)
    ahead = np.searchsorted(turned, np.arange(sign.size)) % turned.size
    return np.asarray(run[ahead])


@dataclass(frozen=True, slots=True)
class Levels:
    """What the places show: their numbers and τ quantiles."""

    place: Places
    level: Array

    @property
    def middle(self) -> float:
        """Mean over the places; NaN of none."""
        return float(self.level.mean()) if self.level.size else np.nan

    @property
    def top(self) -> float:
        """Mean over the places about as high as the highest; NaN of none.

        For what nothing about the place can lift: the others were not driven at the limit.
        """
        if not self.level.size:
            return np.nan
        return float(self.level[self.level >= ALIKE * self.level.max()].mean())


def find_levels(values: Array, places: Places, tau: float, weights: Array) -> Levels:
    """Find the τ quantile in each place, without places that lie well below the middle one.

    Parameters
    ----------
    values, places, weights
        Of the samples, (k,).
    """
    shown = np.flatnonzero(np.bincount(places, weights) >= FEWEST_HERE)
    at = [places == p for p in shown]
    level = np.array([find_quantile(values[here], tau, weights[here]) for here in at])
    good = level >= LOWEST * np.median(level) if level.size else np.zeros(0, dtype=bool)
    return Levels(shown[good], level[good])
