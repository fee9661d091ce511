"""The ledger of a guide: every lap held against the driver's best and against the possible."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from lapwright.driving.habits import find_habits
from lapwright.driving.ledger import Ledger, find_ledger
from lapwright.driving.ledger_line import add_line_costs
from lapwright.driving.ledger_traces import LedgerTrace, build_computed_trace
from lapwright.driving.redrive_pass import Motor
from lapwright.driving.work_order import add_up_bests, find_best_passes, find_work, rank_corners
from lapwright.errors import LapwrightError
from lapwright.guide.document import Findings
from lapwright.model.car import Car
from lapwright.possible.own_lines import ComputedLap, solve_line_again, solve_own_lines
from lapwright.workflow.session import Progress, quiet

FASTEST: Final = "possible_on_fastest_line"
ON_LINE: Final = "possible_on_line"


def add_accounts(findings: Findings, progress: Progress = quiet) -> Findings:
    """Account for every lap, and find habits, ranks and the order of work."""
    what = findings.possible
    car = what.car if what is not None and what.fastest is not None else None
    own = _own_lines(findings, car) if car is not None else {}
    motor = Motor(car.power_per_mass, car.drag_per_mass) if car is not None else None
    circuit, laps, passes = findings.circuit, findings.laps, findings.passes
    ledger = find_ledger(
        circuit, laps, passes, motor=motor, computed={ON_LINE: own} if own else {}, report=progress
    )
    if car is not None and own:
        ledger = _add_fastest(findings, ledger, own, car)
    # against the fastest line the same habits come again, beside the line itself
    habits = find_habits([a for a in ledger.accounts if a.against != FASTEST])
    kinds = [a.against for a in ledger.accounts]
    against = "own_best" if "own_best" in kinds else ON_LINE
    best = find_best_passes(circuit, laps, ledger)
    return replace(
        findings, ledger=ledger, habits=habits,
        ranks=rank_corners(ledger, findings.summaries, against),
        work=find_work(circuit, laps, passes, ledger, habits, against),
        best_passes=best, own_best_corners_s=add_up_bests(circuit, laps, ledger, best),
    )  # fmt: skip


def _own_lines(findings: Findings, car: Car) -> dict[str, LedgerTrace]:
    own = solve_own_lines(findings.circuit, findings.laps, car)
    return {lap: _trace(findings, f"line:{lap}", x, car) for lap, x in own.items()}


def _add_fastest(
    findings: Findings, ledger: Ledger, own: dict[str, LedgerTrace], car: Car
) -> Ledger:
    what = findings.possible
    if what is None or what.fastest is None:
        return ledger
    try:
        best = solve_line_again(findings.circuit, what.fastest, car)
    except LapwrightError:
        return ledger
    on_line = [a for a in ledger.accounts if a.against == ON_LINE]
    step = findings.circuit.length_m / max(ledger.places.size - 1, 1)
    more = add_line_costs(
        on_line, ledger.stretches, own, _trace(findings, "fastest", best, car), step, FASTEST
    )
    return replace(ledger, accounts=(*ledger.accounts, *more))


def _trace(findings: Findings, name: str, one: ComputedLap, car: Car) -> LedgerTrace:
    return build_computed_trace(
        name, findings.circuit, s=one.s, speed=one.speed, time=one.time, offset=one.offset,
        curvature=one.curvature, car=car,
    )  # fmt: skip
