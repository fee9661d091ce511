"""A corner braked for too late: where the road's edge is reached, and how fast.

A point follows a driven lap's line, brakes and turns as hard as these laps showed and
no harder. Where braking and turning ask for more than there is, both get the same share
(a superellipse joins them). It is an estimate for one car in past conditions.

Who is late brakes as he usually does, or harder, up to what the car has. So three abilities
are tried: what these laps showed often, what they showed at their hardest, and, where the
car is known otherwise, what it has.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.driving import overrun_kernels as kernels
from lapwright.model.car import Car, Limit
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap, Track
from lapwright.numerics.curves import at_places
from lapwright.numerics.fits import find_quantile
from lapwright.physics.load import GRAVITY, apparent_gravity, downhill_pull

Array = NDArray[np.float64]

#: Speeds are looked at in bins of this width, m/s; fewer samples than the second say nothing.
BIN_MPS, FEWEST = 4.0, 12
#: Share of the samples in a bin that is below what was shown often, and at the hardest.
OFTEN, HARDEST = 0.9, 0.98
#: A sample shows one direction where the other stays below this share of it.
BESIDE = 0.35
#: The ability is not known better than to this share, whatever the laps' scatter.
LEAST_SPREAD, MOST_SPREAD = 0.04, 0.12
#: How far before the braking point the approach is looked at, and behind it the corner, m.
BEFORE_M, BEHIND_M = 60.0, 400.0


@dataclass(frozen=True, slots=True)
class Shown:
    """Largest tyre forces that laps showed on the level, over mass: a + b v² in m/s².

    ``brake`` and ``side`` are (a, b); ``spread`` is the share by which the speeds' own
    values scatter about them. ``tied``: the tyres brake at least as hard as they hold to the
    side (common practice, no source), so a soft brake foot does not hide what they can do.
    """

    brake: tuple[float, float]
    side: tuple[float, float]
    spread: float
    tied: bool = False

    def scaled(self, factor: float) -> Shown:
        """Return all of it multiplied."""
        (a, b), (c, d) = self.brake, self.side
        return replace(self, brake=(a * factor, b * factor), side=(c * factor, d * factor))

    def side_at(self, v: float) -> float:
        """Return the largest tyre force to the side over mass at ``v`` m/s, m/s²."""
        return self.side[0] + self.side[1] * v * v

    def brake_at(self, v: float) -> float:
        """Return the hardest braking of the tyres (with drag) over mass at ``v`` m/s, m/s²."""
        own = self.brake[0] + self.brake[1] * v * v
        return max(own, self.side_at(v)) if self.tied else own


@dataclass(frozen=True, slots=True)
class Ability:
    """What a late driver may brake and turn with.

    ``lower`` is the lower bound of what his laps showed often, ``hardest`` what they showed at
    their hardest, ``upper`` its upper bound; ``car`` what a car that is known from elsewhere
    has, None where it is not.
    """

    lower: Shown
    hardest: Shown
    upper: Shown
    car: Shown | None = None


@dataclass(frozen=True, slots=True)
class Overrun:
    """What becomes of a corner that is braked for late.

    ``edge_mps`` is the speed at the road's edge, reached at ``edge_m`` (m along the lap) on
    ``side`` (1 left, −1 right) and ``angle_rad`` to the road; None where the car stays on
    the road, ``least_m`` then is what is left of it.
    """

    edge_mps: float | None
    edge_m: float | None
    side: int
    least_m: float
    angle_rad: float = 0.0


def find_ability(circuit: Circuit, laps: Sequence[Lap], car: Car | None = None) -> Ability | None:
    """Find how hard the laps that count braked and turned; None where too little was shown.

    Parameters
    ----------
    car
        A car that others' laps showed, or that was given.
    """
    tracks = [lap.track for lap in laps if lap.used and lap.track is not None]
    if not tracks:
        return None
    forces = [_tyre_forces(circuit, track) for track in tracks]
    v, forward, left = (np.concatenate([f[k] for f in forces]) for k in range(3))
    often = _find_shown(v, forward, left, OFTEN)
    hardest = _find_shown(v, forward, left, HARDEST, whole=True)
    if often is None or hardest is None:
        return None
    hardest = replace(hardest, spread=often.spread, tied=True)
    lower, upper = often.scaled(1.0 - often.spread), hardest.scaled(1.0 + often.spread)
    return Ability(lower, hardest, upper, None if car is None else _take_car(car, often.spread))


def _find_shown(
    v: Array, forward: Array, left: Array, share: float, *, whole: bool = False
) -> Shown | None:
    """Find the limits; ``whole`` counts what the tyres give beside the direction as well."""
    back, side = np.maximum(-forward, 0.0), np.abs(left)
    both = (np.abs(forward) ** kernels.JOINED + side**kernels.JOINED) ** (1 / kernels.JOINED)
    braking = _limit(v, both if whole else back, side < BESIDE * back, share)
    turning = _limit(v, both if whole else side, np.abs(forward) < BESIDE * side, share)
    if braking is None or turning is None:
        return None
    spread = float(np.clip(max(braking[1], turning[1]), LEAST_SPREAD, MOST_SPREAD))
    return Shown(braking[0], turning[0], spread)


def _take_car(car: Car, spread: float) -> Shown:
    """Take a car's limits; its drag brakes as well."""

    def line(limit: Limit, drag: float) -> tuple[float, float]:
        return limit.at_rest, limit.per_v2 + drag

    return Shown(line(car.brake, car.drag_per_mass), line(car.lateral, 0.0), spread, True)


def run_wide(
    circuit: Circuit, track: Track, shown: Shown, today_m: float, brake_m: float,
    half_width_m: float = 0.0, until_m: float = math.inf,
) -> Overrun:  # fmt: skip
    """Drive into a corner behind a lap's track, braking later than it did.

    Parameters
    ----------
    track
        The lap whose line and speed the driver wants.
    today_m, brake_m
        Where it was braked on that lap, and where the braking begins now: m along the lap.
    half_width_m
        How far the car reaches to each side of its line.
    until_m
        Where it is looked at last, m along the lap as the track counts it.
    """
    first_m, road = _lay(circuit, track, today_m, brake_m)
    reached, v, s, side, angle, least = kernels.drive_wide(
        road, first_m, shown.brake, shown.side, shown.tied, brake_m,
        _arrive(track, today_m, brake_m), half_width_m, until_m,
    )  # fmt: skip
    if not reached:
        return Overrun(None, None, side, least)
    return Overrun(v, s % circuit.length_m, side, least, angle)


def stopping_distance(v: float, deceleration: float, reaction_s: float = 0.0) -> float:
    """Distance in m to stand still from ``v`` m/s: v t + v² / 2a."""
    return v * reaction_s + v * v / (2 * deceleration)


def _lay(circuit: Circuit, track: Track, today_m: float, brake_m: float) -> tuple[float, Array]:
    """Lay out a lap's track and the road under it at every metre: the first, and the rows."""
    places, first = np.unique(track.s, return_index=True)
    start = min(today_m, brake_m) - 2.0
    s = np.arange(start, min(start + BEHIND_M, float(places[-1])), 1.0)
    rows = np.empty((kernels.ROWS, s.size))
    driven = {
        kernels.SPEED: track.speed, kernels.OFFSET: track.n, kernels.COURSE: track.heading_error,
        kernels.CURVE: track.curvature,
    }  # fmt: skip
    for row, values in driven.items():
        rows[row] = np.interp(s, places, values[first])
    slope, cross, hump = _shape(circuit, s)
    for row, values in (
        (kernels.BEND, circuit.curvature),
        (kernels.LEFT, circuit.left),
        (kernels.RIGHT, circuit.right),
    ):
        rows[row] = at_places(circuit.length_m, values, s)
    # what presses the car on the road grows in proportion to the squared speed
    rows[kernels.PRESSED] = apparent_gravity(0.0, slope, cross, hump)
    rows[kernels.PRESSED_PER_V2] = apparent_gravity(1.0, slope, cross, hump) - rows[kernels.PRESSED]
    rows[kernels.CROSS], rows[kernels.PULL] = cross, downhill_pull(slope)
    return start, rows


def _shape(circuit: Circuit, s: Array) -> tuple[Array, Array, Array]:
    """Slope, rise to the left and vertical curvature (1/m) of the road at places."""
    shape = (circuit.slope, np.tan(circuit.banking), circuit.vertical_curvature)
    slope, cross, hump = (at_places(circuit.length_m, values, s) for values in shape)
    return slope, cross, hump


def _arrive(track: Track, today_m: float, brake_m: float) -> float:
    """Speed at a place if the car had gone on as it came to where it was braked today."""
    way = np.flatnonzero((track.s > today_m - BEFORE_M) & (track.s <= today_m))
    if not way.size:
        return float(np.interp(today_m, track.s, track.speed))
    top = int(way[np.argmax(track.speed[way])])
    gap = float(track.s[top]) - track.s
    before = (gap > 5.0) & (gap < BEFORE_M)
    pull = float(np.median(track.acceleration_forward[before])) if before.any() else 0.0
    ahead = max(brake_m - float(track.s[top]), 0.0)
    return math.sqrt(float(track.speed[top]) ** 2 + 2 * max(pull, 0.0) * ahead)


def _tyre_forces(circuit: Circuit, track: Track) -> tuple[Array, Array, Array]:
    """Speed, and tyre forces over mass forward and to the left, brought to a level road's load."""
    slope, cross, hump = _shape(circuit, track.s)
    normal = apparent_gravity(track.speed, slope, cross, hump)
    load = np.maximum(1 + kernels.LOAD_SHARE * (normal / GRAVITY - 1), kernels.LEAST_LOAD)
    forward = (track.acceleration_forward + downhill_pull(slope)) / load
    left = (track.acceleration_left + cross * normal) / load
    return track.speed, np.asarray(forward), np.asarray(left)


def _limit(
    v: Array, value: Array, alone: NDArray[np.bool_], share: float
) -> tuple[tuple[float, float], float] | None:
    """Limit a + b v² through the tops of the bins of speed, and how they scatter about it."""
    strong = alone & (value > 0.4 * np.quantile(value, 0.98))
    box = (v / BIN_MPS).astype(int)
    tops = []
    for k in np.unique(box[strong]):
        here = strong & (box == k)
        if here.sum() >= FEWEST:
            top = find_quantile(value[here], share)
            tops.append((float(np.mean(v[here] ** 2)), top, float(min(here.sum(), 200))))
    if len(tops) < 2:
        return None
    w, top_of, weight = np.array(tops).T
    b = max(float(np.polyfit(w, top_of, 1, w=np.sqrt(weight))[0]), 0.0)
    a = float(np.average(top_of - b * w, weights=weight))
    off = np.abs(top_of / (a + b * w) - 1.0)
    return (a, b), 1.4826 * float(np.median(off))
