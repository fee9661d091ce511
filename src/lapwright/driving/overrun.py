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

from lapwright.model.car import Car, Limit
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap, Track
from lapwright.numerics.curves import at_places
from lapwright.numerics.fits import find_quantile
from lapwright.physics.load import GRAVITY, apparent_gravity, downhill_pull

Array = NDArray[np.float64]

#: Grip grows with the load by this share of it: less than in proportion (common practice, no
#: source); the figure was set with the invented car's late braking in one session.
LOAD_SHARE = 0.7
#: Time in which the brake takes hold, s (usual order of size, no source).
BITE_S = 0.12
#: How a driver comes back to his line: own frequency, 1/s, and damping (assumed).
STEER_RADPS, STEER_DAMPING = 1.6, 0.8
STEP_S, LONGEST_S = 0.02, 12.0
#: Speeds are looked at in bins of this width, m/s; fewer samples than the second say nothing.
BIN_MPS, FEWEST = 4.0, 12
#: Share of the samples in a bin that is below what was shown often, and at the hardest.
OFTEN, HARDEST = 0.9, 0.98
#: Exponent of the superellipse that joins braking and turning: 2 would be the friction circle;
#: set with the invented car's late braking in two sessions.
JOINED = 1.5
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
    both = (np.abs(forward) ** JOINED + side**JOINED) ** (1 / JOINED)
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
    road = _lay(circuit, track, today_m, brake_m)
    here = _at(road, brake_m)
    s, n, mu, v = brake_m, here.n, here.mu, _arrive(track, today_m, brake_m)
    least, side = math.inf, 0
    for step in range(int(LONGEST_S / STEP_S)):
        here = _at(road, s)
        ax, ay = _act(shown, here, n, mu, v, step * STEP_S)
        rate = v * math.cos(mu) / max(1 - n * here.bend, 0.2)
        s, n = s + STEP_S * rate, n + STEP_S * v * math.sin(mu)
        mu += STEP_S * (ay / max(v, 2.0) - here.bend * rate)
        v = max(v + STEP_S * ax, 1.0)
        for sign, room in ((1, here.left - n), (-1, here.right + n)):
            if room - half_width_m < least:
                least, side = room - half_width_m, sign
        if least < 0:
            return Overrun(v, s % circuit.length_m, side, least, abs(mu))
        if s > min(road.s[-2], until_m):
            break
    return Overrun(None, None, side, least)


def stopping_distance(v: float, deceleration: float, reaction_s: float = 0.0) -> float:
    """Distance in m to stand still from ``v`` m/s: v t + v² / 2a."""
    return v * reaction_s + v * v / (2 * deceleration)


@dataclass(frozen=True, slots=True)
class _Road:
    """A lap's track and the road under it at every metre along the lap, arrays of shape (k,)."""

    s: Array
    v: Array
    n: Array
    mu: Array
    curve: Array
    bend: Array
    left: Array
    right: Array
    slope: Array
    cross: Array
    hump: Array


@dataclass(frozen=True, slots=True)
class _Here:
    """One place of a `_Road`."""

    s: float
    v: float
    n: float
    mu: float
    curve: float
    bend: float
    left: float
    right: float
    slope: float
    cross: float
    hump: float


def _lay(circuit: Circuit, track: Track, today_m: float, brake_m: float) -> _Road:
    places, first = np.unique(track.s, return_index=True)
    start = min(today_m, brake_m) - 2.0
    s = np.arange(start, min(start + BEHIND_M, float(places[-1])), 1.0)
    driven = [
        np.interp(s, places, getattr(track, name)[first])
        for name in ("speed", "n", "heading_error", "curvature")
    ]
    road = (circuit.curvature, circuit.left, circuit.right, circuit.slope)
    shape = (*road, np.tan(circuit.banking), circuit.vertical_curvature)
    return _Road(s, *driven, *(at_places(circuit.length_m, values, s) for values in shape))


def _at(road: _Road, s: float) -> _Here:
    i = min(max(int(s - road.s[0]), 0), road.s.size - 2)
    part = s - float(road.s[i])
    columns = (getattr(road, name) for name in _Road.__slots__)
    return _Here(*(float(c[i] + part * (c[i + 1] - c[i])) for c in columns))


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


def _act(
    shown: Shown, here: _Here, n: float, mu: float, v: float, braked_s: float
) -> tuple[float, float]:
    """Forward and lateral acceleration: brake while too fast and hold the line, within Shown."""
    normal = float(apparent_gravity(v, here.slope, here.cross, here.hump))
    load = max(1 + LOAD_SHARE * (normal / GRAVITY - 1), 0.1)
    brake, side = load * shown.brake_at(v), load * shown.side_at(v)
    slow = min(braked_s / BITE_S, 1.0) if v > here.v + 0.2 else 0.0
    off, course = n - here.n, mu - here.mu
    back = STEER_RADPS**2 * off + 2 * STEER_DAMPING * STEER_RADPS * v * course
    tyres = v * v * here.curve - back + here.cross * normal
    asked = (slow**JOINED + abs(tyres / side) ** JOINED) ** (1 / JOINED)
    share = 1.0 / max(asked, 1.0)
    pull = float(downhill_pull(here.slope))
    return -slow * brake * share - pull, tyres * share - here.cross * normal


def _tyre_forces(circuit: Circuit, track: Track) -> tuple[Array, Array, Array]:
    """Speed, and tyre forces over mass forward and to the left, brought to a level road's load."""
    slope, cross, hump = (
        at_places(circuit.length_m, values, track.s)
        for values in (circuit.slope, np.tan(circuit.banking), circuit.vertical_curvature)
    )
    normal = apparent_gravity(track.speed, slope, cross, hump)
    load = np.maximum(1 + LOAD_SHARE * (normal / GRAVITY - 1), 0.1)
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
