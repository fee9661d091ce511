"""The stretch of road that a picture on paper shows, and where it lies there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WIDTH: Final = 505.0


@dataclass(frozen=True, slots=True)
class Frame:
    """What of the road a picture shows, and where on paper.

    ``index`` are samples of the view's grid, ``place`` metres after the apex.
    """

    index: NDArray[np.int64]
    place: Array
    top: float
    middle: float
    scale: float

    def x(self, place: Array | float) -> Any:
        """Return where a place in metres after the apex lies across the paper."""
        first, last = float(self.place[0]), float(self.place[-1])
        return (np.asarray(place) - first) / (last - first) * WIDTH

    def y(self, n: Array | float) -> Any:
        """Return where an offset to the left lies; left is up."""
        return self.middle - np.asarray(n) * self.scale
