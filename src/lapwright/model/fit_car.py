"""Find the car from its own laps: power, drag and grip limits with intervals.

What is found is what these laps showed: a lower bound of the car.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import NoAnswerError
from lapwright.model.car import Car, Interval, Limit
from lapwright.model.circuit import Circuit
from lapwright.model.fit_drive import DriveFit, find_drag_factors, fit_drive
from lapwright.model.fit_forces import Forces, build_forces, choose_hard
from lapwright.model.fit_grip import (
    BANKED_SD,
    BENDS_SD,
    GripFit,
    find_grip_factors,
    fit_grip,
    shown_push,
)
from lapwright.model.fit_samples import Flags, Samples, build_samples
from lapwright.model.lap import Lap
from lapwright.numerics.fits import IntArray, interval_of, resample_groups

Array = NDArray[np.float64]
#: From so many laps on whole laps are drawn; of fewer, stretches of laps.
LAPS_TO_DRAW, STRETCHES = 6, 8
#: Samples near a limit that each fit to laps drawn anew takes.
MOST = 12_000
#: How much wider intervals of power and drag are where no throttle tells what was full.
BLIND_WIDER = 2.0
_NAMES = (
    "power_per_mass", "drag_per_mass", "rolling",
    "lateral.at_rest", "lateral.per_v2", "lateral.per_load",
    "brake.at_rest", "brake.per_v2", "brake.per_load",
    "drive.at_rest", "drive.per_v2", "drive.per_load", "exponent", "lateral", "brake", "drive",
)  # fmt: skip
LIMITS = ("lateral", "brake", "drive")
#: How far 90 % of fits are off for what the model leaves out (power that changes with the revs,
#: loads of single wheels, how near the limit was driven), as shares: found on simulated cars.
_MODEL_OFF = {
    "power_per_mass": 0.025, "drag_per_mass": 0.075, "lateral": 0.005, "brake": 0.021, "drive": 0.05
}  # fmt: skip
_Z90 = 1.645
#: A road banked nowhere by this, rad, is one whose banking nobody measured.
LEVEL = 0.003


@dataclass(frozen=True, slots=True)
class LapConditions:
    """One lap against the middle one: factors on grip and on drag."""

    lap: str
    grip: float
    drag: float

    def of(self, car: Car) -> Car:
        """Put a car in these conditions, with its intervals."""
        factor = {"drag_per_mass": self.drag} | dict.fromkeys(LIMITS, self.grip)
        return replace(
            car.scaled(grip=self.grip, drag=self.drag),
            intervals={
                name: (low * f, high * f)
                for name, (low, high) in car.intervals.items()
                for f in [factor.get(name.split(".")[0], 1.0)]
            },
        )


@dataclass(frozen=True, slots=True)
class CarFit:
    """What laps showed of their car.

    Parameters
    ----------
    car
        None where a part of it has no support: see ``missing``.
    drive, grip
        The parts that were found, or None.
    intervals
        90 % intervals by the names of `Car.intervals`; ``lateral``, ``brake`` and ``drive``
        are of the whole limit at the middle of the speeds that back it.
    conditions
        One for each used lap.
    missing
        What these laps do not show, in sentences.
    groups, resamples
        Laps (or stretches of laps) and fits behind the intervals.
    """

    car: Car | None
    drive: DriveFit | None
    grip: GripFit | None
    intervals: dict[str, Interval]
    conditions: tuple[LapConditions, ...]
    missing: tuple[str, ...]
    groups: int
    resamples: int

    def needed_car(self) -> Car:
        """Give the car.

        Raises
        ------
        NoAnswerError
            With what these laps do not show.
        """
        if self.car is None:
            raise NoAnswerError("No car from these laps. " + " ".join(self.missing))
        return self.car

    def on(self, lap: str, car: Car) -> Car:
        """Put a car in a lap's conditions; as it is for a lap that told of none."""
        return next((c.of(car) for c in self.conditions if c.lap == lap), car)


def fit_car(
    laps: Sequence[Lap], circuit: Circuit, *, seed: int = 0, resamples: int = 100,
    shown_by: str = "",
) -> CarFit:  # fmt: skip
    """Fit power, drag, grip limits and each lap's conditions, with intervals by bootstrap.

    Only laps that count are used. Without a throttle channel power and drag come from
    the upper envelope of forward acceleration and their intervals are wider.

    Parameters
    ----------
    resamples
        Fits to laps drawn anew; 0 leaves the intervals out.
    shown_by
        Whose laps these are, in words.

    Raises
    ------
    NoAnswerError
        When no lap can be used. A part without support is told in ``missing`` instead.
    """
    samples = build_samples(laps, circuit)
    names = [lap.id for lap in laps if lap.used and lap.track is not None]
    ones, missing = np.ones(samples.speed.size), []
    drive = grip = None
    try:
        drive = fit_drive(samples, ones)
    except NoAnswerError as error:
        missing.append(f"{error}.")
    forces = _forces(samples, drive)
    grip_factors = drag_factors = np.ones(len(names))
    if drive is not None:
        drag_factors = find_drag_factors(samples, drive, len(names))
    level = bool(np.abs(circuit.banking).max() < LEVEL)
    bends_sd = BANKED_SD if level else BENDS_SD
    try:
        grip = fit_grip(forces, np.ones(forces.speed.size), bends_sd=bends_sd)
        grip_factors = find_grip_factors(grip, forces, len(names))
        grip = fit_grip(
            _evened(forces, grip_factors), np.ones(forces.speed.size), bends_sd=bends_sd
        )
        missing += _gaps(grip)
    except NoAnswerError as error:
        missing.append(f"{error}.")
    if grip is not None and circuit.has_heights and level:
        missing.append(
            "The road's banking is not known: limits are what a road level from side to side "
            "would have asked, in the middle of the bends."
        )
    groups, count = _groups(samples, len(names))
    intervals = _intervals(samples, drive, grip, groups, count, resamples, seed)
    conditions = tuple(
        LapConditions(n, float(g), float(d))
        for n, g, d in zip(names, grip_factors, drag_factors, strict=True)
    )
    car = _build(drive, grip, forces, intervals, shown_by)
    return CarFit(car, drive, grip, intervals, conditions, tuple(missing), count, resamples)


def _forces(samples: Samples, drive: DriveFit | None) -> Forces:
    slowed = _slowed(samples, drive)
    return _forces_of(samples, drive, choose_hard(samples, slowed))


def _slowed(samples: Samples, drive: DriveFit | None) -> Array:
    return np.zeros(samples.speed.size) if drive is None else drive.resistance(samples)


def _evened(forces: Forces, factors: Array) -> Forces:
    by = factors[forces.lap]
    return replace(forces, forward=forces.forward / by, left=forces.left / by)


def _gaps(grip: GripFit) -> list[str]:
    out = []
    if "brake" not in grip.support:
        out.append("No braking limit: hardly anything was braked near one.")
    if "drive" not in grip.support:
        out.append("No drive limit was reached: the car holds at least the pushes shown.")
    if not np.isfinite(grip.exponent):
        out.append("How braking and cornering join is not shown: the smallest envelope is taken.")
    return out


def _groups(samples: Samples, laps: int) -> tuple[NDArray[np.int64], int]:
    """Group of each sample, and how many: laps, or stretches where laps are few."""
    if laps >= LAPS_TO_DRAW:
        return samples.lap, laps
    first = np.searchsorted(samples.lap, np.arange(laps))
    size = np.bincount(samples.lap, minlength=laps)
    place = np.arange(samples.lap.size) - first[samples.lap]
    return samples.lap * STRETCHES + place * STRETCHES // size[samples.lap], laps * STRETCHES


def _values(drive: DriveFit | None, grip: GripFit | None, speeds: Array) -> Array:
    """Values in the order of `_NAMES`, limits at ``speeds``; NaN for what was not found."""
    first = np.full(3, np.nan)
    if drive is not None:
        first = np.array([drive.power_in_use, drive.drag_per_mass, drive.rolling])
    if grip is None:
        return np.asarray(np.r_[first, np.full(len(_NAMES) - 3, np.nan)])
    limits = np.outer([1.0, grip.brake, grip.drive_joined], grip.lateral)
    whole = limits[:, 0] + limits[:, 1] * speeds**2
    return np.asarray(np.r_[first, limits.ravel(), grip.exponent, whole])


def _middle_speeds(grip: GripFit | None) -> Array:
    """Middle of the speeds that back each limit, of those that back cornering where none do."""
    if grip is None or "lateral" not in grip.support:
        return np.full(3, np.nan)
    backed = [grip.support.get(k, grip.support["lateral"]) for k in LIMITS]
    return np.asarray(np.mean(backed, axis=1))


def _intervals(
    samples: Samples, drive: DriveFit | None, grip: GripFit | None,
    groups: NDArray[np.int64], count: int, resamples: int, seed: int,
) -> dict[str, Interval]:  # fmt: skip
    """Draw laps anew; add what the model is off by, and what is not known of the bends."""
    hard = _thinned(choose_hard(samples, _slowed(samples, drive)))
    speeds = _middle_speeds(grip)

    def again(counts: IntArray) -> Array:
        weights = counts[groups].astype(float)
        motor = None if drive is None else fit_drive(samples, weights)
        tyres = None
        if grip is not None:
            tyres = fit_grip(_forces_of(samples, motor, hard), weights[hard], start=grip)
        return _values(motor, tyres, speeds)

    found = resample_groups(again, count, resamples=resamples, seed=seed)
    if not found.size:
        return {}
    blind = 1.0 if samples.has_throttle else BLIND_WIDER
    bends = _bends_off(samples, grip)
    out = {}
    for i, (name, value) in enumerate(zip(_NAMES, _values(drive, grip, speeds), strict=True)):
        low, high = interval_of(value, found[:, i], count)
        off = np.hypot(_MODEL_OFF.get(name, 0.0), bends if name in LIMITS else 0.0)
        half = float(np.hypot((high - low) / 2, off * value)) * (blind if i < 3 else 1.0)
        if np.isfinite(half):
            out[name] = (float(value) - half, float(value) + half)
    return out


def _bends_off(samples: Samples, grip: GripFit | None) -> float:
    """How far the middle of these bends may be off where nobody measured how they are banked."""
    if grip is None or grip.bends_sd < BANKED_SD:
        return 0.0
    return float(_Z90 * grip.bends_sd / (int(samples.bend.max()) + 1) ** 0.5)


def _thinned(chosen: Flags) -> Flags:
    """Keep about `MOST` of many: neighbours say the same, so the spread stays."""
    every = max(1, int(chosen.sum()) // MOST)
    at = np.flatnonzero(chosen)[::every]
    return np.asarray(np.isin(np.arange(chosen.size), at))


def _forces_of(samples: Samples, drive: DriveFit | None, hard: Flags) -> Forces:
    power = np.inf if drive is None else drive.power_per_mass
    return build_forces(samples, _slowed(samples, drive), power, hard)


def _build(
    drive: DriveFit | None, grip: GripFit | None, forces: Forces,
    intervals: dict[str, Interval], shown_by: str,
) -> Car | None:  # fmt: skip
    if drive is None or grip is None or not np.isfinite(grip.brake):
        return None
    pushed = grip.drive_joined if np.isfinite(grip.drive_joined) else shown_push(grip, forces)
    side, slow, push = (Limit(*(k * grip.lateral).tolist()) for k in (1.0, grip.brake, pushed))
    return Car(
        side, slow, push, grip.safe_exponent, drive.power_in_use, drive.drag_per_mass,
        drive.rolling, intervals=intervals, support=dict(grip.support), shown_by=shown_by,
    )  # fmt: skip
