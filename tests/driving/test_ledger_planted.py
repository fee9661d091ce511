"""Single faults of known size in simulated laps: does the ledger name them, and their cost?

Circuit, car, driver and faults are the demo's, all invented. The true cost is the lap less the
same lap, with the same noise, without the fault. A larger sample is in the benchmarks.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lapwright.demo import Fault, make_session
from lapwright.driving.ledger import find_ledger
from lapwright.driving.work_order import add_up_bests, find_best_passes

FAULTS = (
    ("early_braking", 1, 11.0), ("early_braking", 6, 12.0), ("soft_braking", 3, 0.2),
    ("slow_release", 8, 0.6), ("slow_release", 1, 0.7), ("coasting", 8, 0.7),
    ("slow_minimum", 5, 1.6), ("line", 7, 1.2), ("late_throttle", 3, 6.0),
    ("stepped_throttle", 11, 0.7), ("throttle_dip", 3, 0.6), ("correction", 8, 8.0),
    ("fast_release", 11, 0.38), ("early_braking", 5, 12.0),
)  # fmt: skip
CLEAN = 6


@pytest.fixture(scope="module")
def planted(simulated: Any) -> Any:
    faults = [Fault(c, k, i + 1, size) for i, (c, k, size) in enumerate(FAULTS)]  # type: ignore[arg-type]
    session = make_session("coach", len(FAULTS) + CLEAN, 31, faults=faults)
    found = simulated.analyse(session)
    ledger = find_ledger(found.driven.circuit, found.driven.laps, found.passes)
    number = {lap.id: lap.number for lap in found.driven.laps}
    accounts = {number[a.lap]: a for a in ledger.accounts}
    return session, found, accounts


def test_rows_and_straights_add_up_to_the_difference(planted: Any) -> None:
    _, found, accounts = planted
    assert len(accounts) == len(found.laps) >= len(FAULTS) + CLEAN - 1
    for one in accounts.values():
        assert sum(r.cost_s for r in one.rows) + one.straight_s == pytest.approx(
            one.difference_s, abs=1e-6
        )
        assert one.lost_s[-1] == pytest.approx(one.difference_s, abs=1e-6)


def test_what_the_model_cannot_explain_is_small(planted: Any) -> None:
    _, _, accounts = planted
    fine = []
    for one in accounts.values():
        for corner in {r.corner for r in one.rows}:
            rows = [r for r in one.rows if r.corner == corner]
            left = sum(abs(r.cost_s) for r in rows if r.cause == "unexplained")
            fine.append(left <= max(0.02, 0.15 * abs(sum(r.cost_s for r in rows))))
    assert np.mean(fine) >= 0.9


def test_the_right_cause_is_the_largest_row_of_its_corner(planted: Any) -> None:
    session, _, accounts = planted
    named, near, inside = [], [], []
    for cost in session.truth.fault_costs:
        fault = cost.fault
        rows = [
            r for r in accounts[fault.lap].rows
            if r.corner == str(fault.corner) and r.cause != "unexplained"
        ]  # fmt: skip
        largest = max(rows, key=lambda r: r.cost_s)
        named.append(largest.cause == fault.cause)
        own = next((r for r in rows if r.cause == fault.cause), None)
        near.append(
            own is not None and abs(own.cost_s - cost.total_s) <= max(0.02, 0.2 * cost.total_s)
        )
        inside.append(own is not None and own.low_s <= cost.total_s <= own.high_s)
    assert np.mean(named) >= 0.85
    assert np.mean(near) >= 0.6  # the benchmark's 0.64 on 393 faults; 0.85 is wanted
    assert np.mean(inside) >= 0.75  # 0.89 there


def test_laps_without_a_fault_are_not_accused(planted: Any) -> None:
    _, _, accounts = planted
    rows = [r for lap, a in accounts.items() if lap > len(FAULTS) for r in a.rows]
    corners = sum(len({r.corner for r in a.rows}) for k, a in accounts.items() if k > len(FAULTS))
    false = [r for r in rows if r.significant]
    # at most 3 in 100 wanted; of so few corners chance may make a few more
    assert len(false) <= 0.03 * corners + 3


def test_a_mirrored_circuit_has_the_same_account(simulated: Any, planted: Any) -> None:
    session, _, _ = planted
    short = simulated.shorten(session, 5)
    pair = []
    for mirrored in (False, True):
        found = simulated.analyse(short, mirrored=mirrored)
        ledger = find_ledger(found.driven.circuit, found.driven.laps, found.passes)
        pair.append({a.lap: a for a in ledger.accounts})
    for lap, one in pair[0].items():
        other = {(r.corner, r.cause): r.cost_s for r in pair[1][lap].rows}
        for row in one.rows:
            assert other.get((row.corner, row.cause), 0.0) == pytest.approx(row.cost_s, abs=0.005)


def test_best_corners_added_up_are_no_slower_than_the_best_lap(planted: Any) -> None:
    _, found, _ = planted
    circuit, laps = found.driven.circuit, found.driven.laps
    ledger = find_ledger(circuit, laps, found.passes)
    total = add_up_bests(ledger, find_best_passes(ledger))
    times = sorted(lap.time_s for lap in found.laps)
    assert total is not None
    assert times[0] - 1.0 < total < times[0] + 0.001
