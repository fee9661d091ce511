"""A session: out lap, timed laps, in lap; its log and its truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import lap as lp
from lapwright.demo import road as rd
from lapwright.demo import writing
from lapwright.demo.car import Car, club_car
from lapwright.demo.drive import anchors_of, drive_session, faults_by_lap
from lapwright.demo.drivers import DRIVERS, Day, Driver, Fault, Habit
from lapwright.demo.known import Truth, gather_truth, start_line
from lapwright.demo.sensors import Channel, Sensors, measure

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Log:
    """What the logger wrote: column name to (unit, times, values), and its preamble."""

    channels: dict[str, Channel]
    preamble: dict[str, str]
    rate_hz: float


@dataclass(frozen=True, slots=True)
class Survey:
    """Centre line and widths of the circuit at equal steps, each (n,)."""

    s: Array
    x: Array
    y: Array
    z: Array
    width_right: Array
    width_left: Array


@dataclass(frozen=True, slots=True)
class Session:
    """A simulated session."""

    log: Log
    survey: Survey
    landmarks: tuple[rd.Landmark, ...]
    spans: tuple[rd.Span, ...]
    start_line: tuple[tuple[float, float], tuple[float, float]]
    truth: Truth
    driver: Driver
    circuit: rd.Circuit
    car: Car
    rows: Array

    def write(self, directory: str | Path, style: writing.Style | None = None) -> writing.Paths:
        """Write the log as CSV or Parquet, the circuit as CSV; return their paths."""
        return writing.write_session(self, Path(directory), style or writing.Style())

    def write_log(self, directory: str | Path, style: writing.Style | None = None) -> Path:
        """Write the log alone; return its path."""
        return writing.write_driven(self, Path(directory), style or writing.Style())


def survey_of(circuit: rd.Circuit, every_m: int = 3) -> Survey:
    """Survey the circuit at about ``every_m``."""
    n = circuit.grid.shape[0] - 1
    rows = np.linspace(0, n, n // every_m, endpoint=False).astype(int)
    grid = circuit.grid[rows]
    return Survey(
        rows * circuit.step_m, grid[:, rd.GX], grid[:, rd.GY], grid[:, rd.GZ],
        grid[:, rd.GRIGHT], grid[:, rd.GLEFT],
    )  # fmt: skip


def make_session(
    driver: str | Driver = "coach",
    laps: int = 12,
    seed: int = 1,
    *,
    faults: Sequence[Fault] = (),
    habits: Sequence[Habit] = (),
    sensors: Sensors | None = None,
    day: Day | None = None,
    circuit: rd.Circuit | None = None,
    car: Car | None = None,
    costs: bool = True,
) -> Session:
    """Drive a session: an out lap, ``laps`` timed laps and an in lap.

    Parameters
    ----------
    driver
        A name of `DRIVERS` or a driver.
    laps, seed
        Number of timed laps; the same seed gives the same bytes.
    faults, habits
        What goes wrong, at which corner and lap, or on every lap.
    sensors, day
        What the logger measures; the conditions.
    costs
        Work out what each fault cost, by driving its lap again without it.

    Raises
    ------
    ValueError
        For an unknown driver, cause, corner or lap.
    """
    if isinstance(driver, str):
        if driver not in DRIVERS:
            raise ValueError(f"driver: {driver!r} is none of {', '.join(DRIVERS)}")
        driver = DRIVERS[driver]
    circuit, day, sensors = circuit or rd.quillbeck(), day or Day(), sensors or Sensors()
    anchors = anchors_of(driver, day, circuit, car)
    car = car or club_car()
    to = lp.Setting(circuit, car, driver, seed, anchors)
    plan = faults_by_lap(driver, faults, habits, laps)
    rows, driven, found = drive_session(to, day, laps, plan, costs)
    log = Log(
        measure(rows, car, sensors, seed), writing.preamble(driver, circuit, day), sensors.rate_hz
    )
    return Session(
        log, survey_of(circuit), circuit.landmarks, circuit.spans, start_line(circuit),
        gather_truth(to, rows, driven, found), driver, circuit, car, rows,
    )  # fmt: skip
