"""All laps of a session one after the other, and what their faults cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import lap as lp
from lapwright.demo import layout as ly
from lapwright.demo import road as rd
from lapwright.demo import sight
from lapwright.demo.car import Car, club_car
from lapwright.demo.drivers import Action, Day, Driver, Fault, Habit
from lapwright.demo.plan import BITE
from lapwright.demo.truth import (
    PAST_M,
    CornerTruth,
    FaultCost,
    corner_truths,
    segment_times,
    split_costs,
)

Array = NDArray[np.float64]
Faults = tuple[Fault, ...]
PIT_EXIT_M = 60.0
PIT_ENTRY_M = 160.0
#: Rows to make room for per lap; slower laps make the session grow.
_USUAL_ROWS = 120_000
#: Rows that are turned into columns at once; more would leave the cache.
_BLOCK = 2048


@dataclass(frozen=True, slots=True)
class DrivenLap:
    """A lap in its session: what it was, the seconds it began at and took, what happened."""

    kind: str
    conditions: lp.Conditions
    faults: Faults
    start_s: float
    seconds: float
    off_road: bool
    corners: tuple[CornerTruth, ...]


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


@lru_cache(maxsize=2)
def _usual_calm_lap(driver: Driver, day: Day) -> lp.LapRun:
    return _drive_calm(driver, day, rd.quillbeck(), club_car())


def anchors_of(
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


def faults_by_lap(
    driver: Driver, faults: Sequence[Fault], habits: Sequence[Habit], laps: int
) -> dict[int, Faults]:
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


def drive_session(
    to: lp.Setting, day: Day, laps: int, faults: Mapping[int, Faults], costs: bool
) -> tuple[Array, list[DrivenLap], list[FaultCost]]:
    """Drive all laps in order: their rows with times that run on, what is known, fault costs."""
    rows, first = _room((laps + 2) * _USUAL_ROWS), 0
    driven: list[DrivenLap] = []
    found: list[FaultCost] = []
    state: Array | float = PIT_EXIT_M
    start = 0.0
    for lap in range(laps + 2):
        kind = "out" if lap == 0 else "in" if lap == laps + 1 else "timed"
        now = lp.conditions(day, lap, to.seed)
        mine = faults.get(lap, ())
        pace = _pace(to.circuit, kind)
        finish = to.circuit.length_m - (PIT_ENTRY_M if kind == "in" else 0.0)
        on = to if kind == "timed" else replace(to, anchors={})
        run = lp.drive_lap(on, lap, now, mine, pace, state, finish)
        if mine and costs:
            found += _costs(to, lap, now, mine, pace, state, run)
        off = bool((run.rows[:, ly.O_OFF] >= 4).any())
        corners = tuple(corner_truths(run, lap, start))
        driven.append(DrivenLap(kind, now, mine, start, run.seconds, off, corners))
        rows = _store(rows, first, run.rows, start)
        first += len(run.rows)
        start += run.seconds
        state = run.end_state
        state[ly.S] -= to.circuit.length_m
    return rows[:first], driven, found


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


def _room(count: int) -> Array:
    """Make room for ``count`` rows, by column in memory; pages that stay empty cost nothing."""
    return np.empty((ly.KEPT, count)).T


def _store(rows: Array, first: int, part: Array, start_s: float) -> Array:
    """Copy a lap's rows to ``first`` with times that run on; return the rows, grown if need be."""
    if first + len(part) > len(rows):
        larger = _room(2 * len(rows) + len(part))
        larger[:first] = rows[:first]
        rows = larger
    own = rows[first : first + len(part)]
    for at in range(0, len(part), _BLOCK):
        own[at : at + _BLOCK] = part[at : at + _BLOCK, : ly.KEPT]
    own[:, ly.O_T] += start_s
    return rows
