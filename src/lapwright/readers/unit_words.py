"""Notations of a value that no factor converts."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Unit text for degrees and minutes written as one number, as receivers send it.
DEGREES_MINUTES: Final = "ddmm.mmmm"


def read_degrees_minutes(values: Array) -> Array:
    """Turn ``ddmm.mmmm`` into degrees, any shape, sign kept.

    Examples
    --------
    >>> read_degrees_minutes(np.array([4630.0]))
    array([46.5])
    """
    size = np.abs(values)
    degrees = np.floor(size / 100.0)
    return np.asarray(np.sign(values) * (degrees + (size - 100.0 * degrees) / 60.0))
