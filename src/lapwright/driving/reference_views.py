"""What the driver sees on the way to an action: landmarks in line, things coming into view."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.approaches import Approaches
from lapwright.driving.sight import (
    USUAL_EYE,
    build_ground,
    place_eyes,
    place_landmark,
    see_point,
)
from lapwright.model.build_circuit import curve_of
from lapwright.model.car import Point
from lapwright.model.circuit import Circuit, Corner, Landmark
from lapwright.numerics.curves import at_places, points_at

Array = NDArray[np.float64]

#: Tells from which places (s, n), arrays of one shape, a thing can be seen by the driver.
Visible = Callable[[Array, Array, Landmark], NDArray[np.bool_]]

#: Two things in line are looked at within these distances and this angle off the way ahead:
#: further to the side nobody looks (common practice, no source), and a line-up is no more than
#: passing a place.
NEAREST_M, FARTHEST_M, AHEAD_RAD = 5.0, 500.0, np.radians(30.0)
#: How long before and after the action a line-up is looked for, and in which steps, s.
LOOK_BACK_S, LOOK_ON_S, LOOK_STEP_S = 2.6, 0.4, 0.04
#: The step in which something comes into view is divided by so many.
FINER = 20
#: Nobody steers by a thing further ahead along the road, m.
SEEN_M = 500.0


@dataclass(frozen=True, slots=True)
class Seen:
    """What stands beside a road, where, and what hides it.

    Parameters
    ----------
    marks
        Landmarks, and what else can come into view (an apex, a kerb's end).
    x, y
        Their places in the plane, shape (marks,), m.
    seen
        From which of the circuit's samples each is seen on the way to it by a car on the usual
        line, shape (marks, n).
    visible
        Tells the same of any place; None where nothing is hidden.
    """

    circuit: Circuit
    marks: tuple[Landmark, ...]
    x: Array
    y: Array
    seen: NDArray[np.bool_]
    visible: Visible | None = None

    def find_line_ups(
        self, ways: Approaches, when: Array
    ) -> tuple[tuple[tuple[str, ...], ...], Array]:
        """Find when two landmarks, both ahead, stood in line on the way to an action.

        Returns
        -------
        pairs
            Names, the nearer one first.
        times
            Shape (laps, pairs); NaN where they did not.
        """
        own = len(self.circuit.landmarks)
        if own < 2:
            return (), np.zeros((when.size, 0))
        one, two = (np.array(p) for p in zip(*combinations(range(own), 2), strict=True))
        found = [self._line_ups(ways, i, t, one, two) for i, t in enumerate(when)]
        times = np.array([f[0] for f in found])
        often = np.flatnonzero(np.isfinite(times).mean(axis=0) >= 0.8)
        near = np.array([f[1] for f in found])
        s = ways.at("s", when)
        keep, pairs = [], []
        for k in often:
            first, second = int(one[k]), int(two[k])
            back = float(np.nanmedian(when - times[:, k]) * np.median(ways.at("speed", when)))
            place = float(np.median(s)) - back
            marks = [self.marks[first], self.marks[second]]
            if self.sees(place, first) and self.sees(place, second):
                ahead = float(np.nanmean(near[:, k])) >= 0.5
                keep.append(int(k))
                pairs.append(tuple(m.name for m in (marks if ahead else marks[::-1])))
        return tuple(pairs), times[:, keep]

    def _line_ups(
        self, ways: Approaches, lap: int, when: float, one: NDArray[np.intp], two: NDArray[np.intp]
    ) -> tuple[Array, Array]:
        """Time of the line-up nearest to the action, and whether the first is the nearer one."""
        clock = np.arange(when - LOOK_BACK_S, when + LOOK_ON_S, LOOK_STEP_S)
        own = len(self.circuit.landmarks)
        x, y, course = (
            np.interp(clock, ways.clock, column[lap]) for column in (ways.x, ways.y, ways.heading)
        )
        dx, dy = self.x[:own] - x[:, None], self.y[:own] - y[:, None]
        bearing = _wrapped(np.arctan2(dy, dx) - course[:, None])
        far = np.hypot(dx, dy)
        good = (np.abs(bearing) < AHEAD_RAD) & (far > NEAREST_M) & (far < FARTHEST_M)
        apart = bearing[:, one] - bearing[:, two]
        flip = (apart[1:] * apart[:-1] <= 0) & (np.abs(apart[1:] - apart[:-1]) > 1e-12)
        flip &= good[1:, one] & good[1:, two] & good[:-1, one] & good[:-1, two]
        gap = np.where(flip, np.abs(clock[1:, None] - when), np.inf)
        row = np.argmin(gap, axis=0)
        pair = np.arange(one.size)
        before, after = apart[row, pair], apart[row + 1, pair]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = before / (before - after)
        time = np.where(np.isfinite(gap[row, pair]), clock[row] + share * LOOK_STEP_S, np.nan)
        return time, (far[row, one] < far[row, two]).astype(float)

    def find_appearances(
        self, ways: Approaches, when: Array
    ) -> tuple[tuple[tuple[str, ...], ...], Array]:
        """Find when things came into view on the way to an action, shape (laps, things).

        Each lap looks from its own line: past a wall's end half a metre aside is metres later.
        """
        s, v = (float(np.median(ways.at(c, when))) for c in ("s", "speed"))
        names, columns = [], []
        for k, mark in enumerate(self.marks):
            own = mark in self.circuit.landmarks or mark.name == apex_name(ways.corner)
            back = self._seen_since(k, s) if own else None
            if back is not None and back < LOOK_BACK_S * v:
                names.append((mark.name,))
                columns.append(self._appeared(ways, mark, when))
        return tuple(names), np.array(columns).T if columns else np.zeros((when.size, 0))

    def _appeared(self, ways: Approaches, mark: Landmark, when: Array) -> Array:
        """When a thing last came into view before a time, else the first time after, (laps,)."""
        steps = np.arange(-LOOK_BACK_S - LOOK_ON_S, LOOK_ON_S, LOOK_STEP_S)
        seen = self._seen_by(ways, mark, when[:, None] + steps)
        first = np.array([_shown(row, steps) for row in seen])
        begin = when + steps[np.maximum(first, 0)]
        fine = begin[:, None] + np.linspace(0.0, LOOK_STEP_S, FINER + 1)
        since = np.argmax(self._seen_by(ways, mark, fine), axis=1) - 0.5
        return np.where(first >= 0, begin + since * LOOK_STEP_S / FINER, np.nan)

    def _seen_by(self, ways: Approaches, mark: Landmark, when: Array) -> NDArray[np.bool_]:
        """Tell at which times, shape (laps, k), each lap's driver sees a thing."""
        if self.visible is None:
            return np.ones(when.shape, bool)
        s, n = (
            np.array([np.interp(t, ways.clock, r) for t, r in zip(when, column, strict=True)])
            for column in (ways.s, ways.n)
        )
        places = s.ravel() % self.circuit.length_m
        return self.visible(places, n.ravel(), mark).reshape(when.shape)

    def _seen_since(self, mark: int, s: float) -> float | None:
        """How far back a thing ahead came into view, m; None if it is hidden or always seen."""
        if self.ahead(self.marks[mark], s) < NEAREST_M or not self.sees(s, mark):
            return None
        step, count = self.circuit.step_m, self.circuit.s.size
        reach = int(max(SEEN_M - self.ahead(self.marks[mark], s), 0.0) / step)
        way = (int(s / step) - np.arange(reach)) % count
        hidden = np.flatnonzero(~self.seen[mark, way])
        return float(hidden[0] - 0.5) * step if hidden.size else None

    def sees(self, s: float, mark: int) -> bool:
        """Tell whether a thing is seen from a place on the driven line, s in any lap."""
        return bool(self.seen[mark, round(s / self.circuit.step_m) % self.circuit.s.size])

    def ahead(self, mark: Landmark, s: float) -> float:
        """How far ahead along the road a thing stands, m, passed ones negative."""
        half = self.circuit.length_m / 2
        return (mark.at_m - s + half) % self.circuit.length_m - half


def look_about(circuit: Circuit, line: Array, visible: Visible | None = None) -> Seen:
    """Work out what is seen on the way to landmarks, apexes and the ends of kerbs.

    Parameters
    ----------
    line
        Where laps usually drive, m left of the reference line at the circuit's samples.
    visible
        None where no heights are known: then nothing is hidden.
    """
    marks = (*circuit.landmarks, *map(partial(_apex, circuit), circuit.corners), *_ends(circuit))
    if not marks:
        none = np.zeros(0)
        return Seen(circuit, (), none, none, np.zeros((0, circuit.s.size), bool), visible)
    at, off = (np.array([getattr(m, name) for m in marks]) for name in ("at_m", "off_m"))
    x, y = points_at(curve_of(circuit), at, off)
    seen = np.array([_seen_from(circuit, line, mark, visible) for mark in marks])
    return Seen(circuit, marks, x, y, seen, visible)


def see_from_seat(circuit: Circuit, eye: Point | None = None) -> Visible | None:
    """Return what tells from where a thing's top is seen; None without heights.

    Parameters
    ----------
    eye
        (forward, left, up) from the middle of the wheelbase; None for a usual car's.
    """
    if not circuit.has_heights:
        return None
    ground = build_ground(circuit)

    def visible(s: Array, n: Array, mark: Landmark) -> NDArray[np.bool_]:
        eyes = place_eyes(circuit, s, n, eye or USUAL_EYE)
        return see_point(ground, eyes, place_landmark(circuit, mark))

    return visible


def _seen_from(
    circuit: Circuit, line: Array, mark: Landmark, visible: Visible | None
) -> NDArray[np.bool_]:
    ahead = (mark.at_m - circuit.s) % circuit.length_m
    near = ahead <= min(SEEN_M, 0.5 * circuit.length_m)
    if visible is not None:
        near[near] = visible(circuit.s[near], line[near], mark)
    return np.asarray(near)


def apex_name(corner: Corner) -> str:
    """Name a corner's apex among the things that come into view."""
    return f"the apex of corner {corner.id}"


def _apex(circuit: Circuit, corner: Corner) -> Landmark:
    left = corner.direction == "left"
    edge = at_places(
        circuit.length_m, circuit.left if left else circuit.right, np.array([corner.apex_m])
    )
    off = float(edge[0]) * (1.0 if left else -1.0)
    return Landmark(apex_name(corner), corner.apex_m, off)


def _ends(circuit: Circuit) -> list[Landmark]:
    """Give the start and the end of each kerb, as things on the ground."""
    return [
        Landmark(f"{END_NAMES[k]} {span.name}", place, 0.5 * (span.left_m + span.right_m))
        for span in circuit.spans
        if span.kind == "kerb"
        for k, place in enumerate((span.start_m, span.end_m))
    ]


#: What a kerb's start and end are called among the things that can be seen.
END_NAMES = ("the start of the", "the end of the")


def _wrapped(angle: Array) -> Array:
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)


def _shown(seen: NDArray[np.bool_], steps: Array) -> int:
    """Last step before 0 after which a thing is seen anew, else the first one on; −1 for none."""
    shown = np.flatnonzero(seen[1:] & ~seen[:-1])
    before = shown[steps[shown] < 0.0]
    return int(before[-1] if before.size else shown[0] if shown.size else -1)
