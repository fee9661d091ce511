"""The ledger of a guide: every lap held against the driver's best and against the possible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lapwright.driving.habits import find_habits
from lapwright.driving.ledger import find_ledger
from lapwright.driving.ledger_line import add_line_costs
from lapwright.driving.ledger_records import FASTEST, ON_LINE, OWN_BEST, Ledger
from lapwright.driving.ledger_traces import LedgerTrace, build_computed_trace
from lapwright.driving.redrive_pass import Motor
from lapwright.driving.work_order import add_up_bests, find_best_passes, find_work, rank_corners
from lapwright.errors import LapwrightError
from lapwright.guide.document import Findings
from lapwright.model.car import Car
from lapwright.model.circuit import Circuit
from lapwright.model.fit_car import CarFit
from lapwright.model.lap import Lap
from lapwright.possible.own_lines import ComputedLap, solve_line_again, solve_own_lines
from lapwright.workflow.session import Progress, quiet


def add_accounts(findings: Findings, progress: Progress = quiet) -> Findings:
    """Account for every lap, and find habits, ranks and the order of work."""
    what = findings.possible
    car = what.car if what is not None and what.fastest is not None else None
    circuit, laps, passes = findings.circuit, findings.laps, findings.passes
    own = trace_own_lines(circuit, laps, car, None if what is None else what.fit)
    ledger = find_ledger(
        circuit, laps, passes, motor=take_motor(car), report=progress,
        computed={ON_LINE: own} if own else {},
    )  # fmt: skip
    if car is not None and own:
        ledger = _add_fastest(findings, ledger, car)
    # against the fastest line the same habits come again, beside the line itself
    habits = find_habits([a for a in ledger.accounts if a.against != FASTEST])
    kinds = [a.against for a in ledger.accounts]
    against = OWN_BEST if OWN_BEST in kinds else ON_LINE
    best = find_best_passes(ledger)
    return replace(
        findings, ledger=ledger, habits=habits,
        ranks=rank_corners(ledger, findings.summaries, against),
        work=find_work(passes, ledger, habits, best, circuit.length_m, against),
        best_passes=best, own_best_corners_s=add_up_bests(ledger, best),
    )  # fmt: skip


def take_motor(car: Car | None) -> Motor | None:
    """Take from a car how a lack of speed fades."""
    return None if car is None else Motor(car.power_per_mass, car.drag_per_mass)


def trace_own_lines(
    circuit: Circuit, laps: Sequence[Lap], car: Car | None, fit: CarFit | None = None
) -> dict[str, LedgerTrace]:
    """Trace what the car could do on each lap's own line, by lap; nothing without a car.

    With a fit each lap's conditions are taken out.
    """
    if car is None:
        return {}
    own = solve_own_lines(circuit, laps, car, fit)
    return {lap: _trace(circuit, f"line:{lap}", x, car) for lap, x in own.items()}


def _add_fastest(findings: Findings, ledger: Ledger, car: Car) -> Ledger:
    what = findings.possible
    if what is None or what.fastest is None:
        return ledger
    try:
        best = solve_line_again(findings.circuit, what.fastest, car)
    except LapwrightError:
        return ledger
    on_line = [a for a in ledger.accounts if a.against == ON_LINE]
    step = findings.circuit.length_m / max(ledger.places.size - 1, 1)
    # a line against a line: both of one car in the same conditions
    own = trace_own_lines(findings.circuit, findings.laps, car)
    trace = _trace(findings.circuit, "fastest", best, car)
    more = add_line_costs(on_line, ledger.stretches, own, trace, step, FASTEST)
    return replace(ledger, accounts=(*ledger.accounts, *more))


def _trace(circuit: Circuit, name: str, one: ComputedLap, car: Car) -> LedgerTrace:
    return build_computed_trace(
        name, circuit, s=one.s, speed=one.speed, time=one.time, offset=one.offset,
        curvature=one.curvature, car=car,
    )  # fmt: skip
