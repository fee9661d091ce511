"""Sharing a whole among its parts: the average over all orders in which parts can be put in."""

from __future__ import annotations

from functools import lru_cache
from math import factorial

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def share_by_orders(values: ArrayLike) -> Array:
    """Share a whole among ``m`` parts by the average over all orders.

    Parameters
    ----------
    values
        (2**m,) what each set of parts gives; bit i of the index says that part i is in.

    Returns
    -------
    shares : (m,)
        They add up to ``values[-1] - values[0]`` exactly (L. S. Shapley, *A value for
        n-person games*, 1953: the weight of a set of k is k! (m − k − 1)! / m!).

    Raises
    ------
    ValueError
        When the number of values is no power of two.
    """
    value = np.asarray(values, float)
    m = int(value.size).bit_length() - 1
    if value.ndim != 1 or value.size != 1 << m:
        raise ValueError(f"values: shape {value.shape}; needed: (2**m,)")
    shares: Array = _weights(m) @ value
    return shares


@lru_cache(maxsize=16)
def _weights(m: int) -> Array:
    """Weight of every set's value in each part's share, (m, 2**m)."""
    sets = np.arange(1 << m)
    size = np.array([int(k).bit_count() for k in sets])
    out = np.zeros((m, 1 << m))
    for i in range(m):
        has = (sets >> i & 1).astype(bool)
        for row, k in ((has, size - 1), (~has, size)):
            weight = [factorial(j) * factorial(m - j - 1) / factorial(m) for j in k[row]]
            out[i, row] = np.array(weight) * (1 if row is has else -1)
    return out
