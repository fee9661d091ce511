"""Pupils with planted habits, who leave some of them off on another day.

Circuit, car, pupils and days are the demo's and drawn from a seed, all invented. What truly came
is known twice: what leaving a habit off changes in a driver without scatter, and what the second
session's laps, with their own scatter, would have taken on the first session's day.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "driving"))

import planted_faults as planted

from lapwright.demo import DRIVERS, CornerTruth, Day, Driver, Habit, Session, make_session, zones
from lapwright.demo.lap import steady
from lapwright.demo.sensors import Sensors

Array = NDArray[np.float64]
SENSORS = Sensors(delay_s=0.12, pedal_end=0.97)
LAPS = 6
#: Habits that a pupil has, of which he leaves so many off.
HABITS, LEFT_OFF = 3, 2
#: Grip of the first and of the second day, as a share of the guide's.
GRIP = ((0.97, 1.0), (0.94, 1.01))
#: What each action is in the simulator's own account of a corner.
TRUE_ACTIONS: Final[Mapping[str, Callable[[CornerTruth], float]]] = {
    "brake_start_m": lambda c: c.brake_start_m,
    "brake_end_m": lambda c: c.brake_end_m,
    "coasting_s": lambda c: float(np.fmin(c.brake_start_s, c.throttle_s) - c.off_full_s),
    "minimum_speed_mps": lambda c: c.minimum_speed,
    "throttle_first_m": lambda c: c.throttle_m,
    "full_throttle_m": lambda c: c.full_m,
    "time_to_full_throttle_s": lambda c: c.full_s - c.throttle_s,
    "off_full_throttle_s": lambda c: c.full_s - c.off_full_s,
}


@dataclass(frozen=True)
class Pupil:
    """A pupil's two sessions; ``left_off`` are the corners whose habit the second has not.

    ``grip`` is the second day's over the first's. ``changed`` holds, by corner and action, what
    leaving the habits off changes without scatter; ``corner_cost_s`` there is the time that it
    gives back. ``gained_s`` is what the laps of the second session, driven on the first
    one's day, took less than the first's up to each metre of the road, in the mean, (k,).
    """

    first: Session
    second: Session
    habits: tuple[Habit, ...]
    left_off: frozenset[str]
    grip: float
    changed: Mapping[tuple[str, str], float]
    gained_s: Array


def drive_pupil(seed: int, *, wind: bool = False) -> Pupil:
    """Drive a pupil's sessions, all drawn from a seed; ``wind`` lets the air change as well."""
    driver, told, days = draw_pupil(seed)
    if not wind:
        days = tuple(replace(d, wind_x=0.0, wind_y=0.0, temperature_c=20.0) for d in days)
    return make_pupil(driver, told, days, (1000 + 2 * seed, 1001 + 2 * seed))


def make_pupil(driver: Driver, told: Driver, days: Sequence[Day], seeds: tuple[int, int]) -> Pupil:
    """Drive a session, and another day's of the same driver as he was told."""
    first, second, level = (
        make_session(who, LAPS, seed, sensors=SENSORS, day=day, costs=False)
        for who, day, seed in zip(
            (driver, told, told), (*days, days[0]), (*seeds, seeds[1]), strict=True
        )
    )
    left = frozenset(str(h.corner) for h in driver.habits if h not in told.habits)
    return Pupil(
        first, second, driver.habits, left, days[1].grip / days[0].grip,
        find_changed(driver, told, days[0]), find_clock(first) - find_clock(level),
    )  # fmt: skip


def draw_pupil(seed: int) -> tuple[Driver, Driver, tuple[Day, ...]]:
    """Draw a pupil, the same with some habits left off, and two days."""
    rng = np.random.default_rng([seed, 77])
    usual = DRIVERS[f"pupil {rng.integers(1, 6)}"]
    habits = _draw_habits(rng)
    driver = replace(usual, share=usual.share + rng.uniform(-0.01, 0.02), habits=habits)
    first, second = (float(rng.uniform(*span)) for span in GRIP)
    days = _draw_day(rng, first), _draw_day(rng, second)
    return driver, replace(driver, habits=habits[LEFT_OFF:]), days


def _draw_day(rng: np.random.Generator, grip: float) -> Day:
    return Day(
        grip=grip, grip_spread=0.004, temperature_c=float(rng.uniform(12, 32)),
        wind_x=float(rng.normal(0, 1.5)), wind_y=float(rng.normal(0, 1.5)),
    )  # fmt: skip


def find_changed(driver: Driver, told: Driver, day: Day) -> dict[tuple[str, str], float]:
    """Find what leaving the habits off changes when nothing scatters."""
    calm = replace(day, grip_spread=0.0)
    was, now = (
        make_session(
            replace(steady(d), habits=d.habits), 1, 1, sensors=SENSORS, day=calm, costs=False
        )
        for d in (driver, told)
    )
    old, new = _lap_actions(was), _lap_actions(now)
    out = {key: value - old[key] for key, value in new.items() if key in old}
    saved = find_clock(was) - find_clock(now)
    marks = [first for _, first, _ in zones(was.circuit)]
    gains = np.diff(np.r_[np.interp(marks, np.arange(saved.size), saved), saved[-1]])
    out |= {
        (str(z[0]), "corner_cost_s"): -float(x)
        for z, x in zip(zones(was.circuit), gains, strict=True)
    }
    for one in driver.habits:
        if one.cause == "coasting" and one not in told.habits:
            # who coasts long may not brake at all: then the planted time stands for it
            out.setdefault((str(one.corner), "coasting_s"), -float(one.size or 0.0))
    return out


def _lap_actions(session: Session) -> dict[tuple[str, str], float]:
    """Actions of the only timed lap, by corner and action."""
    out: dict[tuple[str, str], float] = {}
    truth = session.truth
    for one in truth.corners:
        if one.lap != 1:
            continue
        corner = str(one.corner)
        out |= {(corner, name): read(one) for name, read in TRUE_ACTIONS.items()}
        on, off = np.searchsorted(truth.t, [one.brake_start_s, one.brake_end_s])
        if one.braked and off > on:
            slowing = -np.diff(truth.v[[on, off]]) / np.diff(truth.t[[on, off]])
            out[corner, "mean_deceleration_mps2"] = float(slowing[0])
        at = int(np.searchsorted(truth.t, one.throttle_s)) if np.isfinite(one.throttle_s) else 0
        out[corner, "gear"] = float(truth.gear[at])
    of_lap = truth.lap_of == 1
    s, n = truth.s[of_lap], truth.n[of_lap]
    for bend in session.circuit.bends:
        near = np.abs(s - bend.apex_m) < 30.0
        inside = np.max(n[near] * np.sign(bend.angle))
        out[str(bend.number), "apex_inside_m"] = -float(inside)
    return {key: value for key, value in out.items() if np.isfinite(value)}


def find_clock(session: Session) -> Array:
    """Mean seconds over the timed laps from the start line to each metre of the road, (k,)."""
    truth = session.truth
    places = np.arange(0.0, session.circuit.length_m, 1.0)
    clocks = []
    for lap in truth.laps:
        if lap.kind == "timed":
            mine = truth.lap_of == lap.number
            s, t = truth.s[mine], truth.t[mine]
            order = np.argsort(s, kind="stable")
            clock = np.interp(places, s[order], t[order]) - lap.start_s
            clocks.append(np.r_[clock, lap.time_s])
    return np.asarray(np.mean(clocks, axis=0))


def _draw_habits(rng: np.random.Generator) -> tuple[Habit, ...]:
    """Draw habits at least two corners apart, in the upper half of their sizes."""
    causes: list[Any] = [c for c in planted.PLACES if c not in ("correction", "late_braking")]
    out: list[Habit] = []
    while len(out) < HABITS:
        cause = causes[rng.integers(len(causes))]
        places = planted.PLACES[cause]
        corner, low, high = places[rng.integers(len(places))]
        if all(abs(corner - h.corner) >= 2 for h in out):
            out.append(Habit(cause, corner, float(rng.uniform((low + high) / 2, high))))
    return tuple(out)
