"""A line driven on the road, as what a car feels along it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lapwright.errors import UsageError
from lapwright.model.build_circuit import curve_of
from lapwright.model.circuit import Circuit
from lapwright.numerics.curves import project_path
from lapwright.numerics.splines import build_periodic_spline
from lapwright.possible.road import periodic_read, read_road

Array = NDArray[np.float64]
_FARTHEST_M = 60.0


@dataclass(frozen=True, slots=True)
class Path:
    """A line in space: arrays of shape (m,), sample by sample in driving direction.

    Parameters
    ----------
    step
        Metres along the line in space to the next sample; of an open line the last is 0.
    curvature
        Of the line seen from above, 1/m, left positive.
    slope, cross, bend
        Of the road in the line's direction: dz/dl, dz/dn to the left, and the second
        derivative of height along the tangent (1/m): see `lapwright.physics.load`.
    closed
        Whether the last sample is followed by the first.
    s
        Place of each sample along the circuit's reference line, m.
    """

    step: Array
    curvature: Array
    slope: Array
    cross: Array
    bend: Array
    closed: bool
    s: Array

    @property
    def length_m(self) -> float:
        """Length in space in m."""
        return float(self.step.sum())


def build_flat_path(step: ArrayLike, curvature: ArrayLike, *, closed: bool = True) -> Path:
    """Build a path on level ground from curvature (1/m) at samples ``step`` m apart.

    ``step`` is one number or one for each sample.
    """
    k = np.asarray(curvature, float)
    h = np.broadcast_to(np.asarray(step, float), k.shape).copy()
    if k.ndim != 1 or k.size < 3 or not np.isfinite(k).all():
        raise UsageError(f"curvature: shape {k.shape}; needed: 3 finite samples or more")
    if not (np.isfinite(h).all() and (h[: -1 if not closed else None] > 0).all()):
        raise UsageError("step: needed: finite lengths above 0 m")
    if not closed:
        h[-1] = 0.0
    zero = np.zeros(k.size)
    s = np.concatenate([[0.0], np.cumsum(h)[:-1]])
    return Path(h, k, zero, zero, zero, closed, s)


def _line_course(s: Array, n: Array, length: float, closed: bool) -> tuple[Array, Array]:
    """First and second derivative of n by s, from a cubic spline."""
    if closed:
        periodic = build_periodic_spline(np.r_[s, s[0] + length], np.r_[n, n[0]])
        return periodic.at(s, 1), periodic.at(s, 2)
    from scipy.interpolate import CubicSpline  # a third of a second, for open lines alone

    spline = CubicSpline(s, n)
    return np.asarray(spline(s, 1)), np.asarray(spline(s, 2))


def build_path(circuit: Circuit, s: ArrayLike, n: ArrayLike, *, closed: bool = True) -> Path:
    """Build the path of a line given by its offset from the reference line.

    Parameters
    ----------
    circuit
        The road.
    s
        (m,) rising places along the reference line in m; an open line may run past the
        start line (s above the length).
    n
        (m,) offsets in m, left positive; smooth, for the curvature takes n''.
    closed
        Whether the line is a whole lap.

    Raises
    ------
    UsageError
        When the arrays do not fit or the line lies beyond a bend's centre.
    """
    s, n = np.asarray(s, float), np.asarray(n, float)
    if s.shape != n.shape or s.ndim != 1 or s.size < 3:
        raise UsageError(f"s, n: shapes {s.shape}, {n.shape}; needed: two alike, 3 or more samples")
    if not (np.isfinite(s).all() and np.isfinite(n).all() and (np.diff(s) > 0).all()):
        raise UsageError("s, n: needed: finite numbers, s rising")
    road = read_road(circuit, s)
    first, second = _line_course(s, n, circuit.length_m, closed)
    room = 1 - n * road.curvature
    if (room <= 0.05).any():
        worst = float(s[int(np.argmin(room))])
        raise UsageError(f"n: the line lies beyond the bend's centre at {worst:.0f} m")
    k_prime = road.curvature_rate
    angle = np.arctan2(first, room)
    # d(angle)/ds by the quotient rule, then per metre of the line
    turn = (second * room + first * (first * road.curvature + n * k_prime)) / (room**2 + first**2)
    ahead = np.cos(angle) / room
    curvature = (turn + road.curvature) * ahead
    slope, cross, bend = road.tilt(n, np.sin(angle), np.cos(angle))
    level = np.hypot(room, first)  # metres of the line over the plane for each metre of s
    rate = level * np.sqrt(1 + slope**2)
    step = _steps(s, rate, circuit.length_m, closed)
    return Path(step, curvature, slope, cross, bend, closed, s)


def _steps(s: Array, rate: Array, length: float, closed: bool) -> Array:
    """Length of each step from the length for each metre of s, by the trapezoid rule."""
    gap = np.diff(s, append=s[0] + length)
    step: Array = gap * (rate + np.roll(rate, -1)) / 2
    if not closed:
        step[-1] = 0.0
    return step


def build_path_through(x: ArrayLike, y: ArrayLike, every_m: float = 1.0) -> Path:
    """Build a closed path on level ground through points (x, y), by a periodic cubic spline."""
    along, rate, curvature, _ = _spline_through(x, y, every_m)
    path = build_flat_path(1.0, curvature)
    return replace(path, step=_steps(along[:-1], rate, float(along[-1]), True), s=along[:-1])


def build_path_over(circuit: Circuit, x: ArrayLike, y: ArrayLike, every_m: float = 1.0) -> Path:
    """Build the closed path of a line given by points (x, y) in the circuit's plane.

    Curvature comes from the points alone, the road's shape under them from the circuit.
    Points some 5 m apart or closer, once around, in driving direction.

    Raises
    ------
    UsageError
        For too few or missing points, or a line that leaves the circuit.
    """
    along, rate, curvature, (px, py, heading) = _spline_through(x, y, every_m)
    s, n = project_path(curve_of(circuit), px, py, heading)
    if not np.isfinite(n).all() or np.abs(n).max() > _FARTHEST_M:
        raise UsageError(f"x, y: the line lies beyond {_FARTHEST_M:.0f} m from the circuit")
    if abs(s[-1] - s[0]) < 0.5 * circuit.length_m or s[-1] < s[0]:
        raise UsageError("x, y: the line does not go around the circuit in driving direction")
    road = read_road(circuit, s)
    step = _steps(along[:-1], rate, float(along[-1]), True)
    if not circuit.has_heights:
        flat = build_flat_path(step, curvature)
        return replace(flat, s=s)
    turned = periodic_read(circuit, np.unwrap(circuit.heading), s, turn=_whole_turn(circuit))
    slope, cross, bend = road.tilt(n, np.sin(heading - turned), np.cos(heading - turned))
    tilted = step * np.sqrt(1 + (slope + np.roll(slope, -1)) ** 2 / 4)
    return Path(tilted, curvature, slope, cross, bend, True, s)


def _whole_turn(circuit: Circuit) -> float:
    """Turn of the reference line over a lap, a multiple of 2π."""
    heading = np.unwrap(circuit.heading)
    return float(2 * np.pi * np.round((heading[-1] - heading[0]) / (2 * np.pi)))


def _spline_through(
    x: ArrayLike, y: ArrayLike, every_m: float
) -> tuple[Array, Array, Array, tuple[Array, Array, Array]]:
    """Parameter (m + 1,), metres for each of it, curvature, and x, y, heading (m,)."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    if x.shape != y.shape or x.size < 4 or not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise UsageError("x, y: needed: two arrays alike of 4 finite samples or more")
    points = np.column_stack([x, y])
    closed = np.vstack([points, points[:1]])
    far = np.r_[True, np.hypot(*np.diff(closed, axis=0).T) > 1e-3]
    far[-1] = True
    closed = closed[far]
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T))]
    if closed.shape[0] < 5 or (np.diff(along) <= 0).any():
        raise UsageError("x, y: needed: 4 different points or more, the first not repeated")
    spline = build_periodic_spline(along, closed)
    at = np.linspace(0, along[-1], max(int(along[-1] / every_m), 8) + 1)
    (px, py), (dx, dy), (ddx, ddy) = (spline.at(at[:-1], order).T for order in (0, 1, 2))
    rate = np.hypot(dx, dy)
    heading = np.unwrap(np.arctan2(dy, dx))
    return at, rate, (dx * ddy - dy * ddx) / rate**3, (px, py, heading)
