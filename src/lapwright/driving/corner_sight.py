"""What a driver sees of each corner, and where landmarks come into view or stand in line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.grid import build_grid
from lapwright.driving.passes import CornerSummary
from lapwright.driving.sight import (
    REACH_M,
    USUAL_EYE,
    Eyes,
    Ground,
    bearing,
    build_ground,
    look_ahead,
    place_eyes,
    place_landmark,
    place_point,
    see_point,
    seen_from,
)
from lapwright.model.car import Measured, Point
from lapwright.model.circuit import Circuit, Corner, Landmark
from lapwright.model.lap import Lap
from lapwright.numerics.curves import at_places

Array = NDArray[np.float64]

#: Places from which the apex of a corner that is not blind is seen, by action.
LOOKED_FROM = ("brake_start_m", "turn_in_m")
#: Two landmarks in line serve while they lie this much off straight ahead at most, rad …
ASIDE_RAD = np.radians(60.0)
#: … and part by this much for each metre driven (a tenth of a degree in two metres), rad/m.
SHARP_RAD_PER_M = np.radians(0.05)
#: A landmark nearer than this is being passed; one further away is too small, m.
NEAREST_M, FURTHEST_M = 6.0, 500.0


@dataclass(frozen=True, slots=True)
class CornerSight:
    """What is seen of one corner from the line driven.

    Parameters
    ----------
    blind
        Whether the road itself hides the apex at the braking point or at turn-in;
        None where neither is known.
    apex_seen_from_m, exit_seen_from_m
        Place along the lap from which the apex (the inner edge there), and the outer edge
        at the corner's end, stay in view until they are reached; None where something
        hides them to the last.
    apex_seen_over_m, exit_seen_over_m
        The same as a distance before them; ``whole`` of the way looked over counts as at
        least that.
    hidden_at
        Those of `LOOKED_FROM` at which the apex is hidden.
    looked_over_m
        How far back was looked from.
    """

    corner: str
    blind: bool | None
    apex_seen_from_m: float | None
    apex_seen_over_m: float | None
    exit_seen_from_m: float | None
    exit_seen_over_m: float | None
    hidden_at: tuple[str, ...]
    looked_over_m: float


@dataclass(frozen=True, slots=True)
class View:
    """From where a landmark's top stays in view: ``at_m``, ``before_m`` before it is passed.

    Both are None where something hides it to the last. ``comes`` tells whether it comes
    into view there; False where it is in view over all the way looked over.
    """

    landmark: str
    at_m: float | None
    before_m: float | None
    comes: bool


@dataclass(frozen=True, slots=True)
class Alignment:
    """Two landmarks in line, from the line driven.

    ``per_m_aside`` is how many metres later along the road they stand in line for each
    metre further left, ``sharp_rad_per_m`` how fast they part.
    """

    near: str
    far: str
    at_m: float
    per_m_aside: float
    sharp_rad_per_m: float


@dataclass(frozen=True, slots=True)
class Sight:
    """All that can be said of sight on a circuit; empty with ``why_null`` without heights.

    ``ahead_m`` stands at the circuit's samples; ``eye_given`` tells whether the eye's
    place was known or that of a usual car taken.
    """

    ahead_m: Array | None
    corners: Mapping[str, CornerSight]
    views: tuple[View, ...]
    alignments: tuple[Alignment, ...]
    eye: Point
    eye_given: bool
    why_null: str = ""


def find_sight(
    circuit: Circuit,
    laps: Sequence[Lap],
    summaries: Mapping[str, CornerSummary],
    car: Measured | None = None,
) -> Sight:
    """Find what is seen along the middle of the lines driven (the road's middle without laps).

    Nothing is raised where nothing can be said: ``why_null`` says why.
    """
    given = car.eye_position_m if car is not None else None
    eye = given or USUAL_EYE
    if not circuit.has_heights:
        return Sight(None, {}, (), (), eye, given is not None, "no heights were given")
    ground, line = build_ground(circuit), driven_line(circuit, laps)
    eyes = place_eyes(circuit, circuit.s, line, eye)
    return Sight(
        look_ahead(ground, eyes),
        {c.id: see_corner(ground, c, summaries.get(c.id), line, eye) for c in circuit.corners},
        find_views(ground, eyes),
        find_alignments(ground, eyes),
        eye,
        given is not None,
    )


def driven_line(circuit: Circuit, laps: Sequence[Lap]) -> Array:
    """Median offset of the laps that count at the circuit's samples; the road's middle without."""
    grid = build_grid(circuit, laps)
    if not grid.laps:
        return np.asarray(0.5 * (circuit.left - circuit.right))
    return np.asarray(np.median(grid.n, axis=0))


def see_corner(
    ground: Ground, corner: Corner, summary: CornerSummary | None, line: Array, eye: Point
) -> CornerSight:
    """Look at a corner's apex and exit from the way up to them, and from where they matter."""
    circuit, sign = ground.circuit, 1 if corner.direction == "left" else -1
    apex = _on_edge(circuit, corner.apex_m, sign)
    back = min(REACH_M, 0.5 * circuit.length_m)
    looked: list[tuple[float | None, float | None]] = []
    for place, point in (
        (corner.apex_m, apex),
        (corner.end_m, _on_edge(circuit, corner.end_m, -sign)),
    ):
        eyes = _eyes_up_to(circuit, place, line, eye, back)
        first = seen_from(see_point(ground, eyes, point))
        over = None if first is None else float(place - eyes.s[first])
        looked.append((None if over is None else (place - over) % circuit.length_m, over))
    known = {
        name: action.median
        for name in LOOKED_FROM
        if summary and (action := summary.actions.get(name)) and action.median is not None
    }
    hidden = [
        name
        for name, place in known.items()
        if not see_point(ground, _eyes_at(circuit, np.array([place]), line, eye), apex)[0]
    ]
    return CornerSight(
        corner.id, bool(hidden) if known else None, *looked[0], *looked[1], tuple(hidden), back
    )


def find_views(ground: Ground, eyes: Eyes) -> tuple[View, ...]:
    """Find where each landmark's top comes into view for good before it is passed.

    Looked over are the eyes within `REACH_M` before it.
    """
    circuit, out = ground.circuit, []
    for mark in circuit.landmarks:
        order = _before(circuit, eyes.s, mark.at_m)
        way = Eyes(eyes.s[order], eyes.points[order], eyes.heading[order])
        first = seen_from(see_point(ground, way, place_landmark(circuit, mark)))
        if first is None:
            out.append(View(mark.name, None, None, False))
            continue
        at = float(way.s[first])
        out.append(View(mark.name, at, (mark.at_m - at) % circuit.length_m, first > 0))
    return tuple(out)


def find_alignments(ground: Ground, eyes: Eyes) -> tuple[Alignment, ...]:
    """Find where two landmarks stand in line ahead, both in sight, and part sharply.

    Parameters
    ----------
    eyes
        In driving order along any path.
    """
    marks = [(mark, place_landmark(ground.circuit, mark)) for mark in ground.circuit.landmarks]
    angle = [bearing(eyes, point) for _, point in marks]
    away = [np.hypot(*(point[:2] - eyes.points[:, :2]).T) for _, point in marks]
    out = []
    for a, b in combinations(range(len(marks)), 2):
        apart = np.angle(np.exp(1j * (angle[a] - angle[b])))
        flips = np.flatnonzero((np.diff(np.sign(apart)) != 0) & (np.abs(apart[:-1]) < 0.5))
        for i in flips:
            near, far = (a, b) if away[a][i] < away[b][i] else (b, a)
            fits = (
                abs(angle[near][i]) < ASIDE_RAD
                and away[near][i] > NEAREST_M
                and away[far][i] < FURTHEST_M
            )
            if fits:
                pair = marks[near], marks[far]
                out.append(_align(ground, eyes, int(i), apart, pair))
    return tuple(one for one in out if one is not None)


def _align(
    ground: Ground, eyes: Eyes, i: int, apart: Array,
    pair: tuple[tuple[Landmark, Array], tuple[Landmark, Array]],
) -> Alignment | None:  # fmt: skip
    """Place an alignment between eyes i and i + 1; None where it is blunt or hidden."""
    (near, p), (far, q) = pair
    step = float(np.hypot(*(eyes.points[i + 1] - eyes.points[i])[:2]))
    turn = float(apart[i + 1] - apart[i]) / step if step else 0.0
    if abs(turn) < SHARP_RAD_PER_M:
        return None
    one = Eyes(eyes.s[i : i + 1], eyes.points[i : i + 1], eyes.heading[i : i + 1])
    if not (see_point(ground, one, p)[0] and see_point(ground, one, q)[0]):
        return None
    share = float(apart[i] / (apart[i] - apart[i + 1]))
    at = float(eyes.s[i] + share * ((eyes.s[i + 1] - eyes.s[i]) % ground.circuit.length_m))
    # the line through both marks is crossed at the place s(n): its direction against the road's
    course = float(np.arctan2(q[1] - p[1], q[0] - p[0]) - eyes.heading[i])
    aside = 1.0 / np.tan(course) if abs(np.sin(course)) > 1e-3 else float("nan")
    return Alignment(near.name, far.name, at % ground.circuit.length_m, float(aside), abs(turn))


def _on_edge(circuit: Circuit, place: float, sign: int) -> Array:
    """Point on the edge of the road on one side (1 left, −1 right)."""
    width = at_places(circuit.length_m, circuit.left if sign > 0 else circuit.right, place)
    return place_point(circuit, place, sign * float(width))


def _eyes_at(circuit: Circuit, s: Array, line: Array, eye: Point) -> Eyes:
    return place_eyes(circuit, s, at_places(circuit.length_m, line, s), eye)


def _eyes_up_to(circuit: Circuit, place: float, line: Array, eye: Point, back: float) -> Eyes:
    """Eyes at the road's step on the way up to a place, until the eye is nearly there."""
    steps = np.arange(float(int(back / circuit.step_m)), 0.0, -1.0) * circuit.step_m
    steps = steps[steps > eye[0] + 1.0]
    return _eyes_at(circuit, place - steps, line, eye)


def _before(circuit: Circuit, s: Array, place: float) -> NDArray[np.int64]:
    """Eyes within `REACH_M` before a place, the furthest first, the last short of it."""
    gap = np.mod(place - s, circuit.length_m)
    near = np.flatnonzero((gap > NEAREST_M) & (gap < min(REACH_M, 0.5 * circuit.length_m)))
    return np.asarray(near[np.argsort(-gap[near], kind="stable")])
