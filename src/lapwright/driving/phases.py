"""Where in a corner the turning is done and the grip is used: on the brake, off both, on throttle.

Phases need both pedals; nothing is said without them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.braking import ENDED
from lapwright.driving.passes import CornerPass
from lapwright.driving.throttle import RELEASED
from lapwright.driving.window import Window, open_window
from lapwright.model.car import Car
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap
from lapwright.numerics.curves import at_places
from lapwright.physics.grip import grip_use, limit_at
from lapwright.physics.load import apparent_gravity, downhill_pull, lateral_force

Array = NDArray[np.float64]
Phase = Literal["brake", "neither", "throttle"]
PHASES: tuple[Phase, ...] = ("brake", "neither", "throttle")
#: A phase shorter than this on a lap has no grip of its own, s.
SHORTEST_S = 0.15


@dataclass(frozen=True, slots=True)
class PhaseShare:
    """One phase of one lap in one corner.

    Parameters
    ----------
    turning
        Share of the corner's change of direction done in it, 0 to 1.
    grip
        Mean share of the car's grip in use, braked and cornering together; None without a
        car, or where the phase is too short.
    """

    turning: float
    grip: float | None


@dataclass(frozen=True, slots=True)
class CornerPhases:
    """The phases of a corner, medians over the laps that have both pedals."""

    corner: str
    laps: tuple[str, ...] = ()
    turning: tuple[float, float, float] | None = None
    grip: tuple[float | None, float | None, float | None] | None = None
    why_null: str | None = None
    grip_why_null: str | None = None


def find_phases(
    circuit: Circuit, laps: Sequence[Lap], passes: Sequence[CornerPass], car: Car | None = None
) -> dict[str, CornerPhases]:
    """Find each corner's phases, by corner id.

    Parameters
    ----------
    car
        Limits that the share of grip is measured by; None leaves it out.
    """
    seen = {(p.corner, p.lap) for p in passes}
    out = {}
    for i, corner in enumerate(circuit.corners):
        after = circuit.corners[(i + 1) % len(circuit.corners)]
        windows = [
            window
            for lap in laps
            if (corner.id, lap.id) in seen
            and (window := open_window(lap, circuit, corner, circuit.corners[i - 1], after))
        ]
        out[corner.id] = _summarise(circuit, corner.id, windows, car)
    return out


def _summarise(
    circuit: Circuit, corner: str, windows: Sequence[Window], car: Car | None
) -> CornerPhases:
    lacking = [n for n in ("throttle", "brake") if not any(w.trace(n) for w in windows)]
    if not windows or lacking:
        why = f"no {' and no '.join(lacking)} channel" if windows else "no lap that counts"
        return CornerPhases(corner, why_null=why, grip_why_null=why)
    own = [w for w in windows if w.trace("throttle") and w.trace("brake")]
    shares = [split_phases(circuit, w, car) for w in own]
    turning = [float(np.median([s[k].turning for s in shares])) for k in range(3)]
    whole = sum(turning) or 1.0
    return CornerPhases(
        corner,
        tuple(w.lap.id for w in own),
        (turning[0] / whole, turning[1] / whole, turning[2] / whole),
        (_grip(shares, 0), _grip(shares, 1), _grip(shares, 2)) if car else None,
        grip_why_null=None if car else "no car is known",
    )


def _grip(shares: Sequence[tuple[PhaseShare, ...]], phase: int) -> float | None:
    there = [g for s in shares if (g := s[phase].grip) is not None]
    return float(np.median(there)) if len(there) >= 0.5 * len(shares) else None


def split_phases(circuit: Circuit, window: Window, car: Car | None) -> tuple[PhaseShare, ...]:
    """Split one lap through a corner into brake, neither pedal and throttle, in this order."""
    inside = window.between(window.start_s, window.end_s)
    track = window.track
    time = track.time[inside]
    step = np.gradient(time) if time.size > 1 else np.zeros(time.size)
    turned = window.sign * track.curvature[inside] * track.speed[inside] * step
    turned = np.maximum(turned, 0.0)
    use = None if car is None else _grip_in_use(circuit, window, car)[inside]
    total = float(turned.sum())
    out = []
    for mask in _masks(window, time):
        long = use is not None and float(step[mask].sum()) >= SHORTEST_S
        out.append(
            PhaseShare(
                float(turned[mask].sum()) / total if total > 0 else 0.0,
                float(np.average(use[mask], weights=step[mask])) if long and use is not None
                else None,
            )
        )  # fmt: skip
    return tuple(out)


def _masks(window: Window, time: Array) -> tuple[NDArray[np.bool_], ...]:
    pedals = {}
    for name, level in (("brake", ENDED), ("throttle", RELEASED)):
        trace = window.lap.traces[name]
        pedals[name] = np.interp(time, trace.time, trace.values) > level
    brake = pedals["brake"]
    throttle = pedals["throttle"] & ~brake
    return brake, ~brake & ~throttle, throttle


def _grip_in_use(circuit: Circuit, window: Window, car: Car) -> Array:
    """Share of the grip envelope that each sample of a lap uses."""
    track, length = window.track, circuit.length_m
    slope, vertical = (
        at_places(length, column, track.s) for column in (circuit.slope, circuit.vertical_curvature)
    )
    cross = at_places(length, np.tan(circuit.banking), track.s)
    v = track.speed
    normal = apparent_gravity(v, slope, cross, vertical, car.gravity)
    left = lateral_force(v, track.curvature, slope, cross, normal)
    air = car.drag_per_mass * v * v + car.rolling * normal
    ahead = track.acceleration_forward + downhill_pull(slope, car.gravity) + air

    def limit(name: str) -> Array:
        one = getattr(car, name)
        return np.asarray(limit_at(one.at_rest, one.per_v2, one.per_load, v, normal, car.gravity))

    forward = np.where(ahead < 0, limit("brake"), limit("drive"))
    return np.asarray(grip_use(ahead, left, forward, limit("lateral"), car.exponent))
