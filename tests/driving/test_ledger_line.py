"""Laps against the fastest line: invented accounts and clocks that add up by hand."""

from __future__ import annotations

import numpy as np
import pytest

from lapwright.driving.ledger import Account, Row
from lapwright.driving.ledger_line import add_line_costs
from lapwright.driving.ledger_stretches import Stretch
from lapwright.driving.ledger_traces import LedgerTrace
from lapwright.model.circuit import Corner


def trace(name: str, time: np.ndarray) -> LedgerTrace:
    zero = np.zeros(time.size)
    return LedgerTrace(name, time, zero + 20.0, zero, zero)


def stretch(corner: str, first: int, last: int) -> Stretch:
    return Stretch(
        Corner(corner, "", "left", float(first), float(first + 10), float(last)),
        first, last, {"1": first + 10}, 10.0,
    )  # fmt: skip


def test_the_line_costs_what_it_costs_the_car_and_all_adds_up() -> None:
    places = np.arange(101.0)
    fastest = trace("fastest", places / 20.0)
    # the own line loses 0.3 s in the first corner, 0.1 s on the straight, 0.02 s in the second
    own = trace(
        "line:1", fastest.time + np.interp(places, [10, 40, 50, 60, 90], [0, 0.3, 0.3, 0.4, 0.42])
    )
    rows = (Row("1", "early_braking", 0.2, 0.15, 0.25, True, 12.0, 20.0),)
    lost = np.interp(places, [10, 40], [0.0, 0.2])
    before = Account("1", "possible_on_line", 0.25, 0.05, rows, lost)
    (one,) = add_line_costs(
        [before], [stretch("1", 10, 50), stretch("2", 60, 100)], {"1": own}, fastest, 1.0, "fast"
    )
    costs = {(r.corner, r.cause): r for r in one.rows}
    assert costs["1", "early_braking"].cost_s == 0.2
    assert costs["1", "line"].cost_s == pytest.approx(0.3)
    assert costs["1", "line"].significant
    assert costs["2", "line"].cost_s == pytest.approx(0.02)
    assert not costs["2", "line"].significant  # within what two computed lines have wrong
    assert one.straight_s == pytest.approx(0.05 + 0.1)
    assert one.difference_s == pytest.approx(0.25 + 0.42)
    assert sum(r.cost_s for r in one.rows) + one.straight_s == pytest.approx(one.difference_s)
    assert one.lost_s[-1] == pytest.approx(0.2 + 0.42)
    assert one.against == "fast"


def test_laps_without_a_computed_line_are_left_out() -> None:
    clock = trace("fastest", np.arange(11.0))
    none = Account("2", "possible_on_line", 0.0, 0.0, (), np.zeros(11))
    assert add_line_costs([none], [], {}, clock, 1.0, "fast") == ()
