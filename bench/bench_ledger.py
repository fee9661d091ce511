"""The ledger against planted truth: single faults by cause, pairs, habits, poorer logs, time.

Circuit, cars, drivers and faults are the demo's, all invented; the second car is the multi-body
model of commonroad-vehicle-models. All sessions take about three quarters of an hour;
``python bench_ledger.py single twins pairs habits second time`` runs some parts, and a number among
the words takes so many sessions.
"""

from __future__ import annotations

import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "driving"))

import planted_faults as planted
import simulated

from lapwright.demo import DRIVERS, Fault, FaultCost, Habit, Sensors, Session, make_session
from lapwright.demo import layout as ly
from lapwright.demo import road as rd
from lapwright.demo import second_car as second
from lapwright.demo.lap import LapRun
from lapwright.demo.sensors import measure
from lapwright.driving.actions import find_passes
from lapwright.driving.ledger import Account, Row, find_ledger
from lapwright.driving.ledger_account import make_account
from lapwright.driving.ledger_bases import find_usual
from lapwright.driving.ledger_entries import Comparer
from lapwright.driving.ledger_scatter import Scatter
from lapwright.driving.ledger_stretches import cut_lap
from lapwright.driving.ledger_traces import LedgerTrace, build_computed_trace, ledger_places
from lapwright.driving.passes import CornerPass
from lapwright.driving.redrive_pass import Motor
from lapwright.model.car import Car
from lapwright.model.circuit import Circuit
from lapwright.model.fit_car import fit_car
from lapwright.model.lap import Lap
from lapwright.model.recording import Channel, Recording
from lapwright.model.repair import repair_recording
from lapwright.possible.own_lines import solve_own_lines
from lapwright.workflow.session import build_session

FIRST_SEED, SESSIONS = 200, 35
#: A lap of the second car that loses so much has left the road, s.
LOST_S = 3.0
#: Every so many sessions are measured with poorer loggers as well.
POORER_EVERY = 3
LOGGERS = {
    "20 Hz": Sensors(rate_hz=20.0),
    "position noise 0.5 m": Sensors(position_sd_m=0.5),
}
CLASSES = (0.04, 0.08, 0.15, 0.3, 0.6)
CAREFUL = replace(DRIVERS["coach"], share=0.84, brake_share=0.86, references=())


@dataclass
class Tally:
    """What many sessions showed together."""

    cases: list[planted.Case] = field(default_factory=list)
    false: list[Row] = field(default_factory=list)
    clean: int = 0
    corners: list[tuple[float, float]] = field(default_factory=list)
    worst_sum_s: float = 0.0

    def add(
        self, costs: Sequence[FaultCost], laps: Sequence[Lap], accounts: Sequence[Account]
    ) -> None:
        """Take one session in."""
        self.cases += planted.pair_up(costs, laps, accounts)
        false, clean = planted.find_false(costs, laps, accounts)
        self.false += false
        self.clean += clean
        for account in accounts:
            total = sum(r.cost_s for r in account.rows) + account.straight_s
            self.worst_sum_s = max(self.worst_sum_s, abs(total - account.difference_s))
            for corner in {r.corner for r in account.rows}:
                rows = [r for r in account.rows if r.corner == corner]
                left = sum(r.cost_s for r in rows if r.cause == "unexplained")
                self.corners.append((sum(r.cost_s for r in rows), left))

    def show(self, name: str) -> None:
        """Print the table by cause and by cost, and what was claimed in vain."""
        print(f"\n{name}\n{'cause':18s}   n  right  cost  covers  significant  median error")
        by_cause = defaultdict(list)
        for case in self.cases:
            by_cause[case.cause].append(case)
        for cause in sorted(by_cause):
            _line(cause, by_cause[cause])
        _line("all", self.cases)
        for low, high in pairwise(CLASSES):
            some = [c for c in self.cases if low <= c.true_s < high]
            _line(f"{low:.2f} to {high:.2f} s", some)
        small = [abs(u) <= max(0.02, 0.15 * abs(d)) for d, u in self.corners]
        print(
            f"false claims per 100 corner-laps {100 * len(self.false) / max(self.clean, 1):.2f} "
            f"({len(self.false)} of {self.clean}); unexplained small in "
            f"{100 * np.mean(small):.1f} % of {len(small)}; worst sum {self.worst_sum_s:.1e} s"
        )
        common = Counter((r.cause, r.corner) for r in self.false).most_common(6)
        print("claimed in vain most:", ", ".join(f"{a} {b}: {n}" for (a, b), n in common))


def _line(name: str, cases: Sequence[planted.Case]) -> None:
    if not cases:
        return
    shares = [
        100 * np.mean([getattr(c, what) for c in cases])
        for what in ("named", "near", "covered", "significant")
    ]
    error = np.median([c.cost_s - c.true_s for c in cases])
    print(
        f"{name:18s} {len(cases):3d} {shares[0]:5.0f} % {shares[1]:3.0f} % {shares[2]:5.0f} % "
        f"{shares[3]:10.0f} % {error:+13.3f} s",
        flush=True,
    )


def account(circuit: Circuit, laps: Sequence[Lap], passes: Sequence[CornerPass]) -> list[Account]:
    """Hold every lap against the driver's own best."""
    accounts = find_ledger(circuit, laps, passes).accounts
    return [a for a in accounts if a.against == "own_best"]


def run_single(sessions: int) -> None:
    """Single faults: with the usual logger, poorer ones, and without pedals."""
    tallies = {name: Tally() for name in ("usual logger", *LOGGERS, "without pedals")}
    for seed in range(FIRST_SEED, FIRST_SEED + sessions):
        session = planted.drive_planted(seed)
        costs = session.truth.fault_costs
        found = simulated.analyse(session)
        laps, circuit = found.driven.laps, found.driven.circuit
        tallies["usual logger"].add(costs, laps, account(circuit, laps, found.passes))
        if seed % POORER_EVERY:
            continue
        for name, sensors in LOGGERS.items():
            poor = simulated.analyse(session, sensors)
            made = account(poor.driven.circuit, poor.driven.laps, poor.passes)
            tallies[name].add(costs, poor.driven.laps, made)
        bare = planted.without_channels(laps, ("throttle", "brake"))
        made = account(circuit, bare, find_passes(circuit, bare))
        tallies["without pedals"].add(costs, bare, made)
    for name, tally in tallies.items():
        tally.show(name)


def run_twins(sessions: int) -> None:
    """Hold a lap with a fault against the same lap without it: no scatter, only the model."""
    cases: list[planted.Case] = []
    for seed in range(FIRST_SEED, FIRST_SEED + sessions):
        session = planted.drive_planted(seed)
        clean = make_session("coach", 16, seed, costs=False)
        circuit = simulated.analyse(clean).driven.circuit
        own, bases = _true_traces(session, circuit, ""), _true_traces(clean, circuit, "clean ")
        stretches = cut_lap(circuit, [*own.values(), *bases.values()], [])
        usual = find_usual(stretches, list(bases.values()))
        step = circuit.length_m / (ledger_places(circuit).size - 1)
        compare = Comparer(stretches, step, Motor(), usual)
        for cost in session.truth.fault_costs:
            base = bases[cost.lap]
            entries = [compare.entry(own[cost.lap], [base], s) for s in stretches]
            scatter = Scatter([[e.split for e in entries]], centred=False)
            made = make_account(stretches, "twin", own[cost.lap], [base], entries, scatter)
            if cost.fault is not None and planted.LEAST_S <= cost.total_s <= planted.MOST_S:
                corner = str(cost.fault.corner)
                rows = sorted((r for r in made.rows if r.corner == corner), key=_dearest)
                cases.append(
                    planted.Case(cost.fault.cause, cost.fault.corner, cost.total_s, tuple(rows))
                )
    tally = Tally(cases)
    tally.corners.append((0.0, 0.0))
    tally.show("held against the same lap without the fault (no scatter between them)")


def _dearest(row: Row) -> float:
    return -row.cost_s


def _true_traces(session: Session, circuit: Circuit, name: str) -> dict[int, LedgerTrace]:
    """Take the simulator's own motion to the ledger's samples, lap by lap."""
    truth, places, out = session.truth, ledger_places(circuit), {}
    curvature = np.gradient(np.unwrap(truth.course), truth.t) / np.maximum(truth.v, 1.0)
    curvature = np.convolve(curvature, np.ones(60) / 60, "same")
    for lap in range(1, len(truth.crossings_s)):
        ends = truth.crossings_s[lap - 1] - 0.3, truth.crossings_s[lap] + 0.3
        cut = slice(*np.searchsorted(truth.t, ends))
        s = np.maximum.accumulate(np.unwrap(truth.s[cut], period=circuit.length_m))
        s -= round(s[0] / circuit.length_m) * circuit.length_m
        time_s = np.interp(places, s, truth.t[cut])
        columns = (
            truth.v, curvature, truth.n, truth.throttle, truth.brake, truth.gear, truth.steering,
        )  # fmt: skip
        at = [np.interp(time_s, truth.t[cut], x[cut]) for x in columns]
        out[lap] = LedgerTrace(f"{name}{lap}", time_s - time_s[0], *at)
    return out


def run_pairs(sessions: int) -> None:
    """Two faults in one lap, half a lap apart: how often both are named."""
    both, n = 0, 0
    for seed in range(FIRST_SEED, FIRST_SEED + sessions):
        session = make_session("coach", 16, seed, faults=planted.plan_pairs(seed, 16))
        found = simulated.analyse(session)
        laps = found.driven.laps
        accounts = account(found.driven.circuit, laps, found.passes)
        by_lap = defaultdict(list)
        for lap, case in planted.pair_by_lap(session.truth.fault_costs, laps, accounts):
            by_lap[lap].append(case)
        pairs = [cases for cases in by_lap.values() if len(cases) == 2]
        n += len(pairs)
        both += sum(all(c.named for c in cases) for cases in pairs)
    print(f"\ntwo faults in one lap: both named in {100 * both / max(n, 1):.0f} % of {n}")


#: Faults on every lap: cause, corner, size.
HABITS = (
    ("early_braking", 3, 9.0), ("early_braking", 5, 14.0), ("soft_braking", 3, 0.2),
    ("slow_minimum", 8, 1.6), ("slow_minimum", 11, 1.6), ("late_throttle", 3, 7.0),
    ("late_throttle", 2, 7.0), ("slow_release", 7, 0.8), ("slow_release", 1, 0.7),
    ("coasting", 2, 0.9), ("coasting", 8, 0.7), ("stepped_throttle", 11, 0.8),
    ("throttle_dip", 3, 0.7), ("throttle_dip", 11, 0.7), ("line", 7, 1.4), ("lift", 12, 0.7),
)  # fmt: skip


def run_habits() -> None:
    """Faults on every lap: against own best, and against the possible with a guide's car."""
    car = _guides_car()
    seen = hidden = 0
    for i, (cause, corner, size) in enumerate(HABITS):
        habit = Habit(cause, corner, size)  # type: ignore[arg-type]
        found = simulated.analyse(make_session("coach", 6, 40 + i, habits=(habit,), costs=False))
        accounts = _against_possible(found.driven.circuit, found.laps, found.passes, car)
        first = Counter(
            max(rows, key=lambda r: r.cost_s).cause
            for a in accounts if a.against == "possible_on_line"
            if (rows := [r for r in a.rows if r.corner == str(corner)])
        )  # fmt: skip
        own = [
            r.cost_s for a in accounts if a.against == "own_best"
            for r in a.rows if (r.corner, r.cause) == (str(corner), cause)
        ]  # fmt: skip
        best = first.most_common(1)[0] if first else ("none", 0)
        seen += best[0] == cause
        hidden += not own or abs(float(np.median(own))) < 0.03
        print(f"habit {cause} {corner}: on line {dict(first)}", flush=True)
    print(
        f"habits found against possible on line {seen} of {len(HABITS)}, "
        f"hidden against own best {hidden}"
    )


def _guides_car() -> Car:
    """Fit the car of a guide's clean laps."""
    found = simulated.analyse(make_session("coach", 8, 77, costs=False))
    car = fit_car(found.laps, found.driven.circuit, resamples=0).car
    assert car is not None
    return car


def _against_possible(
    circuit: Circuit, laps: Sequence[Lap], passes: Sequence[CornerPass], car: Car
) -> tuple[Account, ...]:
    traces = {
        lap: build_computed_trace(
            lap, circuit, s=x.s, speed=x.speed, time=x.time, offset=x.offset,
            curvature=x.curvature, car=car,
        )
        for lap, x in solve_own_lines(circuit, laps, car).items()
    }  # fmt: skip
    motor = Motor(car.power_per_mass, car.drag_per_mass)
    computed = {"possible_on_line": traces}
    return find_ledger(circuit, laps, passes, motor=motor, computed=computed).accounts


#: Faults in the second car: lap, cause, corner, size.
SECOND = (
    (2, "early_braking", 3, 12.0), (3, "slow_minimum", 2, 1.6), (4, "late_throttle", 3, 8.0),
    (6, "soft_braking", 3, 0.2), (7, "slow_release", 7, 0.8), (8, "coasting", 8, 0.8),
    (10, "stepped_throttle", 11, 0.8), (11, "throttle_dip", 11, 0.7), (12, "line", 7, 1.2),
    (14, "early_braking", 1, 12.0), (15, "slow_minimum", 8, 1.6), (16, "slow_release", 2, 0.8),
)  # fmt: skip


def run_second(sessions: int) -> None:
    """The same driver in the multi-body car."""
    tally = Tally()
    for seed in range(1, 1 + sessions):
        rows, costs = _drive_second(seed)
        base = make_session("coach", 1, 1, costs=False)
        session: Session = replace(base, rows=rows, car=second.seen_by_the_driver())
        channels = measure(rows, session.car, Sensors(), seed)
        made = {k: Channel(k, unit, t, v, k) for k, (unit, t, v) in channels.items()}
        recording = repair_recording(Recording("second.csv", "", made))
        road = simulated.survey(base)
        driven = build_session([recording], circuit=road, start=simulated.LINE)
        passes = find_passes(driven.circuit, driven.laps)
        tally.add(costs, driven.laps, account(driven.circuit, driven.laps, passes))
    tally.show("multi-body car")


def _drive_second(seed: int, laps: int = 16) -> tuple[np.ndarray, list[FaultCost]]:
    """Drive laps with single faults, and each of those again without its fault."""
    length = rd.quillbeck().length_m
    parts, costs, clock = [], [], 0.0
    at: second.Twin | float = length - 600.0
    for lap in range(laps + 2):
        mine = [
            Fault(cause, corner, lap, size)  # type: ignore[arg-type]
            for n, cause, corner, size in SECOND if n == lap
        ]  # fmt: skip
        end = 200.0 if lap == laps + 1 else None
        noise = lap  # where the driver's noise alone spins this car, he gets another
        while (clean := _drive(seed, noise, [], at, end)) is None:
            noise += 100
        run, twin = clean
        fault = _drive(seed, noise, mine, at, end) if mine else None
        lost = fault[0].seconds - run.seconds if fault else 0.0
        if fault and lost < LOST_S:
            run, twin = fault
            costs.append(FaultCost(mine[0], lap, (mine[0],), {mine[0].corner: lost}, {}, lost))
        print(f"second car: lap {lap}, {run.seconds:.2f} s, {mine} {lost:+.3f} s", flush=True)
        part = run.rows.copy()
        part[:, ly.O_T] += clock
        parts.append(part)
        clock += run.seconds
        if lap == 0:  # all laps begin alike: half a dozen on end and this model stands still
            twin.st[ly.S] -= length
            at = twin
    rows = np.concatenate(parts)
    rows[:, ly.O_PSI] = np.unwrap(rows[:, ly.O_PSI])
    return rows, costs


def _drive(
    seed: int, noise: int, mine: Sequence[Fault], at: second.Twin | float, end: float | None
) -> tuple[LapRun, second.Twin] | None:
    """Drive a lap; None when it ended in a standstill."""
    try:
        return second.drive_second_car(CAREFUL, seed, noise, mine, at, end)
    except ZeroDivisionError:
        return None


def run_time() -> None:
    """Seconds for 30 laps against own best, intervals included, and for half of them."""
    found = simulated.analyse(make_session("coach", 30, 5, costs=False))
    circuit, laps, passes = found.driven.circuit, found.laps, found.passes
    find_ledger(circuit, laps[:2], passes)  # compiles
    again = [replace(lap, id=f"{lap.id} again") for lap in laps]
    more = [replace(p, lap=f"{p.lap} again") for p in passes]
    spent = {}
    for some, own in ((laps, passes), ([*laps, *again], [*passes, *more])):
        wall, cpu = time.perf_counter(), time.process_time()
        account(circuit, some, own)
        spent[len(some)] = time.process_time() - cpu
        print(
            f"{len(some)} laps x {len(circuit.corners)} corners: "
            f"{time.perf_counter() - wall:.2f} s, processor {spent[len(some)]:.2f} s "
            "(bar 10 s for 30 x 12)",
            flush=True,
        )
    print(f"twice the laps take {spent[2 * len(laps)] / spent[len(laps)]:.2f} times as long")


def main(words: Sequence[str]) -> None:
    """Run the parts that are asked for, or all."""
    numbers = [int(w) for w in words if w.isdigit()]
    sessions = numbers[0] if numbers else SESSIONS
    parts: dict[str, Callable[[], None]] = {
        "time": run_time,
        "single": lambda: run_single(sessions),
        "twins": lambda: run_twins(min(sessions, 6)),
        "pairs": lambda: run_pairs(min(sessions, 6)),
        "habits": run_habits,
        "second": lambda: run_second(1),
    }
    chosen = [p for p in parts if p in words] or list(parts)
    for part in chosen:
        parts[part]()


if __name__ == "__main__":
    main(sys.argv[1:])
