"""What road, grip, power, drag, downforce and mass are worth in seconds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lapwright.errors import LapwrightError, UsageError
from lapwright.model.car import Car
from lapwright.model.circuit import Circuit, Corner
from lapwright.numerics.solve import Limits
from lapwright.possible.collocation import FACTORS
from lapwright.possible.fastest_line import FastestLine, solve_fastest_line

Array = NDArray[np.float64]
Side = Literal["left", "right"]
Part = Literal["entry", "apex", "exit"]
_PARTS: tuple[Part, ...] = ("entry", "apex", "exit")
_BRAKING = 0.5  # m/s²: above it the line brakes
_LONGEST_ZONE_M = 250.0


@dataclass(frozen=True, slots=True)
class Zone:
    """A part of a corner and the side of the road that counts there, in metres along the lap.

    ``end_m`` below ``start_m`` runs over the start line.
    """

    corner: str
    part: Part
    side: Side
    start_m: float
    end_m: float


@dataclass(frozen=True, slots=True)
class RoadWorth:
    """What one more metre of road in a zone is worth, and what was left unused.

    ``s_per_m`` prices the next millimetre at the optimum. ``unused_m`` is the mean of
    what was left to the edge, ``unused_worth_s`` the time that it costs; None where no
    driven line was given, or (with ``why_null``) where the solve had no answer.
    """

    zone: Zone
    s_per_m: float
    unused_m: float | None = None
    unused_worth_s: float | None = None
    why_null: str = ""


def within(s: Array, start_m: float, end_m: float, length_m: float) -> NDArray[np.bool_]:
    """Tell which places lie from start to end, over the start line where end is below start."""
    return np.asarray(np.mod(s - start_m, length_m) <= np.mod(end_m - start_m, length_m))


def find_zones(circuit: Circuit, line: FastestLine) -> tuple[Zone, ...]:
    """Find entry, apex and exit of every corner on a fastest line.

    Entry: from the start of braking (or the corner's start) to half-way to the apex, on
    the outside; apex: from there to half-way to the end, on the inside; exit: from there
    to where the line is on full power again (or the corner's end), on the outside.
    """
    return tuple(zone for corner in circuit.corners for zone in _zones(circuit, line, corner))


def _zones(circuit: Circuit, line: FastestLine, corner: Corner) -> list[Zone]:
    length = circuit.length_m
    to_apex = (corner.apex_m - corner.start_m) % length
    to_end = (corner.end_m - corner.apex_m) % length
    turn_in = (corner.apex_m - to_apex / 2) % length
    leave = (corner.apex_m + to_end / 2) % length
    first = _first_before(line, corner.start_m, length)
    last = _last_after(line, corner.end_m, length)
    inside: Side = corner.direction
    outside: Side = "right" if inside == "left" else "left"
    places = ((first, turn_in, outside), (turn_in, leave, inside), (leave, last, outside))
    return [
        Zone(corner.id, part, side, start, end)
        for part, (start, end, side) in zip(_PARTS, places, strict=True)
    ]


def _first_before(line: FastestLine, start_m: float, length: float) -> float:
    """Where the braking begins that runs into the corner's start."""
    steps = round(_LONGEST_ZONE_M / line.step_m)
    at = int(np.argmin(np.abs(np.mod(line.s - start_m + length / 2, length) - length / 2)))
    back = 0
    while back < steps and line.brake[(at - back - 1) % line.s.size] > _BRAKING:
        back += 1
    return float((start_m - back * line.step_m) % length)


def _last_after(line: FastestLine, end_m: float, length: float) -> float:
    """Where the drive is no longer held by grip after the corner's end."""
    steps = round(_LONGEST_ZONE_M / line.step_m)
    at = int(np.argmin(np.abs(np.mod(line.s - end_m + length / 2, length) - length / 2)))
    ahead = 0
    while ahead < steps:
        i = (at + ahead) % line.s.size
        if line.use[i] < 0.98 or line.brake[i] > _BRAKING:
            break
        ahead += 1
    return float((end_m + ahead * line.step_m) % length)


def price_road(circuit: Circuit, line: FastestLine, zones: Sequence[Zone]) -> list[RoadWorth]:
    """Price one more metre of road in each zone from the edges' multipliers, in s/m."""
    out = []
    for zone in zones:
        inside = within(line.s, zone.start_m, zone.end_m, circuit.length_m)
        density = line.left_worth if zone.side == "left" else line.right_worth
        out.append(RoadWorth(zone, float(density[inside].sum() * line.step_m)))
    return out


def price_unused(
    circuit: Circuit, car: Car, line: FastestLine, zones: Sequence[Zone], driven_n: ArrayLike
) -> list[RoadWorth]:
    """Price what a driver left unused: the edge moved in to where he drove, solved again.

    Parameters
    ----------
    driven_n
        (n,) offsets of the car's middle on the circuit's samples, m, left positive.

    Returns
    -------
    list of RoadWorth
        In the order of the zones. Where he used the whole road the worth is 0.
    """
    driven = np.asarray(driven_n, float)
    if driven.shape != circuit.s.shape or not np.isfinite(driven).all():
        raise UsageError(f"driven_n: shape {driven.shape}; needed: finite, {circuit.s.shape}")
    return [
        _price_zone(circuit, car, line, worth, driven) for worth in price_road(circuit, line, zones)
    ]


def move_edge(circuit: Circuit, zone: Zone, driven: Array, keep_m: float) -> tuple[Circuit, float]:
    """Circuit with the zone's edge moved in to a driven line, and the mean metres moved."""
    inside = within(circuit.s, zone.start_m, zone.end_m, circuit.length_m)
    edge = circuit.left if zone.side == "left" else circuit.right
    used = (driven if zone.side == "left" else -driven) + keep_m
    moved = np.where(inside, np.minimum(edge, used), edge)
    unused = float((edge - moved)[inside].mean()) if inside.any() else 0.0
    if zone.side == "left":
        return replace(circuit, left=moved), unused
    return replace(circuit, right=moved), unused


def _price_zone(
    circuit: Circuit, car: Car, line: FastestLine, worth: RoadWorth, driven: Array
) -> RoadWorth:
    narrowed, unused = move_edge(circuit, worth.zone, driven, car.width_m / 2 + line.margin_m)
    if unused <= 1e-3:
        return replace(worth, unused_m=unused, unused_worth_s=0.0)
    try:
        again = _again(narrowed, car, line)
    except LapwrightError as error:
        return replace(worth, unused_m=unused, why_null=str(error))
    return replace(worth, unused_m=unused, unused_worth_s=max(again.time_s - line.time_s, 0.0))


def _again(
    circuit: Circuit, car: Car, line: FastestLine, limits: Limits | None = None
) -> FastestLine:
    return solve_fastest_line(
        circuit, car, mesh_m=line.step_m, margin_m=line.margin_m, near=line, check=False,
        limits=limits,
    )  # fmt: skip


def price_car(
    circuit: Circuit,
    car: Car,
    line: FastestLine,
    share: float = 0.01,
    limits: Limits | None = None,
) -> Mapping[str, tuple[float, float]]:
    """Price one per cent less and more of grip, power, drag, downforce and mass, in s.

    Each is a solve of its own, for the sensitivities have kinks: (less, more) by name,
    a change of lap time, positive slower. A difference of two lap times hardly depends on
    the mesh (0.5 % from 5 to 10 m), so that a line on a coarse one does. ``limits`` are best
    those of the line, for then its programme is used again.
    """

    def change(name: str, factor: float) -> float:
        return _again(circuit, car.scaled(**{name: factor}), line, limits).time_s - line.time_s

    return {name: (change(name, 1 - share), change(name, 1 + share)) for name in FACTORS}
