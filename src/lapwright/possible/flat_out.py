"""Flat or lift: the grip that full throttle needs in a corner, against the grip there is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import NoAnswerError
from lapwright.model.car import Car
from lapwright.model.circuit import Corner
from lapwright.possible.path import Path
from lapwright.possible.speed_profile import Share, path_rows, solve_speed_profile
from lapwright.possible.worth import within

Array = NDArray[np.float64]
_FREE = 1e4  # share that stands for no lateral limit
_MOST_DOWNFORCE = 20.0
_BRAKING = 0.2  # m/s²: a tyre force below it still counts as driven


@dataclass(frozen=True, slots=True)
class FlatMargin:
    """Margin of a corner taken at full throttle.

    Parameters
    ----------
    corner
        Its id.
    margin
        Grip there is over grip needed, less one: 0.05 is flat with 5 % in hand, −0.3
        lacks 30 %.
    low, high
        90 % interval over the cars that the laps allow; None without them.
    downforce_factor
        Downforce, as a multiple of what there is, at which the corner becomes flat on
        this line with the drag unchanged; None where more than 20 times, or where the
        car has none.
    speed_mps
        Speed where the need is greatest.
    """

    corner: str
    margin: float
    low: float | None
    high: float | None
    downforce_factor: float | None
    speed_mps: float


def find_flat_margins(
    path: Path, car: Car, corners: Sequence[Corner], length_m: float, cars: Sequence[Car] = ()
) -> list[FlatMargin]:
    """Find the margin of each corner on a closed path.

    The car comes out of the corner before as fast as it can, stays at full throttle to
    the corner's end or to where it must brake for the next, and the largest use of the
    envelope on the way is compared with 1. A margin does not depend on how the corner
    is driven now.

    Parameters
    ----------
    path
        A line, usually the fastest one.
    length_m
        Of the circuit's reference line.
    cars
        Other cars that the laps allow (bootstrap), for the interval.
    """
    out = []
    for corner in corners:
        margin, speed = _margin(path, car, corner, length_m)
        others = [_margin(path, other, corner, length_m)[0] for other in cars]
        low, high = (
            (float(v) for v in np.quantile(others, [0.05, 0.95])) if others else (None, None)
        )
        factor = _downforce_for_flat(path, car, corner, length_m, margin)
        out.append(FlatMargin(corner.id, margin, low, high, factor, speed))
    return out


def _margin(path: Path, car: Car, corner: Corner, length_m: float) -> tuple[float, float]:
    """Margin and the speed of the greatest need."""
    from lapwright.possible import kernels as k

    inside = within(path.s, corner.start_m, corner.end_m, length_m)
    if not inside.any():
        raise NoAnswerError(f"corner {corner.id} has no sample on this line")
    free = np.where(inside, _FREE, 1.0)
    v = solve_speed_profile(path, car, share=Share(lateral=free, drive=free)).v
    rows, w = path_rows(path, car), v * v
    ask = np.abs(rows[:, k.ASK0] + rows[:, k.ASK1] * w)
    side = np.maximum(rows[:, k.SIDE0] + rows[:, k.SIDE1] * w, 1e-9)
    drive = np.maximum(rows[:, k.DRIVE0] + rows[:, k.DRIVE1] * w, 1e-9)
    rise = (np.roll(w, -1) - w) / (2 * np.maximum(path.step, 1e-9))
    push = rise + rows[:, k.RESIST0] + rows[:, k.RESIST1] * w
    powered = inside & (push > -_BRAKING)
    if not powered.any():
        powered = inside
    ahead = np.maximum(push, 0.0) / drive
    use = (ahead**car.exponent + (ask / side) ** car.exponent) ** (1 / car.exponent)
    worst = int(np.argmax(np.where(powered, use, -1.0)))
    return float(1 / max(use[worst], 1e-9) - 1), float(v[worst])


def _downforce_for_flat(
    path: Path, car: Car, corner: Corner, length_m: float, margin: float
) -> float | None:
    """Multiple of the downforce at which the margin is 0, by halving."""
    if car.lateral.per_v2 <= 0:
        return None
    low, high = (0.0, 1.0) if margin >= 0 else (1.0, _MOST_DOWNFORCE)

    def margin_at(factor: float) -> float:
        return _margin(path, car.scaled(downforce=factor), corner, length_m)[0]

    if margin >= 0 and margin_at(0.0) >= 0:
        return 0.0
    if margin < 0 and margin_at(high) < 0:
        return None
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (low, middle) if margin_at(middle) >= 0 else (middle, high)
    return high


@dataclass(frozen=True, slots=True)
class LoadShare:
    """Greatest and least load through a corner by the road's shape, as shares of the weight."""

    corner: str
    max_share: float
    min_share: float


def load_along(path: Path, car: Car, v: Array) -> Array:
    """Work out the load gained (+) or lost (−) along a path, as a share of the weight."""
    from lapwright.physics.load import load_share

    return np.asarray(load_share(v, path.slope, path.cross, path.bend, car.gravity))


def find_loads(
    path: Path, car: Car, v: Array, corners: Sequence[Corner], length_m: float
) -> list[LoadShare]:
    """Find the greatest and least load of each corner."""
    load = load_along(path, car, v)
    out = []
    for corner in corners:
        inside = within(path.s, corner.start_m, corner.end_m, length_m)
        part = load[inside] if inside.any() else np.zeros(1)
        out.append(LoadShare(corner.id, float(part.max()), float(part.min())))
    return out
