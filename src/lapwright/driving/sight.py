"""What can be seen from the driver's eye: the road ahead, apexes, exits and landmarks.

Only what is known hides anything: the road itself with its banking and crests, and
verges and walls where the circuit has them. Trees, fences and people are not in it, and
the ground beside the road is not where no verge says how it lies. Heights are taken as
the surface of solid ground, except where the road runs over itself.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from lapwright.driving import sight_kernels as kernels
from lapwright.errors import UsageError
from lapwright.model.build_circuit import curve_of
from lapwright.model.car import Point
from lapwright.model.circuit import Circuit, Landmark, RoadSpan
from lapwright.numerics.curves import at_places, points_at

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: Eye of a car driver in the published sight distances (AASHTO), for cars without their own.
USUAL_EYE: Point = (0.0, 0.0, 1.08)
#: Nobody looks further ahead along the road, m.
REACH_M = 600.0
#: A road this much above another part of itself, so near in the plane, is a bridge, m.
BRIDGE_M, BRIDGE_NEAR_M, BRIDGE_APART_M = 2.5, 8.0, 60.0


@dataclass(frozen=True, slots=True)
class Ground:
    """All that is known to hide things, as the compiled rays read it.

    Parameters
    ----------
    circuit
        Whose road it is.
    road
        Stations across the road, shape (n, `sight_kernels.COLUMNS`).
    blocks, boxes, walls
        Bounds of runs of stations, and of runs of those; upright faces.
    """

    circuit: Circuit
    road: Array = field(repr=False)
    blocks: Array = field(repr=False)
    boxes: Array = field(repr=False)
    walls: Array = field(repr=False)


@dataclass(frozen=True, slots=True)
class Eyes:
    """Where the driver's eye is along the lap: places s in m, points (k, 3), directions in rad."""

    s: Array
    points: Array
    heading: Array


def build_ground(circuit: Circuit) -> Ground:
    """Lay the road, its verges and walls out for rays.

    Raises
    ------
    UsageError
        If the circuit has no heights: nothing can be said about sight.
    """
    if not circuit.has_heights:
        raise UsageError("sight: the circuit has no heights.")
    road = np.zeros((circuit.s.size, kernels.COLUMNS))
    for column, values in (
        (kernels.X, circuit.x),
        (kernels.Y, circuit.y),
        (kernels.Z, circuit.z),
        (kernels.COS, np.cos(circuit.heading)),
        (kernels.SIN, np.sin(circuit.heading)),
        (kernels.CROSS, np.tan(circuit.banking)),
        (kernels.LEFT, circuit.left),
        (kernels.RIGHT, circuit.right),
    ):
        road[:, column] = values
    for column, n in ((kernels.EDGE_LEFT, circuit.left), (kernels.EDGE_RIGHT, -circuit.right)):
        x, y = circuit.x - n * np.sin(circuit.heading), circuit.y + n * np.cos(circuit.heading)
        z = circuit.z + n * np.tan(circuit.banking)
        road[:, column : column + 3] = np.column_stack([x, y, z])
    for span in circuit.spans:
        if span.kind == "verge":
            _lay_verge(road, circuit, span)
    walls = [_stand_wall(road, circuit, span) for span in circuit.spans if span.kind == "wall"]
    road[:, kernels.BRIDGE] = _bridges(circuit)
    blocks = _bound(road)
    boxes = _join(blocks)
    return Ground(circuit, road, blocks, boxes, np.concatenate([np.zeros((0, 6)), *walls]))


def place_eyes(circuit: Circuit, s: ArrayLike, n: ArrayLike = 0.0, eye: Point = USUAL_EYE) -> Eyes:
    """Put the driver's eye over the road.

    Parameters
    ----------
    s, n
        Where the middle of the wheelbase is: m along the road and left of its line.
    eye
        (forward, left, up) from there, the car pointing along the road.
    """
    at = np.asarray(s, float) + eye[0]
    aside = np.broadcast_to(np.asarray(n, float), at.shape) + eye[1]
    x, y = points_at(curve_of(circuit), at, aside)
    z = height_on_road(circuit, at, aside) + eye[2]
    return Eyes(np.asarray(s, float), np.column_stack([x, y, z]), _headings(circuit, at))


def height_on_road(circuit: Circuit, s: ArrayLike, n: ArrayLike) -> Array:
    """Height of the road's surface at places, its banking carried on beyond its edges, m."""
    cross = at_places(circuit.length_m, np.tan(circuit.banking), s)
    return np.asarray(at_places(circuit.length_m, circuit.z, s) + cross * np.asarray(n, float))


def place_point(circuit: Circuit, s: float, n: float, lift: float = 0.0) -> Array:
    """Point at a place on the road, or beside it on the level of its edge, shape (3,)."""
    x, y = points_at(curve_of(circuit), s, n)
    left, right = (float(at_places(circuit.length_m, w, s)) for w in (circuit.left, circuit.right))
    z = float(height_on_road(circuit, s, np.clip(n, -right, left)))
    return np.array([float(x), float(y), z + lift])


def place_landmark(circuit: Circuit, mark: Landmark) -> Array:
    """Top of a landmark, shape (3,)."""
    return place_point(circuit, mark.at_m, mark.off_m, mark.height_m)


def look_ahead(
    ground: Ground, eyes: Eyes, object_height_m: float = 0.0, reach_m: float = REACH_M
) -> Array:
    """How far ahead the middle of the road is seen without a break, m along the road.

    Parameters
    ----------
    object_height_m
        Height over the road that has to be seen; 0 is the road's surface.
    reach_m
        Given where all of the road up to there is seen.
    """
    circuit = ground.circuit
    reach = min(reach_m, 0.5 * circuit.length_m)
    ahead = eyes.s + _forward(circuit, eyes)
    return np.asarray(
        kernels.look_ahead(
            ground.road, ground.blocks, ground.boxes, ground.walls, eyes.points, ahead,
            circuit.step_m, reach, object_height_m,
        )
    )  # fmt: skip


def see_point(ground: Ground, eyes: Eyes, point: Array) -> Mask:
    """Tell from which eyes a point (x, y, z) is seen, looking anywhere."""
    seen = kernels.see_one(
        ground.road, ground.blocks, ground.boxes, ground.walls, eyes.points, point
    )
    return np.asarray(seen, bool)


def bearing(eyes: Eyes, point: Array) -> Array:
    """Direction of a point from straight ahead, rad, left positive."""
    away = np.arctan2(point[1] - eyes.points[:, 1], point[0] - eyes.points[:, 0]) - eyes.heading
    return np.asarray(np.arctan2(np.sin(away), np.cos(away)))


def seen_from(seen: Mask) -> int | None:
    """First of the last unbroken run of eyes that see: from there it stays in view.

    None where the last eye does not see.
    """
    if not seen.size or not seen[-1]:
        return None
    blind = np.flatnonzero(~seen)
    return int(blind[-1]) + 1 if blind.size else 0


def _lay_verge(road: Array, circuit: Circuit, span: RoadSpan) -> None:
    """Carry the surface on beside the road, from its edge to the verge's outer side."""
    rows = _within(circuit, span)
    if span.left_m + span.right_m > 0:
        width = np.maximum(span.left_m - circuit.left[rows], 0.0)
        road[rows, kernels.BESIDE_LEFT], road[rows, kernels.RISE_LEFT] = width, span.height_m
    else:
        width = np.maximum(-span.right_m - circuit.right[rows], 0.0)
        road[rows, kernels.BESIDE_RIGHT], road[rows, kernels.RISE_RIGHT] = width, span.height_m


def _stand_wall(road: Array, circuit: Circuit, span: RoadSpan) -> Array:
    """Upright faces of a wall, station by station, shape (k, 6)."""
    rows = _within(circuit, span)
    near = min(span.left_m, span.right_m, key=abs)
    at = road[rows]
    edge = np.clip(near, -at[:, kernels.RIGHT], at[:, kernels.LEFT])
    x = at[:, kernels.X] - near * at[:, kernels.SIN]
    y = at[:, kernels.Y] + near * at[:, kernels.COS]
    foot = [kernels.height_at(row, near) for row in at]
    level = at[:, kernels.Z] + edge * at[:, kernels.CROSS]
    top = np.where(np.isnan(foot), level, foot) + span.height_m
    ends = np.column_stack([x, y, top])
    return np.concatenate([ends[:-1], ends[1:]], axis=1)


def _within(circuit: Circuit, span: RoadSpan) -> NDArray[np.int64]:
    """Stations of a span in driving order."""
    size, step = circuit.s.size, circuit.step_m
    first = int(np.ceil(span.start_m / step))
    along = (span.end_m - span.start_m) % circuit.length_m or circuit.length_m
    return np.asarray(np.arange(first, first + int(along / step) + 1) % size)


def _bridges(circuit: Circuit) -> Mask:
    """Stations at which the road runs well above another part of itself."""
    over = np.zeros(circuit.s.size, bool)
    points = np.column_stack([circuit.x, circuit.y])
    for i, j in cKDTree(points).query_pairs(BRIDGE_NEAR_M, output_type="ndarray"):
        apart = abs(circuit.s[i] - circuit.s[j])
        if min(apart, circuit.length_m - apart) > BRIDGE_APART_M:
            high, low = (i, j) if circuit.z[i] > circuit.z[j] else (j, i)
            over[high] |= circuit.z[high] - circuit.z[low] > BRIDGE_M
    return over


def _bound(road: Array) -> Array:
    """Box in the plane and highest point of every run of stations."""
    out = []
    for first in range(0, road.shape[0], kernels.BLOCK):
        rows = road[first : first + kernels.BLOCK]
        left = rows[:, kernels.LEFT] + rows[:, kernels.BESIDE_LEFT]
        right = -rows[:, kernels.RIGHT] - rows[:, kernels.BESIDE_RIGHT]
        x = np.concatenate([rows[:, kernels.X] - n * rows[:, kernels.SIN] for n in (left, right)])
        y = np.concatenate([rows[:, kernels.Y] + n * rows[:, kernels.COS] for n in (left, right)])
        top = rows[:, kernels.Z] + np.maximum(
            rows[:, kernels.LEFT] * rows[:, kernels.CROSS]
            + np.maximum(rows[:, kernels.RISE_LEFT], 0),
            -rows[:, kernels.RIGHT] * rows[:, kernels.CROSS]
            + np.maximum(rows[:, kernels.RISE_RIGHT], 0),
        )
        out.append([x.min(), x.max(), y.min(), y.max(), top.max()])
    return np.array(out)


def _join(blocks: Array) -> Array:
    """Bounds of runs of blocks."""
    runs = [blocks[k : k + kernels.BOX] for k in range(0, blocks.shape[0], kernels.BOX)]
    low, high = [run.min(axis=0) for run in runs], [run.max(axis=0) for run in runs]
    lows = np.isin(np.arange(blocks.shape[1]), (kernels.X_LOW, kernels.Y_LOW))
    return np.where(lows, low, high)


def _headings(circuit: Circuit, s: Array) -> Array:
    sin, cos = (at_places(circuit.length_m, f(circuit.heading), s) for f in (np.sin, np.cos))
    return np.asarray(np.arctan2(sin, cos))


def _forward(circuit: Circuit, eyes: Eyes) -> Array:
    """How far along the road the eyes lie ahead of the middle of the wheelbase, m."""
    x, y = points_at(curve_of(circuit), eyes.s)
    dx, dy = eyes.points[:, 0] - x, eyes.points[:, 1] - y
    head = _headings(circuit, eyes.s)
    return np.asarray(dx * np.cos(head) + dy * np.sin(head))
