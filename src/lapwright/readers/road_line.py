"""Roads as ASAM OpenDRIVE describes them: a line out of pieces, and cubics along it.

Every formula here is that of ASAM OpenDRIVE 1.4 to 1.8, "Road reference line geometries",
"Elevation profile", "Superelevation" and "Lanes".
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: From arc lengths, shape (n,), to u, v in m and heading in rad.
Shape = Callable[[Array], tuple[Array, Array, Array]]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
#: Steps of the table that turns a curve's parameter into arc length.
_TABLE: Final = 2048


@dataclass(frozen=True, slots=True)
class Piece:
    """One geometry: where it begins, and its shape in its own axes.

    ``shape`` turns arc lengths from the piece's beginning, shape (n,), into u, v in m
    and heading in rad against the piece's own.
    """

    s: float
    x: float
    y: float
    heading: float
    length: float
    shape: Shape


@dataclass(frozen=True, slots=True)
class Cubics:
    """A quantity along the road: a + b·d + c·d² + d·d³ with d from the piece's beginning.

    ``starts`` has shape (k,), ascending; ``factors`` shape (k, 4). Empty means 0.
    """

    starts: Array
    factors: Array

    def at(self, s: Array) -> Array:
        """Values at the places ``s`` in m."""
        if not self.starts.size:
            return np.zeros(s.size)
        index = np.clip(np.searchsorted(self.starts, s, side="right") - 1, 0, None)
        d = s - self.starts[index]
        a, b, c, e = self.factors[index].T
        return np.asarray(np.where(s < self.starts[0], 0.0, a + d * (b + d * (c + d * e))))


@dataclass(frozen=True, slots=True)
class RoadLine:
    """A road's line with what is needed of it; arrays of shape (n,).

    Parameters
    ----------
    s, x, y, z
        Places along the reference line and points of it in m.
    heading
        Direction in rad.
    tilt
        Superelevation in rad, positive where the road falls to the right.
    left, right
        Offsets of the edges in m along the tilted surface, left positive.
    """

    s: Array
    x: Array
    y: Array
    z: Array
    heading: Array
    tilt: Array
    left: Array
    right: Array

    def edge(self, offset: Array) -> tuple[Array, Array, Array]:
        """Points at an offset along the tilted surface."""
        across = offset * np.cos(self.tilt)
        return (
            self.x - across * np.sin(self.heading),
            self.y + across * np.cos(self.heading),
            self.z + offset * np.sin(self.tilt),
        )

    def gap(self) -> float:
        """Distance in m between the last and the first point."""
        return float(np.hypot(self.x[-1] - self.x[0], self.y[-1] - self.y[0]))


def line_shape(s: Array) -> tuple[Array, Array, Array]:
    """Shape of a straight."""
    return s, np.zeros(s.size), np.zeros(s.size)


def spiral_shape(first: float, last: float, length: float) -> Shape:
    """Shape of a clothoid: curvature (1/m) linear from ``first`` to ``last``."""
    rate = (last - first) / length

    def heading(s: Array) -> Array:
        return s * (first + 0.5 * rate * s)

    def shape(s: Array) -> tuple[Array, Array, Array]:
        # Short stretches between neighbouring places, each by Gauss–Legendre quadrature.
        parts = max(1, int(np.ceil(length / 5.0)))
        edges = np.unique(np.concatenate([s, np.linspace(0.0, max(s.max(), 1e-9), parts + 1)]))
        half, middle = 0.5 * np.diff(edges), 0.5 * (edges[1:] + edges[:-1])
        psi = heading(middle[:, None] + half[:, None] * _NODES)
        u = np.append(0.0, np.cumsum(half * (np.cos(psi) @ _WEIGHTS)))
        v = np.append(0.0, np.cumsum(half * (np.sin(psi) @ _WEIGHTS)))
        at = np.searchsorted(edges, s)
        return u[at], v[at], heading(s)

    return shape


def arc_shape(curvature: float) -> Shape:
    """Shape of a circle's arc."""

    def shape(s: Array) -> tuple[Array, Array, Array]:
        turn = curvature * s
        if abs(curvature) < 1e-12:
            return line_shape(s)
        return np.sin(turn) / curvature, (1.0 - np.cos(turn)) / curvature, turn

    return shape


def poly_shape(u: Sequence[float], v: Sequence[float], length: float, span: float | None) -> Shape:
    """Shape of parametric cubics u(p), v(p).

    Parameters
    ----------
    u, v
        Four factors each, from the constant on.
    length
        Arc length of the piece in m.
    span
        The parameter at the piece's end, proportional to arc length; None where the
        parameter is u itself, so that its value at an arc length has to be found.
    """
    pu, pv = (np.polynomial.Polynomial(np.asarray(f, float)) for f in (u, v))
    du, dv = pu.deriv(), pv.deriv()

    def parameter(s: Array) -> Array:
        if span is not None:
            return s * (span / length)
        table = np.linspace(0.0, length, _TABLE + 1)  # u is never longer than the arc
        middle = 0.5 * (table[1:] + table[:-1])
        ends = np.hypot(du(table), dv(table))
        steps = (ends[1:] + ends[:-1] + 4.0 * np.hypot(du(middle), dv(middle))) / 6.0
        gone = np.append(0.0, np.cumsum(steps * (length / _TABLE)))
        return np.interp(s, gone, table)

    def shape(s: Array) -> tuple[Array, Array, Array]:
        p = parameter(s)
        return pu(p), pv(p), np.arctan2(dv(p), du(p))

    return shape


def sample_pieces(pieces: Sequence[Piece], s: Array) -> tuple[Array, Array, Array]:
    """Points and headings at ascending places along a line of pieces in their order."""
    out = np.zeros((3, s.size))
    for piece, at in zip(pieces, split_places([p.s for p in pieces], s), strict=True):
        if at.start < at.stop:
            u, v, turn = piece.shape(np.maximum(s[at] - piece.s, 0.0))
            cos, sin = np.cos(piece.heading), np.sin(piece.heading)
            out[0, at] = piece.x + cos * u - sin * v
            out[1, at] = piece.y + sin * u + cos * v
            out[2, at] = piece.heading + turn
    return out[0], out[1], out[2]


def split_places(starts: Sequence[float], s: Array) -> list[slice]:
    """Which of the ascending places ``s`` lie in each piece; what is before the first is its own.

    ``starts`` ascend: a piece reaches to the next one's beginning.
    """
    edges = np.searchsorted(s, np.asarray(starts[1:], dtype=np.float64)).tolist()
    return [slice(a, b) for a, b in pairwise([0, *edges, s.size])] if len(starts) else []
