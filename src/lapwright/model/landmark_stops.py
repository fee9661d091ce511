"""Landmarks from a mapping lap: the driver stands beside each for three seconds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lapwright.model.build_circuit import curve_of
from lapwright.model.circuit import Circuit, Landmark
from lapwright.model.drive import Drive
from lapwright.numerics.curves import at_places, project_path
from lapwright.numerics.events import fill_gaps, find_runs

Array = NDArray[np.float64]

#: Standing is slower than this, m/s, for at least so long, s; a jerk between parts no stop, s.
STANDING_MPS, STANDING_S, JERK_S = 0.4, 2.5, 1.0
#: A stop as near as this to another marks the same thing, m.
SAME_M = 3.0


def find_landmark_stops(drive: Drive, circuit: Circuit) -> tuple[Landmark, ...]:
    """Find where a mapping lap stood still, as landmarks to be named.

    Standing at the recording's very beginning or end is no mark: a car starts and ends
    somewhere. A landmark is put on the edge of the road beside the stop, on the side on
    which the car stood; how high it is nobody knows yet (0).

    Parameters
    ----------
    drive
        With positions.
    circuit
        The road that was driven.
    """
    motion = drive.motion
    s, n = project_path(curve_of(circuit), motion.x, motion.y, motion.heading)
    good = np.isfinite(s) & np.isfinite(motion.speed)
    still = np.where(good & (motion.speed < STANDING_MPS), 1.0, 0.0)
    runs = fill_gaps(find_runs(still, 0.5, 0.5), motion.time, JERK_S)
    out: list[Landmark] = []
    for a, b in runs:
        inside = a > 0 and b < motion.time.size - 1
        if inside and motion.time[b] - motion.time[a] >= STANDING_S:
            stop = slice(a, b + 1)
            mark = _beside(circuit, float(np.nanmedian(s[stop])), float(np.nanmedian(n[stop])))
            if all(_apart(circuit, mark, other) for other in out):
                out.append(_named(mark, len(out) + 1))
    return tuple(out)


def _beside(circuit: Circuit, s: float, n: float) -> Landmark:
    left, right = (
        float(at_places(circuit.length_m, edge, np.array([s]))[0])
        for edge in (circuit.left, circuit.right)
    )
    middle = 0.5 * (left - right)
    off = max(left, n) if n > middle else min(-right, n)
    return Landmark("", s % circuit.length_m, off)


def _named(mark: Landmark, number: int) -> Landmark:
    return Landmark(f"landmark {number}", mark.at_m, mark.off_m)


def _apart(circuit: Circuit, one: Landmark, other: Landmark) -> bool:
    half = circuit.length_m / 2
    along = (one.at_m - other.at_m + half) % circuit.length_m - half
    return abs(along) > SAME_M or (one.off_m > 0) != (other.off_m > 0)
