"""Where the wheels run, and whether that keeps to the road under a chosen rule.

Three families of published rules are in use, so the rule is a setting: see `RULES`. The
white line is road; a kerb is not. Wheel paths follow from the line driven, the direction
of travel and the car's measures; a car that slides points a few degrees elsewhere, which
moves its outermost wheel by some centimetres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import UsageError
from lapwright.model.car import Measured
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap, Track, knows_line
from lapwright.numerics.curves import at_places
from lapwright.numerics.events import find_runs

Array = NDArray[np.float64]
Rule = Literal["whole-car", "whole-wheel", "any-contact"]
Wheel = Literal["front left", "front right", "rear left", "rear right"]

#: The families of rules: what has happened when a lap is out of bounds.
RULES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "whole-car": "no part of the car touches the road",
        "whole-wheel": "a wheel is past the kerb's outer edge, or the line where there is no kerb",
        "any-contact": "a part of a wheel's contact patch is past the kerb's outer edge, "
        "or the line where there is no kerb",
    }
)
DEFAULT_RULE: Final[Rule] = "whole-car"
WHEELS: Final[tuple[Wheel, ...]] = ("front left", "front right", "rear left", "rear right")
#: Widths of a contact patch of a car on four wheels, m (an assumption, bounds).
PATCH_M = (0.12, 0.36)
#: A kerb begins at the edge of the road: survey and kerb may differ by this much, m.
KERB_AT_EDGE_M = 0.5
#: A breach is sure when it is deeper than this many standard deviations of the line.
SURE_SD = 2.0


@dataclass(frozen=True, slots=True)
class Wheels:
    """Contact patches along a lap, in driving order of time; columns as `WHEELS`.

    Parameters
    ----------
    time
        Seconds since the lap's start, shape (k,).
    s, n
        Middle of each patch: m along the road and left of its line, shape (k, 4).
    half_patch_m
        Half of a patch's width.
    n_sd
        Standard deviation of the line, shape (k,).
    """

    time: Array
    s: Array
    n: Array
    half_patch_m: float
    n_sd: Array


@dataclass(frozen=True, slots=True)
class Breach:
    """One stretch out of bounds.

    ``by_m`` is how far past the bound it went at most, ``sd_m`` the standard deviation of
    the line there and ``sure`` whether the one is well above the other.
    """

    side: Literal["left", "right"]
    start_m: float
    end_m: float
    duration_s: float
    by_m: float
    sd_m: float
    sure: bool
    corner: str | None = None


@dataclass(frozen=True, slots=True)
class TrackLimits:
    """Breaches of one lap under a rule; None with ``why_null`` where nothing can be said."""

    rule: Rule
    breaches: tuple[Breach, ...] | None
    why_null: str = ""


def choose_rule(name: str) -> Rule:
    """Return a rule by its name.

    Raises
    ------
    UsageError
        For a name that is none of `RULES`.
    """
    for rule in ("whole-car", "whole-wheel", "any-contact"):
        if name == rule:
            return rule
    raise UsageError(f"--track-limits: {name:.40} is none of {', '.join(RULES)}.")


def find_wheels(circuit: Circuit, track: Track, car: Measured) -> Wheels:
    """Find where the four contact patches run along a lap.

    Raises
    ------
    UsageError
        If the car's width, wheelbase or track is not known.
    """
    lacking = [k for k in ("width_m", "wheelbase_m", "track_m") if not getattr(car, k) > 0]
    if lacking:
        raise UsageError(f"wheel paths: the car's {', '.join(lacking)} is not given.")
    patch = float(np.clip(car.width_m - car.track_m, *PATCH_M))
    half_track, half_base = 0.5 * car.track_m, 0.5 * car.wheelbase_m
    forward = np.array([half_base, half_base, -half_base, -half_base])
    aside = np.array([half_track, -half_track, half_track, -half_track])
    if car.logged_point_m is not None:  # the line is that of the logged point
        forward, aside = forward - car.logged_point_m[0], aside - car.logged_point_m[1]
    cos, sin = np.cos(track.heading_error)[:, None], np.sin(track.heading_error)[:, None]
    along, left = forward * cos - aside * sin, forward * sin + aside * cos
    bend = at_places(circuit.length_m, circuit.curvature, track.s)[:, None]
    n = track.n[:, None]
    shrink = np.maximum(1.0 - (n + left) * bend, 0.2)
    # ahead on a road that bends to the left, a straight car points to its right
    drift = -0.5 * bend * along**2 / np.maximum(1.0 - n * bend, 0.2)
    return Wheels(
        track.time, track.s[:, None] + along / shrink, n + left + drift, 0.5 * patch, track.n_sd
    )


def find_bounds(circuit: Circuit, *, with_kerbs: bool) -> tuple[Array, Array]:
    """Distances from the reference line to what bounds the car to the left and right, (n,).

    With kerbs, a kerb that begins at the road's edge adds its width.
    """
    left, right = circuit.left.copy(), circuit.right.copy()
    for span in circuit.spans:
        if not with_kerbs or span.kind != "kerb":
            continue
        here = np.mod(circuit.s - span.start_m, circuit.length_m) <= np.mod(
            span.end_m - span.start_m, circuit.length_m
        )
        if span.left_m + span.right_m > 0:
            meets = here & (span.right_m <= circuit.left + KERB_AT_EDGE_M)
            left[meets] = np.maximum(left[meets], span.left_m)
        else:
            meets = here & (-span.left_m <= circuit.right + KERB_AT_EDGE_M)
            right[meets] = np.maximum(right[meets], -span.right_m)
    return left, right


def measure_excess(circuit: Circuit, wheels: Wheels, rule: Rule, side: int) -> Array:
    """How far past the bound on one side (1 left, −1 right) the rule counts the car, m, (k,).

    Negative while it keeps to the bound.
    """
    bounds = find_bounds(circuit, with_kerbs=rule != "whole-car")
    bound = at_places(circuit.length_m, bounds[0] if side > 0 else bounds[1], wheels.s)
    past = side * wheels.n - bound
    if rule == "whole-car":  # the wheel that is furthest in still has a part on the road
        return np.asarray((past - wheels.half_patch_m).min(axis=1))
    half = wheels.half_patch_m if rule == "any-contact" else -wheels.half_patch_m
    return np.asarray((past + half).max(axis=1))


def find_breaches(circuit: Circuit, track: Track, car: Measured, rule: Rule) -> tuple[Breach, ...]:
    """Find where a lap was out of bounds under a rule, in driving order."""
    wheels = find_wheels(circuit, track, car)
    out = []
    sides: tuple[tuple[Literal["left", "right"], int], ...] = (("left", 1), ("right", -1))
    for name, side in sides:
        excess = measure_excess(circuit, wheels, rule, side)
        for a, b in find_runs(excess, 0.0, 0.0):
            deepest = a + int(np.argmax(excess[a : b + 1]))
            if not 0.0 <= track.s[deepest] < circuit.length_m:
                continue  # the lap before or after
            by, sd = float(excess[deepest]), float(wheels.n_sd[deepest])
            out.append(
                Breach(
                    name,
                    float(track.s[a]) % circuit.length_m,
                    float(track.s[b]) % circuit.length_m,
                    float(track.time[b] - track.time[a]),
                    by,
                    sd,
                    by > SURE_SD * sd,
                    _corner_at(circuit, float(track.s[a])),
                )
            )
    return tuple(sorted(out, key=lambda breach: breach.start_m))


def find_track_limits(
    circuit: Circuit, laps: Sequence[Lap], car: Measured | None, rule: Rule = DEFAULT_RULE
) -> Mapping[str, TrackLimits]:
    """Hold every lap against a rule, by lap id; where nothing can be said, why."""
    return {lap.id: _limits(circuit, lap, car, rule) for lap in laps}


def _limits(circuit: Circuit, lap: Lap, car: Measured | None, rule: Rule) -> TrackLimits:
    if not circuit.surveyed:
        return TrackLimits(rule, None, "the edges were not surveyed")
    if car is None or not min(car.width_m, car.wheelbase_m, car.track_m) > 0:
        lacking = "the car's width, wheelbase and track are not given"
        return TrackLimits(rule, None, lacking)
    if lap.track is None:
        return TrackLimits(rule, None, "the lap cannot be placed on the road")
    if not knows_line(lap.track.n_sd):
        return TrackLimits(rule, None, "the positions are not good enough to tell a line")
    return TrackLimits(rule, find_breaches(circuit, lap.track, car, rule))


def _corner_at(circuit: Circuit, s: float) -> str | None:
    """Corner that a place lies in, or the one just left."""
    if not circuit.corners:
        return None
    last = min(circuit.corners, key=lambda c: (s - c.start_m) % circuit.length_m)
    return last.id
