"""What is known of a lap by construction: actions by corner, costs of faults by corner."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import layout as ly
from lapwright.demo.drivers import Fault
from lapwright.demo.lap import LapRun
from lapwright.demo.road import Circuit

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CornerTruth:
    """True actions of one corner on one lap: times in s of the session, places in m, m/s.

    Where an action did not happen, its time and place are NaN. The pedals' true
    travel decides: the brake begins and ends at 1 %, the throttle begins at 2 %
    after the pick-up was decided, full throttle is 98 %.
    """

    lap: int
    corner: int
    braked: bool
    off_full_s: float
    off_full_m: float
    brake_start_s: float
    brake_start_m: float
    brake_end_s: float
    brake_end_m: float
    peak_brake: float
    throttle_s: float
    throttle_m: float
    full_s: float
    full_m: float
    minimum_speed: float
    minimum_speed_m: float


@dataclass(frozen=True, slots=True)
class FaultCost:
    """What a fault cost against the same lap without it.

    ``corner_s`` holds the seconds lost between the start of a corner's zone and
    its end, ``straight_s`` those on the way to the next corner's zone, both by
    corner number; ``total_s`` is their sum over the lap. Zones run from the middle
    of the straight before the corner's braking to 30 m after the corner: see `zones`.
    ``fault`` is None for all faults of the lap together. ``next_lap_s`` is what
    the speed carried over the start line costs until the first corner is over;
    it stands beside the lap's ``total_s``, not in it.
    """

    fault: Fault | None
    lap: int
    of: tuple[Fault, ...]
    corner_s: dict[int, float]
    straight_s: dict[int, float]
    total_s: float
    next_lap_s: float = 0.0


#: Metres before a bend's geometric start at which its zone begins, at most.
REACH_M = 190.0
PAST_M = 30.0


def zones(circuit: Circuit) -> list[tuple[int, float, float]]:
    """(corner, first m, last m) of every corner's zone, in order, without overlap."""
    out: list[tuple[int, float, float]] = []
    for bend in circuit.bends:
        before = out[-1][2] if out else 0.0
        out.append((bend.number, max(bend.start_m - REACH_M, before), bend.end_m + PAST_M))
        if len(out) > 1 and out[-1][1] <= before:
            # two bends close by: the border lies where the first one ends
            border = min(before, (circuit.bends[bend.number - 2].end_m + bend.start_m) / 2)
            out[-2] = (out[-2][0], out[-2][1], border)
            out[-1] = (bend.number, border, bend.end_m + PAST_M)
    return out


def segment_times(rows: Array, circuit: Circuit) -> Array:
    """Seconds at the borders start line, zone start, zone end, …, lap end: shape (2 k + 2,)."""
    marks = [x for _, first, last in zones(circuit) for x in (first, last)]
    borders = np.array([max(rows[0, ly.O_S], 0.0), *marks, circuit.length_m])
    s = rows[:, ly.O_S]
    t = np.interp(borders, np.maximum.accumulate(s), rows[:, ly.O_T])
    t[0] = rows[0, ly.O_T] - 0.001
    last = rows[-1]
    t[-1] = last[ly.O_T] - (last[ly.O_S] - circuit.length_m) / max(last[ly.O_VX], 1.0)
    return np.asarray(np.diff(t))


def split_costs(
    fault: Fault | None, of: tuple[Fault, ...], lost: Array, circuit: Circuit, lap: int,
    next_lap_s: float,
) -> FaultCost:  # fmt: skip
    """Costs by corner and straight from differences of `segment_times`."""
    numbers = [z[0] for z in zones(circuit)]
    corner = {k: float(lost[1 + 2 * i]) for i, k in enumerate(numbers)}
    straight = {k: float(lost[2 + 2 * i]) for i, k in enumerate(numbers)}
    straight[numbers[-1]] += float(lost[0])
    return FaultCost(fault, lap, of, corner, straight, float(lost.sum()), next_lap_s)


def _first(mask: NDArray[np.bool_], start: int) -> int:
    found = np.flatnonzero(mask)
    return start + int(found[0]) if found.size else -1


def corner_truths(run: LapRun, lap: int, start_s: float) -> list[CornerTruth]:
    """Find the true actions of a lap that began at ``start_s`` of the session."""
    rows = run.rows
    throttle, brake = rows[:, ly.O_THR], rows[:, ly.O_BRK]
    out = []
    lifts = [
        int(e[ly.E_LIFT, 0] * 1000) if np.isfinite(e[ly.E_LIFT, 0]) else -1 for e in run.events
    ]
    for i, act in enumerate(run.acts):
        if lifts[i] < 0:
            continue
        begin = lifts[i]
        later = [x for x in lifts[i + 1 :] if x > begin]
        stop = later[0] if later else len(rows)
        pick = run.events[i, ly.E_PICK, 0]
        pick = int(pick * 1000) if np.isfinite(pick) else stop
        off = _first(throttle[begin:stop] < 0.98, begin)
        on = _first(brake[begin:pick] > 0.01, begin)
        loose = -1
        if on >= 0:
            held = np.flatnonzero(brake[on:stop] > 0.01)
            loose = on + int(held[-1]) + 1
        first = _first(throttle[pick:stop] > 0.02, pick)
        full = _first(throttle[first:stop] >= 0.98, first) if first >= 0 else -1
        low = begin + int(np.argmin(rows[begin:stop, ly.O_VX]))

        def at(k: int) -> tuple[float, float]:
            if not 0 <= k < len(rows):
                return float("nan"), float("nan")
            return start_s + float(rows[k, ly.O_T]), float(rows[k, ly.O_S])

        out.append(
            CornerTruth(
                lap, act.corner, act.braked and on >= 0, *at(off), *at(on), *at(loose),
                float(brake[begin:stop].max()), *at(first), *at(full),
                float(np.hypot(rows[low, ly.O_VX], rows[low, ly.O_VY])), at(low)[1],
            )
        )  # fmt: skip
    return out
