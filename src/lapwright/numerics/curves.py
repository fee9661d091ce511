"""Closed curves: arc length, smoothing with a stated wavelength, curvature, projection."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lapwright.errors import UsageError
from lapwright.numerics.curve_kernels import follow_curve
from lapwright.numerics.splines import build_periodic_spline

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ClosedCurve:
    """A closed plane curve at equal steps; sample n would be sample 0 again.

    Arrays have shape (n,): s, x, y in m, heading in rad (unwrapped), curvature in
    1/m, left turns positive.
    """

    length_m: float
    s: Array
    x: Array
    y: Array
    heading: Array
    curvature: Array

    @property
    def step_m(self) -> float:
        """Distance between samples in m."""
        return self.length_m / self.s.size


def point_length(x: ArrayLike, y: ArrayLike, *, closed: bool) -> float:
    """Length of the polygon through the points in m."""
    px, py = np.asarray(x, float), np.asarray(y, float)
    if closed:
        px, py = np.append(px, px[0]), np.append(py, py[0])
    return float(np.hypot(np.diff(px), np.diff(py)).sum())


def fit_closed_curve(
    x: ArrayLike, y: ArrayLike, *, wavelength_m: float = 15.0, step_m: float = 2.0
) -> ClosedCurve:
    """Smooth closed curve through points in driving order.

    The curve minimises Σ|p − q|² + (λ/2π)⁶ ∫|q‴|² ds: details of wavelength λ keep
    half of their size, shorter ones fall with the sixth power (the periodic smoothing
    spline of order three, solved by Fourier series).

    Parameters
    ----------
    x, y
        Points in m, shape (k,), k ≥ 8; the last may repeat the first.
    wavelength_m
        λ above.
    step_m
        Wanted distance between samples; the closest that divides the length is taken.

    Raises
    ------
    UsageError
        If there are fewer than 8 distinct points, some are not finite, or smoothing leaves
        next to nothing of them.
    """
    px, py = _distinct(np.asarray(x, float), np.asarray(y, float))
    for _ in range(3):  # smoothing shortens the curve a little: equal steps anew
        px, py, length = _equal_steps(px, py, step_m)
        if wavelength_m > 0:
            px, py = (smooth_closed(p, length, wavelength_m) for p in (px, py))
    return _curve(*_equal_steps(px, py, step_m))


def smooth_closed(values: Array, length_m: float, wavelength_m: float) -> Array:
    """Periodic values at equal steps with details shorter than the wavelength taken out."""
    spectrum = np.fft.rfft(values)
    wave = np.arange(spectrum.size) * (wavelength_m / length_m)
    return np.fft.irfft(spectrum / (1.0 + wave**6), n=values.size)


def derivative_closed(values: Array, length_m: float, order: int = 1) -> Array:
    """Differentiate periodic values at equal steps, by Fourier series."""
    spectrum = np.fft.rfft(values)
    factor = (2j * np.pi / length_m * np.arange(spectrum.size)) ** order
    if values.size % 2 == 0 and order % 2 == 1:
        factor[-1] = 0.0  # the highest frequency has no odd derivative on an even grid
    return np.fft.irfft(spectrum * factor, n=values.size)


def project_path(
    curve: ClosedCurve, x: ArrayLike, y: ArrayLike, heading: ArrayLike | None = None
) -> tuple[Array, Array]:
    """Place a driven path on a closed curve.

    The path is followed from point to point, so that the right branch is kept where
    the curve passes near or over itself. A path that left the curve by more than
    80 m is looked for anew, by distance and, if given, by direction.

    Parameters
    ----------
    x, y
        Points in m in driving order, shape (k,). NaN gives NaN.
    heading
        Direction of travel in rad, shape (k,).

    Returns
    -------
    s, n
        Metres along the curve, counted on through each lap (not wrapped; starts in
        the first lap's [0, length)), and metres to the left of it, shape (k,).
    """
    px, py = np.asarray(x, float), np.asarray(y, float)
    head = np.full(px.size, np.nan) if heading is None else np.asarray(heading, float)
    shape = (curve.x, curve.y, curve.heading, curve.curvature)
    # columns of a table would have the loop compiled anew
    cx, cy, ch, ck, px, py, head = map(np.ascontiguousarray, (*shape, px, py, head))
    s, n = follow_curve(cx, cy, ch, ck, curve.length_m, px, py, head)
    return np.asarray(s), np.asarray(n)


def points_at(curve: ClosedCurve, s: ArrayLike, n: ArrayLike = 0.0) -> tuple[Array, Array]:
    """Plane coordinates of places (s, n) on the curve, s in any lap."""
    grid = np.append(curve.s, curve.length_m)
    place = np.mod(np.asarray(s, float), curve.length_m)
    turn = np.cumsum(np.append(0.0, np.diff(curve.heading)))
    close = _closing_turn(curve.heading)
    head = np.interp(place, grid, np.append(curve.heading[0] + turn, curve.heading[0] + close))
    cx, cy = (build_periodic_spline(grid, np.append(p, p[0])).at(place) for p in (curve.x, curve.y))
    return np.asarray(cx - np.sin(head) * n), np.asarray(cy + np.cos(head) * n)


def at_places(length_m: float, values: Array, s: ArrayLike) -> Array:
    """Linear interpolation of values at equal steps on a closed curve, s in any lap."""
    grid = np.arange(values.size + 1) * (length_m / values.size)
    place = np.mod(np.asarray(s, float), length_m)
    return np.asarray(np.interp(place, grid, np.append(values, values[0])))


def total_turn(curve: ClosedCurve) -> int:
    """Full turns of the curve: 1 anticlockwise, −1 clockwise, 0 for a figure of eight."""
    return round(_closing_turn(curve.heading) / (2 * np.pi))


def _closing_turn(heading: Array) -> float:
    last = heading[0] - heading[-1]
    return float(heading[-1] - heading[0] + np.arctan2(np.sin(last), np.cos(last)))


def _distinct(x: Array, y: Array) -> tuple[Array, Array]:
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise UsageError("x, y: some points are not finite; leave them out first.")
    # of equal neighbours the later stays, so that a closing point does not move the start
    keep = np.hypot(x - np.roll(x, -1), y - np.roll(y, -1)) > 1e-6
    if keep.sum() < 8:
        raise UsageError(f"x, y: {int(keep.sum())} distinct points; a closed curve needs 8.")
    return x[keep], y[keep]


def _equal_steps(x: Array, y: Array, step_m: float) -> tuple[Array, Array, float]:
    """Points at equal arc length on the periodic cubic spline through the given ones."""
    cx, cy = np.append(x, x[0]), np.append(y, y[0])
    chord = np.append(0.0, np.cumsum(np.hypot(np.diff(cx), np.diff(cy))))
    if not (np.diff(chord) > 0.0).all():
        raise UsageError("x, y: the line shrinks to a point when it is smoothed.")
    spline = build_periodic_spline(chord, np.stack([cx, cy], axis=1))
    fine = np.linspace(0.0, chord[-1], 8 * x.size + 1)
    points = spline.at(fine)
    length = np.append(0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T)))
    count = max(16, round(length[-1] / step_m))
    places = np.interp(np.arange(count) * (length[-1] / count), length, fine)
    out = spline.at(places)
    return np.asarray(out[:, 0]), np.asarray(out[:, 1]), float(length[-1])


def _curve(x: Array, y: Array, length_m: float) -> ClosedCurve:
    dx, dy = (derivative_closed(p, length_m) for p in (x, y))
    ddx, ddy = (derivative_closed(p, length_m, 2) for p in (x, y))
    curvature = (dx * ddy - dy * ddx) / np.hypot(dx, dy) ** 3
    return ClosedCurve(
        length_m=length_m,
        s=np.arange(float(x.size)) * (length_m / x.size),
        x=x,
        y=y,
        heading=np.unwrap(np.arctan2(dy, dx)),
        curvature=curvature,
    )
