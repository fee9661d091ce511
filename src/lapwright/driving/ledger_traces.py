"""Laps metre by metre, as the ledger compares them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.model.car import Car
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap, knows_line

Array = NDArray[np.float64]
#: Wanted distance between samples, m; the lap's length is divided evenly.
STEP_M = 1.0


@dataclass(frozen=True, slots=True)
class LedgerTrace:
    """One lap at equal steps along the road, from the start line to it again: (k + 1,).

    Parameters
    ----------
    lap
        Id of the lap, or a word for what was computed.
    time
        Seconds since the line was crossed.
    speed, curvature, offset
        m/s, 1/m, and m left of the reference line.
    throttle, brake, gear, steering
        As in `lapwright.model.lap.Lap.traces`; None where they were not logged.
    knows_line
        Whether the line driven is known well enough to be compared.
    """

    lap: str
    time: Array
    speed: Array
    curvature: Array
    offset: Array
    throttle: Array | None = None
    brake: Array | None = None
    gear: Array | None = None
    steering: Array | None = None
    knows_line: bool = True


def ledger_places(circuit: Circuit) -> Array:
    """Places of the samples in m from the start line, both ends included."""
    return np.linspace(0.0, circuit.length_m, round(circuit.length_m / STEP_M) + 1)


def build_traces(circuit: Circuit, laps: Sequence[Lap]) -> tuple[LedgerTrace, ...]:
    """Take the laps that count to the ledger's samples."""
    places = ledger_places(circuit)
    return tuple(_trace(lap, places) for lap in laps if lap.used and lap.track is not None)


def _trace(lap: Lap, places: Array) -> LedgerTrace:
    track = lap.track
    assert track is not None
    s, first = np.unique(track.s, return_index=True)

    def at(values: Array) -> Array:
        return np.interp(places, s, values[first])

    time = at(track.time)

    def logged(name: str) -> Array | None:
        trace = lap.traces.get(name)
        return None if trace is None else np.interp(time, trace.time, trace.values)

    return LedgerTrace(
        lap.id, time, np.maximum(at(track.speed), 1.0), at(track.curvature), at(track.n),
        logged("throttle"), logged("brake"), logged("gear"), logged("steering"),
        knows_line(track.n_sd),
    )  # fmt: skip


def build_computed_trace(
    name: str, circuit: Circuit, *, s: Array, speed: Array, time: Array, offset: Array,
    curvature: Array, car: Car,
) -> LedgerTrace:  # fmt: skip
    """Take a computed lap to the ledger's samples, with the pedals that its speed needs.

    Parameters
    ----------
    s
        (m,) rising places in m from the start line, over the whole lap.
    speed, time, offset, curvature
        (m,) at these places.
    car
        Tells how much of full power a gain of speed asks, and how much braking a loss.
    """
    places = ledger_places(circuit)
    v, t, n, k = (np.interp(places, s, x) for x in (speed, time, offset, curvature))
    gained = np.gradient(v**2 / 2, places)
    slope = np.interp(
        places, np.r_[circuit.s, circuit.length_m], np.r_[circuit.slope, circuit.slope[0]]
    )
    pushed = gained + car.drag_per_mass * v**2 + car.gravity * (car.rolling + slope)
    throttle = np.clip(pushed / (car.power_per_mass / v), 0.0, 1.0)
    throttle = np.where(throttle > 0.93, 1.0, throttle)
    limit = car.brake.at_rest + car.brake.per_v2 * v**2
    brake = np.clip(-pushed / limit, 0.0, 1.0)
    return LedgerTrace(name, t, v, k, n, throttle, brake)
