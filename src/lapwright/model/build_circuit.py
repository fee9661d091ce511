"""A circuit from a survey: centre line and widths, or two edges."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lapwright.errors import UsageError
from lapwright.model.circuit import Circuit, Turns
from lapwright.numerics.curves import (
    ClosedCurve,
    at_places,
    derivative_closed,
    fit_closed_curve,
    point_length,
    points_at,
    project_path,
    smooth_closed,
    total_turn,
)

Array = NDArray[np.float64]

#: Details of the reference line shorter than this are smoothed away, m.
LINE_WAVELENGTH_M = 15.0
#: The same for heights: shorter humps move the suspension, not the car.
HEIGHT_WAVELENGTH_M = 25.0
#: No circuit is longer: coordinates in another unit, or damaged, m.
LONGEST_M = 100_000.0
#: A point further than this (m), and than so many usual steps, from both its neighbours, which
#: are nearer to each other, is none of the road.
WILD_M, WILD_STEPS = 50.0, 10.0
#: No point is further from the origin: more than once round the earth, m.
FARTHEST_M = 1e8
#: |curvature| × distance to the inner edge that the road's coordinates still bear.
LARGEST_BEND = 0.75
#: No road reaches so far to one side of its line, m.
WIDEST_M = 500.0


@dataclass(frozen=True, slots=True)
class Edge:
    """One edge of the road in driving order, either way round; arrays of shape (k,) in m."""

    x: Array
    y: Array
    z: Array | None = None


def build_circuit_from_centre(
    x: ArrayLike,
    y: ArrayLike,
    right: ArrayLike,
    left: ArrayLike,
    z: ArrayLike | None = None,
    *,
    edge_heights: tuple[ArrayLike, ArrayLike] | None = None,
    name: str = "",
    step_m: float = 2.0,
) -> Circuit:
    """Circuit from a surveyed line with distances to both edges.

    Parameters
    ----------
    x, y, z
        Points of the line in driving order, m, shape (k,).
    right, left
        Distances to the edges in m, positive, shape (k,).
    edge_heights
        Heights of the right and the left edge in m where the road is banked; without
        them both edges are as high as the line.

    Raises
    ------
    UsageError
        If a width is negative or no road's, a value is missing, a point lies far off the line,
        or there are too few points.
    """
    px, py = np.asarray(x, float), np.asarray(y, float)
    check_points(px, py)
    widths = np.asarray(right, float), np.asarray(left, float)
    if any((w < 0).any() or not np.isfinite(w).all() for w in widths):
        raise UsageError("right, left: some widths are negative or missing.")
    if (widest := max(float(w.max()) for w in widths)) > WIDEST_M:
        raise UsageError(f"right, left: a width of {widest:.6g} m; widths must be in metres.")
    curve = fit_closed_curve(px, py, wavelength_m=5.0, step_m=step_m)
    head = at_places(curve.length_m, curve.heading - _turned(curve), _places(curve, px, py))
    head += 2 * np.pi * total_turn(curve) * _places(curve, px, py) / curve.length_m
    normal = -np.sin(head), np.cos(head)
    height = None if z is None else np.asarray(z, float)
    high = (height, height)
    if edge_heights is not None:
        high = np.asarray(edge_heights[0], float), np.asarray(edge_heights[1], float)
    edges = [
        Edge(px + sign * w * normal[0], py + sign * w * normal[1], h)
        for sign, w, h in zip((-1.0, 1.0), widths, high, strict=True)
    ]
    return _ribbon(curve, edges[1], edges[0], name, step_m, LINE_WAVELENGTH_M)


def build_circuit_from_edges(
    first: Edge, second: Edge, *, name: str = "", step_m: float = 2.0
) -> Circuit:
    """Circuit between two surveyed edges, given in any order and either way round.

    The reference line is the middle of the road. Which edge is the left one follows
    from the first edge's direction, which becomes the driving direction.
    """
    for edge in (first, second):
        check_points(edge.x, edge.y)
    start = fit_closed_curve(first.x, first.y, wavelength_m=20.0, step_m=step_m)
    other = _same_way(start, second)
    side = float(np.median(_offsets(start, other)))
    left, right = (other, first) if side > 0 else (first, other)
    # from the first edge to the middle in two steps: each measures both edges anew
    curve = start
    for _ in range(3):
        middle = 0.5 * (_edge_offset(curve, left) + _edge_offset(curve, right))
        middle = smooth_closed(middle, curve.length_m, 20.0)
        curve = fit_closed_curve(
            *points_at(curve, curve.s, middle), wavelength_m=LINE_WAVELENGTH_M, step_m=step_m
        )
    return _ribbon(curve, left, right, name, step_m, LINE_WAVELENGTH_M)


def check_points(x: Array, y: Array) -> None:
    """Check that the points of a line or an edge, in m, can be those of a road.

    Raises
    ------
    UsageError
        If a point lies far off the others, or the line is too long or too far away.
    """
    far = np.abs(np.concatenate([x, y])).max(initial=0.0)
    if far > FARTHEST_M:  # not a number: the fit of the curve says so
        raise UsageError(f"A point lies at {far:.3g} m; x and y must be in metres.")
    length = point_length(x, y, closed=True)
    if length > LONGEST_M:
        raise UsageError(f"The line is {length / 1000.0:.0f} km long; x and y must be in metres.")
    step = np.hypot(np.roll(x, -1) - x, np.roll(y, -1) - y)
    nearer = np.minimum(step, np.roll(step, 1))
    across = np.hypot(np.roll(x, -1) - np.roll(x, 1), np.roll(y, -1) - np.roll(y, 1))
    usual = np.median(step[step > 0.0]) if (step > 0.0).any() else 0.0
    wild = (nearer > max(WILD_M, WILD_STEPS * usual)) & (nearer > across)
    if wild.any():
        at = int(np.argmax(np.where(wild, nearer, 0.0)))
        raise UsageError(
            f"Point {at + 1} lies {nearer[at]:.0f} m from the points before and after it, which "
            f"are {across[at]:.0f} m apart; correct it or take it out."
        )


def start_at(circuit: Circuit, x: float, y: float) -> Circuit:
    """Move the start line: s = 0 lies abreast of the point (x, y), in m."""
    curve = curve_of(circuit)
    s, n = project_path(curve, np.array([x]), np.array([y]))
    if not abs(float(n[0])) <= 60.0:  # a point that is no number is not near either
        raise UsageError(f"--start: the point lies {abs(float(n[0])):.0f} m from the road.")
    return start_from(circuit, float(s[0]))


def start_from(circuit: Circuit, place_m: float) -> Circuit:
    """Move the start line to the place ``place_m`` along the reference line."""
    length = circuit.length_m
    if min(place_m % length, -place_m % length) < 1e-9:
        return circuit
    curve = curve_of(circuit)
    places = np.mod(circuit.s + place_m, length)
    x, y = points_at(curve, places)
    moved = replace(circuit, x=x, y=y)
    smooth = fit_closed_curve(x, y, wavelength_m=0.0, step_m=circuit.step_m)
    shifted: dict[str, Any] = {
        key: at_places(length, getattr(circuit, key), places)
        for key in ("z", "curvature", "slope", "banking", "vertical_curvature", "left", "right")
    }
    heading = smooth.heading if smooth.s.size == x.size else np.unwrap(_chord_heading(x, y))
    return replace(
        moved,
        heading=heading,
        corners=tuple(
            replace(
                c,
                start_m=(c.start_m - place_m) % length,
                apex_m=(c.apex_m - place_m) % length,
                end_m=(c.end_m - place_m) % length,
            )
            for c in circuit.corners
        ),
        landmarks=tuple(replace(m, at_m=(m.at_m - place_m) % length) for m in circuit.landmarks),
        spans=tuple(
            replace(p, start_m=(p.start_m - place_m) % length, end_m=(p.end_m - place_m) % length)
            for p in circuit.spans
        ),
        **shifted,
    )


def reverse_circuit(circuit: Circuit) -> Circuit:
    """Turn the circuit round: the same road driven the other way."""
    back = np.concatenate([[0], np.arange(circuit.s.size - 1, 0, -1)])
    length = circuit.length_m
    flipped: dict[str, Turns] = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}
    return replace(
        circuit,
        x=circuit.x[back],
        y=circuit.y[back],
        z=circuit.z[back],
        heading=np.unwrap(circuit.heading[back] + np.pi),
        curvature=-circuit.curvature[back],
        slope=-circuit.slope[back],
        banking=-circuit.banking[back],
        vertical_curvature=circuit.vertical_curvature[back],
        left=circuit.right[back],
        right=circuit.left[back],
        turns=flipped.get(circuit.turns, circuit.turns),
        corners=(),
        landmarks=tuple(
            replace(m, at_m=(-m.at_m) % length, off_m=-m.off_m) for m in circuit.landmarks
        ),
        spans=tuple(
            replace(
                p,
                start_m=(-p.end_m) % length,
                end_m=(-p.start_m) % length,
                left_m=-p.right_m,
                right_m=-p.left_m,
            )
            for p in circuit.spans
        ),
    )


def curve_of(circuit: Circuit) -> ClosedCurve:
    """Return the reference line as a curve for projection."""
    return ClosedCurve(
        circuit.length_m, circuit.s, circuit.x, circuit.y, circuit.heading, circuit.curvature
    )


def compose_circuit(
    curve: ClosedCurve,
    left: Array,
    right: Array,
    heights: tuple[Array, Array] | None,
    *,
    name: str,
    surveyed: bool,
) -> Circuit:
    """Put a circuit together from its line, its widths and its edges' heights (left, right)."""
    length, flat = curve.length_m, np.zeros(curve.s.size)
    z, banking = flat, flat
    if heights is not None:
        z_left, z_right = (smooth_closed(h, length, HEIGHT_WAVELENGTH_M) for h in heights)
        width = left + right
        z = (z_left * right + z_right * left) / width
        banking = np.arctan2(z_left - z_right, width)
    turns: dict[int, Turns] = {1: "anticlockwise", -1: "clockwise"}
    return Circuit(
        name=name,
        length_m=length,
        s=curve.s,
        x=curve.x,
        y=curve.y,
        z=z,
        heading=curve.heading,
        curvature=curve.curvature,
        slope=derivative_closed(z, length) if heights else flat,
        banking=banking,
        vertical_curvature=derivative_closed(z, length, 2) if heights else flat,
        left=left,
        right=right,
        turns=turns.get(total_turn(curve), "crossing"),
        surveyed=surveyed,
        has_heights=heights is not None,
    )


def _ribbon(
    curve: ClosedCurve, left: Edge, right: Edge, name: str, step_m: float, wavelength_m: float
) -> Circuit:
    """Measure the edges from the curve; smooth it until its bends bear the road's width."""
    smooth = fit_closed_curve(curve.x, curve.y, wavelength_m=wavelength_m, step_m=step_m)
    wide_left, wide_right = _edge_offset(smooth, left), -_edge_offset(smooth, right)
    inner = np.where(smooth.curvature > 0, wide_left, wide_right)
    if (np.abs(smooth.curvature) * inner).max() > LARGEST_BEND and wavelength_m < 60.0:
        return _ribbon(curve, left, right, name, step_m, 1.25 * wavelength_m)
    width = wide_left + wide_right
    if width.min() <= 0.5:
        at = float(smooth.s[np.argmin(width)])
        raise UsageError(f"The road is {width.min():.3g} m wide at {at:.0f} m.")
    heights = None
    if left.z is not None and right.z is not None:
        heights = _edge_values(smooth, left, left.z), _edge_values(smooth, right, right.z)
    floor = 0.1  # a reference line on the edge would leave the ribbon without a side
    return compose_circuit(
        smooth,
        np.maximum(wide_left, floor),
        np.maximum(wide_right, floor),
        heights,
        name=name,
        surveyed=True,
    )


def _edge_offset(curve: ClosedCurve, edge: Edge) -> Array:
    s, n = project_path(curve, edge.x, edge.y)
    return _on_samples(curve, s, n)


def _edge_values(curve: ClosedCurve, edge: Edge, values: Array) -> Array:
    s, _ = project_path(curve, edge.x, edge.y)
    return _on_samples(curve, s, values)


def _offsets(curve: ClosedCurve, edge: Edge) -> Array:
    return project_path(curve, edge.x, edge.y)[1]


def _on_samples(curve: ClosedCurve, s: Array, values: Array) -> Array:
    """Values at scattered places on the curve's samples; the last place passed wins over folds."""
    order = np.argsort(np.mod(s, curve.length_m), kind="stable")
    return np.asarray(
        np.interp(curve.s, np.mod(s, curve.length_m)[order], values[order], period=curve.length_m)
    )


def _same_way(curve: ClosedCurve, edge: Edge) -> Edge:
    s, _ = project_path(curve, edge.x, edge.y)
    if np.median(np.diff(s)) >= 0:
        return edge
    return Edge(edge.x[::-1], edge.y[::-1], None if edge.z is None else edge.z[::-1])


def _places(curve: ClosedCurve, x: Array, y: Array) -> Array:
    return np.mod(project_path(curve, x, y)[0], curve.length_m)


def _turned(curve: ClosedCurve) -> Array:
    """Heading that the full turns of the lap add up to at each sample, rad."""
    return 2 * np.pi * total_turn(curve) * curve.s / curve.length_m


def _chord_heading(x: Array, y: Array) -> Array:
    return np.arctan2(np.roll(y, -1) - np.roll(y, 1), np.roll(x, -1) - np.roll(x, 1))
