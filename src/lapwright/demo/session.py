"""A session: out lap, timed laps, in lap; its log and its truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import lap as lp
from lapwright.demo import layout as ly
from lapwright.demo import road as rd
from lapwright.demo import sight, writing
from lapwright.demo.car import Car, club_car
from lapwright.demo.drivers import DRIVERS, Action, Day, Driver, Fault, Habit, Reference
from lapwright.demo.plan import BITE
from lapwright.demo.sensors import Channel, Sensors, measure, true_middle
from lapwright.demo.truth import (
    PAST_M,
    CornerTruth,
    FaultCost,
    corner_truths,
    segment_times,
    split_costs,
)

Array = NDArray[np.float64]
PIT_EXIT_M = 60.0
PIT_ENTRY_M = 160.0


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
class LapTruth:
    """One lap: when it began and ended, what it was, its conditions."""

    number: int
    kind: str
    start_s: float
    end_s: float
    conditions: lp.Conditions
    faults: tuple[Fault, ...]
    off_road: bool

    @property
    def time_s(self) -> float:
        """Lap time in s (of an out or in lap: its part)."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Truth:
    """The motion without noise at 1 kHz (middle of the wheelbase for x, y) and all that is known.

    ``s`` and ``n`` are m along and to the left of the centre line, ``heading`` is the
    car's and ``course`` its path's direction, ``ax`` and ``ay`` are accelerations along and
    across the car, ``steering`` is the hand wheel. ``references`` tells what an action is
    taken on; ``anchors`` holds the same as numbers: kind, a, b, c, d and the lead in s,
    where a place, a view or an alignment comes at s = a + b n + c n².
    """

    t: Array
    x: Array
    y: Array
    z: Array
    s: Array
    n: Array
    v: Array
    heading: Array
    course: Array
    yaw_rate: Array
    ax: Array
    ay: Array
    throttle: Array
    brake: Array
    steering: Array
    gear: Array
    lap_of: NDArray[np.int64]
    laps: tuple[LapTruth, ...]
    corners: tuple[CornerTruth, ...]
    fault_costs: tuple[FaultCost, ...]
    references: dict[tuple[int, str], Reference]
    anchors: dict[tuple[int, str], Array]
    crossings_s: Array

    @property
    def lap_times(self) -> Array:
        """Times of the timed laps in s, in order."""
        return np.array([lap.time_s for lap in self.laps if lap.kind == "timed"])


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
        """Write the log, the survey and the landmarks as CSV; return their paths."""
        return writing.write_session(self, Path(directory), style or writing.Style())


def survey_of(circuit: rd.Circuit, every_m: int = 3) -> Survey:
    """Survey the circuit at about ``every_m``."""
    n = circuit.grid.shape[0] - 1
    rows = np.linspace(0, n, n // every_m, endpoint=False).astype(int)
    grid = circuit.grid[rows]
    return Survey(
        rows * circuit.step_m, grid[:, rd.GX], grid[:, rd.GY], grid[:, rd.GZ],
        grid[:, rd.GRIGHT], grid[:, rd.GLEFT],
    )  # fmt: skip


def _pace(circuit: rd.Circuit, kind: str) -> tuple[float, Array]:
    """Factor on the driver's share of grip and cap on speed for a kind of lap."""
    cap = np.full(circuit.grid.shape[0] - 1, 99.0)
    if kind == "in":
        to_go = circuit.length_m - PIT_ENTRY_M - circuit.s[:-1]
        cap = np.minimum(cap, np.sqrt(18.0**2 + 2 * 4.0 * np.clip(to_go, 0, None)))
        cap[:500] = 99.0
        return 0.82, cap
    return (0.88 if kind == "out" else 1.0), cap


def _conditions_fixed(day: Day) -> lp.Conditions:
    return lp.Conditions(day.grip, day.extra_kg, day.wind_x, day.wind_y, day.density)


def _drive_calm(driver: Driver, day: Day, circuit: rd.Circuit, car: Car) -> lp.LapRun:
    """Drive a flying lap without noise: where actions come when nothing disturbs."""
    to = lp.Setting(circuit, car, lp.steady(driver), 0, {})
    now, pace = _conditions_fixed(day), _pace(circuit, "timed")
    first = lp.drive_lap(to, 0, now, (), pace, PIT_EXIT_M, circuit.length_m)
    state = first.end_state
    state[ly.S] -= circuit.length_m
    return lp.drive_lap(to, 0, now, (), pace, state, circuit.length_m)


@lru_cache(maxsize=8)
def _usual_calm_lap(driver: Driver, day: Day) -> lp.LapRun:
    return _drive_calm(driver, day, rd.quillbeck(), club_car())


def _anchors(
    driver: Driver, day: Day, circuit: rd.Circuit, car: Car | None
) -> dict[tuple[int, Action], Array]:
    """Turn the driver's references into numbers, from a lap without noise."""
    if not driver.references:
        return {}
    calm = (
        _usual_calm_lap(lp.steady(driver), day)
        if car is None and circuit is rd.quillbeck()
        else _drive_calm(driver, day, circuit, car or club_car())
    )
    out = {}
    for corner, action, ref in driver.references:
        for i, act in enumerate(calm.acts):
            if act.corner == corner:
                event = ly.E_BRAKE if action == "brake" else ly.E_PICK
                place = calm.events[i, event, 1]
                if action == "brake":
                    place = act.brake - calm.plan.v[int(act.brake)] * BITE
                out[(corner, action)] = sight.anchor(ref, circuit, calm.rows, float(place))
    return out


def _faults_by_lap(
    driver: Driver, faults: Sequence[Fault], habits: Sequence[Habit], laps: int
) -> dict[int, tuple[Fault, ...]]:
    """Faults of each timed lap, habits included."""
    every = (*driver.habits, *habits)
    out = {}
    for lap in range(1, laps + 1):
        own = tuple(f for f in faults if f.lap == lap)
        out[lap] = own + tuple(Fault(h.cause, h.corner, lap, h.size) for h in every)
    late = [f.lap for f in faults if not 1 <= f.lap <= laps]
    if late:
        raise ValueError(f"faults: laps are 1 to {laps}, not {late[0]}")
    return out


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
    anchors = _anchors(driver, day, circuit, car)
    car = car or club_car()
    to = lp.Setting(circuit, car, driver, seed, anchors)
    plan = _faults_by_lap(driver, faults, habits, laps)
    runs, found, what = _drive_all(to, day, laps, plan, costs)
    rows = _joined(runs)
    truth = _truth(to, rows, runs, what, found, circuit, car)
    log = Log(
        measure(rows, car, sensors, seed), writing.preamble(driver, circuit, day), sensors.rate_hz
    )
    return Session(
        log,
        survey_of(circuit), circuit.landmarks, circuit.spans, _start_line(circuit),
        truth, driver, circuit, car, rows,
    )  # fmt: skip


def _start_line(circuit: rd.Circuit) -> tuple[tuple[float, float], tuple[float, float]]:
    x, y, heading = circuit.grid[0, [rd.GX, rd.GY, rd.GHEADING]]
    return (float(x), float(y)), (float(np.cos(heading)), float(np.sin(heading)))


def _drive_all(
    to: lp.Setting, day: Day, laps: int, faults: dict[int, tuple[Fault, ...]], costs: bool
) -> tuple[list[lp.LapRun], list[FaultCost], list[tuple[str, lp.Conditions, tuple[Fault, ...]]]]:
    """All laps in order, the cost of the faults, and what each lap was."""
    length = to.circuit.length_m
    runs: list[lp.LapRun] = []
    found: list[FaultCost] = []
    what = []
    state: Array | float = PIT_EXIT_M
    for lap in range(laps + 2):
        kind = "out" if lap == 0 else "in" if lap == laps + 1 else "timed"
        now = lp.conditions(day, lap, to.seed)
        mine = faults.get(lap, ())
        finish = length - PIT_ENTRY_M if kind == "in" else length
        pace = _pace(to.circuit, kind)
        on = to if kind == "timed" else replace(to, anchors={})
        run = lp.drive_lap(on, lap, now, mine, pace, state, finish)
        if mine and costs:
            found += _costs(to, lap, now, mine, pace, state, run)
        runs.append(run)
        what.append((kind, now, mine))
        state = run.end_state
        state[ly.S] -= length
    return runs, found, what


def _costs(
    to: lp.Setting, lap: int, now: lp.Conditions, mine: tuple[Fault, ...],
    pace: tuple[float, Array], state: Array | float, run: lp.LapRun,
) -> list[FaultCost]:  # fmt: skip
    """Each fault's cost, and of all together when there are several: the same lap without it."""
    circuit = to.circuit

    def without(kept: tuple[Fault, ...]) -> tuple[Array, float]:
        other = lp.drive_lap(to, lap, now, kept, pace, state, circuit.length_m)
        return segment_times(other.rows, circuit), _carried(to, lap, now, pace, other)

    def cost(fault: Fault | None, of: tuple[Fault, ...], times: Array, carried: float) -> FaultCost:
        return split_costs(fault, of, times - clean, circuit, lap, carried - clean_carried)

    clean, clean_carried = without(())
    every = segment_times(run.rows, circuit), _carried(to, lap, now, pace, run)
    if len(mine) == 1:
        return [cost(mine[0], mine, *every)]
    return [cost(f, (f,), *without((f,))) for f in mine] + [cost(None, mine, *every)]


def _carried(
    to: lp.Setting, lap: int, now: lp.Conditions, pace: tuple[float, Array], run: lp.LapRun
) -> float:
    """Seconds from the start line to the end of the first corner, on from a run's end."""
    state = run.end_state.copy()
    state[ly.S] -= to.circuit.length_m
    over = float(state[ly.S] / max(state[ly.VX], 1.0))
    on = lp.drive_lap(to, lap + 1, now, (), pace, state, to.circuit.bends[0].end_m + PAST_M)
    return over + on.seconds - _beyond(on, to.circuit.bends[0].end_m + PAST_M)


def _beyond(run: lp.LapRun, place: float) -> float:
    """Seconds by which the last row lies past a place."""
    last = run.rows[-1]
    return float((last[ly.O_S] - place) / max(last[ly.O_VX], 1.0))


def _joined(runs: list[lp.LapRun]) -> Array:
    """Rows of all laps with times and headings that run on."""
    rows = np.concatenate([run.rows for run in runs])
    first, at = 0, 0.0
    for run in runs:
        rows[first : first + len(run.rows), ly.O_T] += at
        first, at = first + len(run.rows), at + run.seconds
    rows[:, ly.O_PSI] = np.unwrap(rows[:, ly.O_PSI])
    return rows


def _crossings(t: Array, middle: Array, ends: Array, circuit: rd.Circuit) -> Array:
    """Find when the middle of the wheelbase crossed the start line, near ``ends`` (s)."""
    (x, y), (dx, dy) = _start_line(circuit)
    past = (middle[:, 0] - x) * dx + (middle[:, 1] - y) * dy
    out = []
    for end in ends:
        i = int(np.searchsorted(t, end - 0.05))
        i += int(np.flatnonzero(past[i:] >= 0)[0])
        out.append(t[i] - past[i] / (past[i] - past[i - 1]) * (t[i] - t[i - 1]))
    return np.array(out)


def _on_road(rows: Array, middle: Array, circuit: rd.Circuit) -> tuple[Array, Array]:
    """Place and offset of the middle of the wheelbase, from those of the centre of gravity."""
    grid, n_rows = circuit.grid, circuit.grid.shape[0] - 1
    at = rows[:, ly.O_S] / circuit.step_m
    for _ in range(2):
        i = np.floor(at).astype(np.int64)
        part = at - i
        i %= n_rows
        x, y, heading, curve = (
            grid[i, c] * (1 - part) + grid[i + 1, c] * part
            for c in (ly.GX, ly.GY, ly.GHEADING, ly.GCURVE)
        )
        dx, dy = middle[:, 0] - x, middle[:, 1] - y
        c, s = np.cos(heading), np.sin(heading)
        n = -dx * s + dy * c
        at = at + (dx * c + dy * s) / np.maximum(1 - n * curve, 0.2) / circuit.step_m
    return at * circuit.step_m % circuit.length_m, n


def _truth(
    to: lp.Setting, rows: Array, runs: list[lp.LapRun],
    what: list[tuple[str, lp.Conditions, tuple[Fault, ...]]], found: list[FaultCost],
    circuit: rd.Circuit, car: Car,
) -> Truth:  # fmt: skip
    """Gather what is known."""
    ends = np.cumsum([run.seconds for run in runs])
    starts = np.concatenate([[0.0], ends[:-1]])
    middle = true_middle(rows, car, (0.0, 0.0, 0.0))
    cross = _crossings(rows[:, ly.O_T], middle, ends[:-1], circuit)
    s, n = _on_road(rows, middle, circuit)
    bounds = [0.0, *cross, float(ends[-1])]
    laps, corners = [], []
    for i, (run, (kind, now, mine)) in enumerate(zip(runs, what, strict=True)):
        off = bool((run.rows[:, ly.O_OFF] >= 4).any())
        laps.append(LapTruth(i, kind, bounds[i], bounds[i + 1], now, mine, off))
        corners += corner_truths(run, i, float(starts[i]))
    lap_of = np.searchsorted(cross, rows[:, ly.O_T], side="right")
    return Truth(
        rows[:, ly.O_T], middle[:, 0], middle[:, 1], middle[:, 2], s, n,
        np.hypot(rows[:, ly.O_VX], rows[:, ly.O_VY]), rows[:, ly.O_PSI],
        rows[:, ly.O_PSI] + np.arctan2(rows[:, ly.O_VY], np.maximum(rows[:, ly.O_VX], 0.5)),
        rows[:, ly.O_R], rows[:, ly.O_AX], rows[:, ly.O_AY], rows[:, ly.O_THR], rows[:, ly.O_BRK],
        rows[:, ly.O_STEER] * car.steer_ratio, rows[:, ly.O_GEAR], lap_of, tuple(laps),
        tuple(corners), tuple(found), {(c, a): r for c, a, r in to.driver.references},
        {(c, a): row for (c, a), row in to.anchors.items()}, cross,
    )  # fmt: skip
