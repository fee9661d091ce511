"""Every lap's own line driven by the car: what was possible on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import LapwrightError
from lapwright.model.build_circuit import curve_of
from lapwright.model.car import Car
from lapwright.model.circuit import Circuit
from lapwright.model.fit_car import CarFit
from lapwright.model.lap import Lap, Track, knows_line
from lapwright.numerics.curves import points_at
from lapwright.possible.fastest_line import FastestLine, build_line_path
from lapwright.possible.path import Path, build_path_over
from lapwright.possible.speed_profile import solve_speed_profile

Array = NDArray[np.float64]
#: Stretch before the start line over which a lap's end is led into its beginning, m.
LED_IN_M = 150.0


@dataclass(frozen=True, slots=True)
class ComputedLap:
    """A computed lap over places s (m from the start line, rising over the whole lap), (m,).

    ``time`` is 0 at the start line, ``offset`` m left of the reference line.
    """

    s: Array
    time: Array
    speed: Array
    offset: Array
    curvature: Array


def solve_own_lines(
    circuit: Circuit, laps: Sequence[Lap], car: Car, fit: CarFit | None = None
) -> dict[str, ComputedLap]:
    """Drive every lap's own line at the car's limits; laps whose line is not known are left out.

    With a fit the car is put in each lap's conditions.
    """
    out = {}
    for lap in laps:
        if not lap.used or lap.track is None or not knows_line(lap.track.n_sd):
            continue
        n = close_line(circuit, lap.track)
        try:
            path = build_path_over(circuit, *points_at(curve_of(circuit), circuit.s, n))
            there = car if fit is None else fit.on(lap.id, car)
            out[lap.id] = _over_lap(circuit, path, there, n)
        except LapwrightError:
            continue
    return out


def close_line(circuit: Circuit, track: Track) -> Array:
    """Read a lap's line at the circuit's places, its end led into its beginning, (n,) in m.

    A lap ends on another line than it began: without this the line has a kink at the start.
    """
    s, first = np.unique(track.s, return_index=True)
    places = np.append(circuit.s, circuit.length_m)
    n = np.asarray(np.interp(places, s, track.n[first]))
    over = min(LED_IN_M, 0.25 * circuit.length_m)
    part = np.clip((places - (circuit.length_m - over)) / over, 0.0, 1.0)
    eased = part**3 * (10.0 - 15.0 * part + 6.0 * part**2)
    led = np.asarray(n + (n[0] - n[-1]) * eased)
    return led[:-1]


def solve_line_again(circuit: Circuit, line: FastestLine, car: Car) -> ComputedLap:
    """Drive the fastest line by the speed profile, as the laps' own lines are."""
    n = np.interp(circuit.s, line.s, line.n, period=circuit.length_m)
    return _over_lap(circuit, build_line_path(circuit, line), car, n)


def _over_lap(circuit: Circuit, path: Path, car: Car, n: Array) -> ComputedLap:
    """Put a closed path's profile on the circuit's places, the start line at both ends."""
    profile = solve_speed_profile(path, car)
    length = circuit.length_m
    at = np.mod(path.s, length)
    order = np.argsort(at, kind="stable")
    passing = np.diff(np.r_[profile.t, profile.time_s])[order]
    clock = np.r_[0.0, np.cumsum(passing)]  # at the samples in order, and at the first again
    s = np.r_[at[order], at[order][0] + length]
    places = np.r_[circuit.s, length]
    time: Array = np.interp(places, s, clock).astype(float)
    early = places < s[0]
    time[early] = np.interp(places[early] + length, s, clock) - profile.time_s

    def read(values: Array) -> Array:
        return np.asarray(np.interp(places, at[order], values[order], period=length))

    return ComputedLap(
        places, time - time[0], read(profile.v), np.r_[n, n[0]], read(path.curvature)
    )
