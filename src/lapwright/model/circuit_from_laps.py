"""A circuit from nothing but driven laps: the edges are the road seen in use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.build_circuit import compose_circuit
from lapwright.model.circuit import Circuit
from lapwright.model.lap import knows_line
from lapwright.numerics.curves import (
    ClosedCurve,
    fit_closed_curve,
    points_at,
    project_path,
    smooth_closed,
)
from lapwright.numerics.series import Motion

Array = NDArray[np.float64]

#: Two passes of one place lie within this of each other, m, in about the same direction.
SAME_PLACE_M = 20.0
#: Half of a car's width, added to the positions driven; an assumption.
HALF_CAR_M = 0.9
#: Laps of a length this close to the median make the reference line.
SAME_LENGTH = 0.03
SPACING_M = 5.0
#: Of more laps than these the median line is no better.
ENOUGH_LAPS = 100
#: Nor does the road's height need more samples of a recording than these.
ENOUGH_HEIGHTS = 200_000
#: A lap's end is led into its beginning over this distance to both sides, m.
SEAM_M = 150.0


@dataclass(frozen=True, slots=True)
class _Path:
    """A driven path at equal distances, shape (k,)."""

    x: Array
    y: Array
    heading: Array
    speed: Array


def build_circuit_from_laps(
    motions: Sequence[Motion], heights: Sequence[Array | None] = (), *, file: str, name: str = ""
) -> Circuit:
    """Circuit whose line is the robust mean of the laps, marked as not surveyed.

    Parameters
    ----------
    motions
        In one plane.
    heights
        For each motion its height in m, or None.

    Raises
    ------
    InputError
        If no place is passed twice in the same direction.
    """
    pieces = [lap for m in motions for lap in _laps_of(_thin(m))]
    if not pieces:
        raise InputError(
            [
                Message(
                    "refused",
                    file,
                    "no place is passed twice in the same direction",
                    "No circuit can be made of it",
                    "Record at least one whole lap with its start and end, or give --circuit",
                )
            ]
        )
    lengths = np.array([lap.x.size for lap in pieces]) * SPACING_M
    alike = np.abs(lengths / np.median(lengths) - 1) < SAME_LENGTH
    laps = [lap for lap, ok in zip(pieces, alike, strict=True) if ok]
    first = laps[int(np.argsort([lap.x.size for lap in laps])[len(laps) // 2])]
    curve = fit_closed_curve(first.x, first.y, wavelength_m=40.0)
    some = laps[:: -(-len(laps) // ENOUGH_LAPS)]
    for _ in range(2):
        middle = smooth_closed(
            np.median(_across(curve, some, closed=True), axis=0), curve.length_m, 20.0
        )
        curve = fit_closed_curve(*points_at(curve, curve.s, middle), wavelength_m=20.0)
    across = _across(curve, laps)
    if not all(knows_line(m.position_sd) for m in motions):
        across = np.zeros_like(across)  # what looks like width is drift
    left, right = across.max(axis=0) + HALF_CAR_M, HALF_CAR_M - across.min(axis=0)
    floor = 0.5 * HALF_CAR_M
    height = _heights(curve, motions, heights)
    return compose_circuit(
        curve,
        np.maximum(left, floor),
        np.maximum(right, floor),
        None if height is None else (height, height),
        name=name,
        surveyed=False,
    )


def find_laps_in(motion: Motion) -> list[tuple[int, int]]:
    """Find closed laps in a motion without a circuit: first and last sample of each."""
    driven = _driven(motion)
    return [
        (int(np.searchsorted(driven, a * SPACING_M)), int(np.searchsorted(driven, b * SPACING_M)))
        for a, b in _cuts(_thin(motion))
    ]


def _driven(motion: Motion) -> Array:
    step = np.hypot(np.diff(motion.x), np.diff(motion.y))
    return np.append(0.0, np.cumsum(np.where(motion.speed[1:] > 0.5, step, 0.0)))


def _thin(motion: Motion) -> _Path:
    driven = _driven(motion)
    places = np.arange(0.0, driven[-1], SPACING_M)
    columns = (motion.x, motion.y, motion.heading, motion.speed)
    return _Path(*(np.interp(places, driven, c) for c in columns))


def _laps_of(path: _Path) -> list[_Path]:
    columns = (path.x, path.y, path.heading, path.speed)
    return [_Path(*(c[a:b] for c in columns)) for a, b in _cuts(path)]


def _cuts(path: _Path) -> list[tuple[int, int]]:
    """Cut a path at the fast place that it passes most often."""
    if path.x.size < 40:
        return []
    tree = KDTree(np.stack([path.x, path.y], axis=1))
    best: Array = np.array([], dtype=float)
    fast = np.flatnonzero(path.speed > np.quantile(path.speed, 0.5))
    for gate in fast[:: max(1, fast.size // 80)]:
        passes = _passes(path, tree, int(gate))
        if passes.size > best.size:
            best = passes
    return [(a, b) for a, b in pairwise(best.astype(int).tolist()) if b - a > 40]


def _passes(path: _Path, tree: KDTree, gate: int) -> Array:
    near = np.sort(tree.query_ball_point([path.x[gate], path.y[gate]], SAME_PLACE_M))
    near = near[np.cos(path.heading[near] - path.heading[gate]) > 0.7]
    group = np.cumsum(np.diff(near, prepend=near[:1]) > 10)
    distance = np.hypot(path.x[near] - path.x[gate], path.y[near] - path.y[gate])
    order = np.lexsort((distance, group))
    return np.asarray(near[order[np.unique(group[order], return_index=True)[1]]])


def _across(curve: ClosedCurve, laps: Sequence[_Path], *, closed: bool = False) -> Array:
    """Offsets of the laps at the curve's samples, shape (laps, n).

    ``closed`` leads each lap's end into its beginning, so that a line made of them has no step.
    """
    rows = []
    for lap in laps:
        s, n = project_path(curve, lap.x, lap.y, lap.heading)
        s = np.mod(s, curve.length_m)
        order = np.argsort(s, kind="stable")
        row = np.interp(curve.s, s[order], n[order], period=curve.length_m)
        rows.append(row - _seam(curve, float(s[0]), float(n[-1] - n[0])) if closed else row)
    return np.array(rows)


def _seam(curve: ClosedCurve, place: float, step: float) -> Array:
    """Half of a step at a place, fading out to both sides."""
    half = 0.5 * curve.length_m
    away = np.mod(curve.s - place + half, curve.length_m) - half
    fade = np.clip(1.0 - np.abs(away) / SEAM_M, 0.0, 1.0)
    return np.where(away < 0, 0.5, -0.5) * step * fade**2 * (3.0 - 2.0 * fade)


def _heights(
    curve: ClosedCurve, motions: Sequence[Motion], heights: Sequence[Array | None]
) -> Array | None:
    """Median height of all passes in boxes of four samples, smoothed; None where unknown."""
    known = [(m, h) for m, h in zip(motions, heights, strict=False) if h is not None]
    if not known:
        return None
    boxes = curve.s.size // 4
    place, height = [], []
    for motion, h in known:
        few = max(h.size // ENOUGH_HEIGHTS, 1)
        h = h[::few]
        s, n = project_path(curve, motion.x[::few], motion.y[::few], motion.heading[::few])
        near = np.abs(n) < SAME_PLACE_M
        place.append(np.mod(s[near], curve.length_m))
        height.append(h[near])
    s_all, h_all = np.concatenate(place), np.concatenate(height)
    box = np.minimum((s_all / curve.length_m * boxes).astype(int), boxes - 1)
    order = np.argsort(box, kind="stable")
    edges = np.searchsorted(box[order], np.arange(boxes + 1))
    medians = np.array(
        [np.median(h_all[order[a:b]]) if b > a else np.nan for a, b in pairwise(edges)]
    )
    if np.isfinite(medians).mean() < 0.9:
        return None
    middle = (np.arange(boxes) + 0.5) * curve.length_m / boxes
    good = np.isfinite(medians)
    filled = np.interp(curve.s, middle[good], medians[good], period=curve.length_m)
    return smooth_closed(filled, curve.length_m, 60.0)
