"""One lap's samples of one stretch, and what is looked for in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.ledger_traces import LedgerTrace

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
#: Shares of the throttle's travel, and of the brake's highest pressure.
FULL, NOT_FULL, PICKED, TOUCHED = 0.97, 0.90, 0.20, 0.10
BRAKED, BRAKES = 0.03, 0.06
#: Length over which a line's sharpest curvature is taken, samples.
BEND_M = 24


@dataclass(frozen=True, slots=True)
class Motor:
    """Power (W/kg) and drag (1/m) over mass: how a lack of speed fades on a straight."""

    power: float = 170.0
    drag: float = 4.5e-4


@dataclass(frozen=True, slots=True)
class Usual:
    """The driver's own scatter in one corner.

    ``line`` is the robust standard deviation of the logarithm of the speed that the line
    allows, ``unrest`` and ``unrest_sd`` the middle and the scatter of the wheel's unrest.
    """

    line: float = 0.0
    unrest: float = 0.0
    unrest_sd: float = 0.0


@dataclass(frozen=True, slots=True)
class Pass:
    """One lap's samples of one stretch."""

    time: Array
    speed: Array
    curvature: Array
    offset: Array
    throttle: Array | None
    brake: Array | None
    gear: Array | None
    steering: Array | None


def cut_pass(trace: LedgerTrace, first: int, last: int) -> Pass:
    """Cut a lap's samples from the first to the last, both included."""

    def part(values: Array | None) -> Array | None:
        return None if values is None else values[first : last + 1]

    cut = slice(first, last + 1)
    return Pass(
        trace.time[cut], trace.speed[cut], trace.curvature[cut], trace.offset[cut],
        part(trace.throttle), part(trace.brake), part(trace.gear), part(trace.steering),
    )  # fmt: skip


def find_turn(base: Pass, slowest: int) -> int:
    """Sample at which the way in ends: the slowest, or an earlier pick-up of the throttle."""
    if base.throttle is None:
        return slowest
    peak = find_peak(base.speed, slowest)
    full = find_first(base.throttle >= FULL, slowest)
    touched = np.flatnonzero(base.throttle[: full + 1] < TOUCHED)
    picked = int(touched[-1]) if touched.size else slowest
    return picked if peak + 5 < picked < slowest else slowest


def find_peak(speed: Array, last: int) -> int:
    """Find the last sample of the highest speed up to ``last``."""
    return int(last - np.argmax(speed[: last + 1][::-1]))


def find_first(flags: Flags, start: int) -> int:
    """First sample from ``start`` on with the flag, or the last of all."""
    found = np.flatnonzero(flags[start:])
    return start + int(found[0]) if found.size else flags.size - 1


def find_unrest(steering: Array | None, turn: int) -> float:
    """Root mean square of the wheel's movement faster than about 15 m of road, rad."""
    if steering is None:
        return 0.0
    near = steering[max(turn - 40, 0) : turn + 60]
    if near.size < 20:
        return 0.0
    smooth = np.convolve(np.pad(near, 7, mode="edge"), np.ones(15) / 15, "valid")
    return float(np.sqrt(np.mean((near - smooth) ** 2)))


def find_bend(curvature: Array, first: int, last: int) -> float:
    """Sharpest curvature between two samples that lasts for `BEND_M`, 1/m.

    The speed of a corner is that of its tightest part; what is shorter is noise.
    """
    near = np.abs(curvature[max(first, 0) : last])
    if near.size <= BEND_M:
        return float(near.mean()) if near.size else 0.0
    grown = np.cumsum(np.r_[0.0, near])
    return float(np.max(grown[BEND_M:] - grown[:-BEND_M]) / BEND_M)
