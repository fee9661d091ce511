"""Compiled loop of the delays: sums of products at every shift."""

from __future__ import annotations

import numpy as np
from numba import njit

# Sums may be taken in any order, so that they are taken several at a time.
_ANY_ORDER = {"reassoc", "contract"}


@njit(cache=True, nogil=True, fastmath=_ANY_ORDER)
def sum_products(  # type: ignore[no-untyped-def]
    target, fixed, moving, target_moves, reach, width, gram, cross, power, mean, count
):
    """Fill the sums of ``delays._Moments``; a sample with a value unknown counts in none.

    Parameters
    ----------
    target, fixed, moving, target_moves
        As in ``delays.Comparison``.
    reach
        Shifts looked at on either side; as many samples are left out at both ends.
    width
        Samples of a block.
    gram, cross, power, mean, count
        Outputs, shapes (shifts, blocks, size, size), (shifts, blocks, size) and (shifts,
        blocks): of the columns (ones, fixed, moving) with each other and with the target, of
        the squared target, of the target, of the samples that count.
    """
    shifts, blocks, size = cross.shape
    still = fixed.shape[0]
    a = np.empty((size, width))
    y = np.empty(width)
    for k in range(shifts):
        for b in range(blocks):
            start = reach + b * width
            late = start + k - reach
            begin = late if target_moves else start
            known = 0.0
            for t in range(width):
                good = np.isfinite(target[begin + t])
                for i in range(still):
                    good = good and np.isfinite(fixed[i, start + t])
                for i in range(size - 1 - still):
                    good = good and np.isfinite(moving[i, late + t])
                a[0, t] = 1.0 if good else 0.0
                known += a[0, t]
                y[t] = target[begin + t] if good else 0.0
                for i in range(still):
                    a[1 + i, t] = fixed[i, start + t] if good else 0.0
                for i in range(size - 1 - still):
                    a[1 + still + i, t] = moving[i, late + t] if good else 0.0
            count[k, b] = known
            total = 0.0
            square = 0.0
            for t in range(width):
                total += y[t]
                square += y[t] * y[t]
            mean[k, b] = total
            power[k, b] = square
            for i in range(size):
                total = 0.0
                for t in range(width):
                    total += a[i, t] * y[t]
                cross[k, b, i] = total
                for j in range(i + 1):
                    total = 0.0
                    for t in range(width):
                        total += a[i, t] * a[j, t]
                    gram[k, b, i, j] = total
                    gram[k, b, j, i] = total
