"""The fastest speed along a given line: forward and backward pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import NoAnswerError, UsageError
from lapwright.model.car import Car, Limit, check_car
from lapwright.possible.path import Path

Array = NDArray[np.float64]
FASTEST_MPS = 150.0
_MOST_LAPS = 12


@dataclass(frozen=True, slots=True)
class Share:
    """Share of the car that a driver uses, numbers or arrays along the path, 1 is all."""

    lateral: float | Array = 1.0
    brake: float | Array = 1.0
    drive: float | Array = 1.0
    power: float | Array = 1.0


@dataclass(frozen=True, slots=True)
class SpeedProfile:
    """Speed along a path: arrays of shape (m,).

    Parameters
    ----------
    v
        m/s at each sample.
    t
        s from the first sample to each.
    time_s
        Of the whole path; of a closed one to the first sample again.
    acceleration
        dv/dt over the step that follows each sample, m/s²; of an open path the last
        repeats the one before.
    short_of_entry_mps
        How much slower than the asked entry speed the path must be entered; above 0 the
        car cannot slow down in time.
    """

    v: Array
    t: Array
    time_s: float
    acceleration: Array
    short_of_entry_mps: float = 0.0


def _limit_columns(limit: Limit, car: Car, load0: Array, load1: Array) -> tuple[Array, Array]:
    base = limit.at_rest + limit.per_load * (load0 - car.gravity)
    return base, limit.per_v2 + limit.per_load * load1


def path_rows(path: Path, car: Car, share: Share | None = None) -> Array:
    """Work out what each place asks and allows, linear in v²: rows for the kernels.

    Returns
    -------
    rows : (m, 11)
        Columns as in `lapwright.possible.kernels`.
    """
    from lapwright.possible import kernels as k

    share = share or Share()
    even, tilt = 1 + path.slope**2, np.sqrt(1 + path.slope**2 + path.cross**2)
    load0, load1 = car.gravity / tilt, path.bend / (even * tilt)
    rows = np.empty((path.step.size, k.COLUMNS))
    lean = path.cross / np.sqrt(even)
    rows[:, k.ASK0] = lean * load0
    rows[:, k.ASK1] = path.curvature * tilt / even**1.5 + lean * load1
    for column, limit, part in (
        (k.SIDE0, car.lateral, share.lateral),
        (k.BRAKE0, car.brake, share.brake),
        (k.DRIVE0, car.drive, share.drive),
    ):
        base, rise = _limit_columns(limit, car, load0, load1)
        rows[:, column], rows[:, column + 1] = base * part, rise * part
    rows[:, k.RESIST0] = car.rolling * load0 + car.gravity * path.slope / np.sqrt(even)
    rows[:, k.RESIST1] = car.drag_per_mass + car.rolling * load1
    rows[:, k.POWER] = min(car.power_per_mass, 1e9) * np.asarray(share.power)
    return rows


def solve_speed_profile(
    path: Path, car: Car, *, share: Share | None = None, entry_mps: float | None = None,
    exit_mps: float | None = None, cap_mps: float | Array = FASTEST_MPS,
) -> SpeedProfile:  # fmt: skip
    """Find the fastest speed along a path under the car's envelope.

    Speed squared is integrated with midpoint steps: forward under drive, power and
    resistance, backward under braking, both under the superellipse beside the lateral
    force that the path asks. Samples 1 to 3 m apart suit.

    Parameters
    ----------
    path
        A closed lap or an open stretch.
    car
        The envelope.
    share
        Share of it that is used along the path.
    entry_mps, exit_mps
        Speeds at the ends of an open stretch; None is free. The exit speed is an upper
        bound.
    cap_mps
        Highest speed anywhere, a number or (m,).

    Raises
    ------
    UsageError
        For entry or exit speeds with a closed path, or shares that are not above 0.
    NoAnswerError
        When the car cannot hold the path at any speed, or cannot climb it.
    """
    from lapwright.possible import kernels as k

    check_car(car)
    _check_ends(path, entry_mps, exit_mps)
    rows = path_rows(path, car, share)
    if not (np.isfinite(rows).all() and (rows[:, k.POWER] > 0).all()):
        raise UsageError("share: needed: finite numbers above 0")
    n = path.step.size
    cap = np.broadcast_to(np.asarray(cap_mps, float), (n,))
    w = k.highest_all(rows, cap**2)
    if path.closed:
        _pass_closed(rows, path.step, w, car.exponent)
        short = 0.0
    else:
        short = _pass_open(rows, path.step, w, car.exponent, entry_mps, exit_mps)
    return _profile(path, w, short)


def _check_ends(path: Path, entry_mps: float | None, exit_mps: float | None) -> None:
    for name, value in (("entry_mps", entry_mps), ("exit_mps", exit_mps)):
        if value is not None and path.closed:
            raise UsageError(f"{name}: a closed path has no ends; needed: None")
        if value is not None and not (np.isfinite(value) and value >= 0):
            raise UsageError(f"{name}: {value}; needed: a speed of 0 m/s or more")


def _middles(rows: Array) -> Array:
    return np.asarray((rows + np.roll(rows, -1, axis=0)) / 2)


def _pass_closed(rows: Array, step: Array, w: Array, exponent: float) -> None:
    """Run both passes around until nothing changes, in place."""
    from lapwright.possible import kernels as k

    mid, first = _middles(rows), int(np.argmin(w))
    for one_pass in (k.forward_pass, k.backward_pass):
        for _ in range(_MOST_LAPS):
            if one_pass(mid, step, w, exponent, first, w.size) < 1e-9:
                break


def _pass_open(
    rows: Array, step: Array, w: Array, exponent: float, entry: float | None, leave: float | None
) -> float:
    """Run both passes over an open stretch in place; return what is missing at the entry."""
    from lapwright.possible import kernels as k

    mid = _middles(rows)
    if entry is not None:
        w[0] = min(w[0], entry**2)
    if leave is not None:
        w[-1] = min(w[-1], leave**2)
    k.forward_pass(mid, step, w, exponent, 0, w.size - 1)
    k.backward_pass(mid, step, w, exponent, w.size - 1, w.size - 1)
    return 0.0 if entry is None else max(entry - float(np.sqrt(w[0])), 0.0)


def _profile(path: Path, w: Array, short: float) -> SpeedProfile:
    v = np.sqrt(w)
    after = np.roll(v, -1)
    pairs = v + after
    moving = pairs > 0 if path.closed else np.r_[pairs[:-1] > 0, True]
    if not moving.all():
        at = path.s[int(np.argmin(moving))]
        raise NoAnswerError(f"the car cannot hold the line or climb the road at {at:.0f} m")
    passing = np.divide(2 * path.step, pairs, out=np.zeros_like(v), where=path.step > 0)
    rise = np.roll(w, -1) - w
    acceleration = np.divide(rise, 2 * path.step, out=np.zeros_like(v), where=path.step > 0)
    if not path.closed:
        acceleration[-1] = acceleration[-2]
    t = np.r_[0.0, np.cumsum(passing)]
    return SpeedProfile(v, t[:-1], float(t[-1]), acceleration, short)
