"""Printed hundredths add up, and stay next to what they stand for."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapwright.publish.hundredths import (
    divide_hundredths,
    print_account,
    round_hundredths,
    tell_printed,
)

COSTS = st.lists(st.floats(-3, 3), min_size=1, max_size=20)


# The usual textbook example of the method of largest remainders, from memory: votes of
# 47,000 16,000 15,800 12,000 6,100 3,100 give 5 2 1 1 1 0 of ten seats.
def test_largest_remainders_divide_as_in_the_textbook():
    votes = [47_000, 16_000, 15_800, 12_000, 6_100, 3_100]
    assert divide_hundredths([v / 1e6 for v in votes], 10) == [5, 2, 1, 1, 1, 0]


@given(COSTS)
def test_parts_add_up_and_are_no_further_than_one_hundredth(costs: list[float]):
    parts = divide_hundredths(costs, round_hundredths(sum(costs)))
    assert sum(parts) == round_hundredths(sum(costs))
    assert all(abs(p - 100 * c) < 1 + 1e-6 for p, c in zip(parts, costs, strict=True))


def test_half_a_hundredth_goes_away_from_zero():
    assert [round_hundredths(v) for v in (0.125, -0.125, 0.0, 0.624)] == [13, -13, 0, 62]


@pytest.fixture(scope="module")
def view(make_view: Any) -> Any:
    return make_view(laps=5)


def test_every_account_adds_up_at_every_level(view: Any):
    accounts = view["ledger"]["accounts"]
    assert len(accounts) >= 15
    for account in accounts:
        printed = print_account(account)
        totals = [corner.total for corner in printed.corners]
        assert sum(totals) + printed.straight == round_hundredths(account["difference_s"])
        assert [sum(n for _, n in c.rows) for c in printed.corners] == totals
        # Two roundings, each off by less than one hundredth.
        for corner in printed.corners:
            assert all(abs(n - 100 * row["cost_s"]) < 2 for row, n in corner.rows)


def test_a_sentence_says_the_cost_that_its_row_prints():
    row = {
        "cost_s": -0.1049,
        "text": {"t": "{0} and {1}", "v": [[0.1049, "time"], [60.0, "distance"]]},
    }
    said = tell_printed(row, -11)
    assert said is not None
    assert said["v"] == [[0.11, "time", 2], [60.0, "distance"]]
    assert tell_printed({**row, "text": None}, 1) is None


def test_a_corner_without_rows_keeps_its_sum():
    corner = {"corner": "1", "cost_s": 0.0, "rows": [], "nothing": None}
    account = {"difference_s": 0.02, "straight_s": 0.02, "corners": [corner]}
    printed = print_account(account)
    assert (printed.straight, printed.corners[0].total, printed.corners[0].rows) == (2, 0, ())
