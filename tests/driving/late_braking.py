"""Corners that simulated drivers brake for late on purpose: what came of it in the simulator.

Only the way to the corner is driven. How late the brake really began is read from the pedal:
a driver who brakes on a view or an alignment moves it by more than he is told to.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import Fault, Session, make_session
from lapwright.demo import lap as lp
from lapwright.demo import layout as ly
from lapwright.demo import road as rd
from lapwright.demo.drivers import Day

Array = NDArray[np.float64]

#: Corners of the demo that every driver brakes for on a straight.
CORNERS = (1, 3, 5, 10, 11)
#: Nobody brakes for a corner sooner than this before his usual place, m.
BEFORE_M = 30.0
#: Where a session's out lap begins, and for how long a stranded car is watched, m and s.
PIT_EXIT_M = 60.0
WATCHED_S = 200.0


@dataclass(frozen=True)
class Late:
    """A corner braked for late: by how much after the usual place, and what came of it.

    ``edge_mps`` is the speed at which the car's middle crossed the outer edge; None where it
    did not.
    """

    corner: int
    late_m: float
    edge_mps: float | None


@lru_cache(maxsize=12)
def session_of(driver: str, laps: int, seed: int) -> Session:
    return make_session(driver, laps, seed, costs=False)


@lru_cache(maxsize=12)
def drive_late(driver: str, laps: int, seed: int, told_m: tuple[float, ...]) -> tuple[Late, ...]:
    """Drive the first lap of a session up to each corner, and brake for that one late."""
    session = session_of(driver, laps, seed)
    to = lp.Setting(session.circuit, session.car, session.driver, seed, session.truth.anchors)
    start = _end_out_lap(to, seed)
    return tuple(
        late
        for corner in CORNERS
        for told in told_m
        if (late := _drive_one(session, to, seed, start, corner, told)) is not None
    )


def _pace(circuit: rd.Circuit, share: float) -> tuple[float, Array]:
    return share, np.full(circuit.grid.shape[0] - 1, 99.0)


def _end_out_lap(to: lp.Setting, seed: int) -> Array:
    out, now = replace(to, anchors={}), lp.conditions(Day(), 0, seed)
    length = to.circuit.length_m
    state = lp.drive_lap(out, 0, now, (), _pace(to.circuit, 0.88), PIT_EXIT_M, length).end_state
    state[ly.S] -= length
    return state


def _drive_one(
    session: Session, to: lp.Setting, seed: int, start: Array, corner: int, told_m: float
) -> Late | None:
    """None where the driver does not brake for this corner."""
    timed = {lap.number for lap in session.truth.laps if lap.kind == "timed"}
    own = [t for t in session.truth.corners if t.corner == corner and t.lap in timed]
    usual = [t.brake_start_m for t in own if t.braked]
    if not usual:
        return None
    bend = session.circuit.bends[corner - 1]
    habits = tuple(Fault(h.cause, h.corner, 1, h.size) for h in session.driver.habits)
    faults = (*habits, Fault("late_braking", corner, 1, told_m))
    now, pace = lp.conditions(Day(), 1, seed), _pace(session.circuit, 1.0)
    try:
        rows = lp.drive_lap(to, 1, now, faults, pace, start.copy(), bend.end_m + 80.0).rows
    except RuntimeError:  # it got stuck beyond the road, after crossing the edge
        rows = lp._scratch()[: round(WATCHED_S / lp.STEP_S)].copy()
    today = float(np.median(usual))
    braked = (rows[:, ly.O_S] > today - BEFORE_M) & (rows[:, ly.O_BRK] > 0.01)
    place = float(rows[np.flatnonzero(braked)[0], ly.O_S])
    return Late(corner, place - today, _speed_at_edge(session.circuit, bend, rows))


def _speed_at_edge(circuit: rd.Circuit, bend: rd.Bend, rows: Array) -> float | None:
    s, n = rows[:, ly.O_S], rows[:, ly.O_N]
    near = (s > bend.start_m - 100.0) & (s < bend.end_m + 70.0)
    column, sign = (rd.GRIGHT, -1.0) if bend.angle > 0 else (rd.GLEFT, 1.0)
    out = near & (sign * n > np.interp(s % circuit.length_m, circuit.s, circuit.grid[:, column]))
    if not out.any():
        return None
    first = int(np.flatnonzero(out)[0])
    return float(np.hypot(rows[first, ly.O_VX], rows[first, ly.O_VY]))
