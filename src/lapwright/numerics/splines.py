"""Periodic cubic splines: scipy's take a third of a second to import."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lapwright.numerics.curve_kernels import solve_periodic, sum_cubics

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PeriodicSpline:
    """Cubic between knots, with continuous second derivative around the period.

    Parameters
    ----------
    knots
        (k + 1,) rising; the last is the first of the next period.
    values, bends
        (k + 1, ...) values and second derivatives there.
    """

    knots: Array
    values: Array
    bends: Array

    def at(self, places: ArrayLike, order: int = 0) -> Array:
        """Values, or first or second derivatives, at places within the knots."""
        x = np.asarray(places, float)
        flat = (self.knots.size, -1)
        values, bends = self.values.reshape(flat), self.bends.reshape(flat)
        found = sum_cubics(self.knots, values, bends, x.ravel(), order)
        return found.reshape(x.shape + self.values.shape[1:])


def build_periodic_spline(knots: ArrayLike, values: ArrayLike) -> PeriodicSpline:
    """Build the spline through values (k + 1, ...) at rising knots; the last value is the first.

    The bends m obey h₋ m₋ + 2 (h₋ + h) m + h m₊ = 6 (d − d₋), d the slopes of the chords.
    """
    x, y = np.asarray(knots, float), np.asarray(values, float)
    h = np.diff(x)
    before = np.roll(h, 1)
    slope = np.diff(y.reshape(x.size, -1), axis=0) / h[:, None]
    right = 3 * (slope - np.roll(slope, 1, axis=0)) / (before + h)[:, None]
    share = before / (2 * (before + h))
    m = solve_periodic(share, 0.5 - share, right)
    return PeriodicSpline(x, y, np.concatenate([m, m[:1]]).reshape(y.shape))
