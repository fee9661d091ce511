"""Habits, ranks and the order of work from invented accounts."""

from __future__ import annotations

import numpy as np
import pytest

from lapwright.driving.action_values import find_middle, subtract
from lapwright.driving.habits import find_habits
from lapwright.driving.ledger import Account, Ledger, Row
from lapwright.driving.passes import CornerPass
from lapwright.driving.work_order import find_work, rank_corners


def row(corner: str, cause: str, cost: float, *, sure: bool = True, wide: float = 0.01) -> Row:
    return Row(corner, cause, cost, cost - wide, cost + wide, sure, 0.0, 10.0)


def account(lap: str, *rows: Row, against: str = "own_best") -> Account:
    total = sum(r.cost_s for r in rows)
    return Account(lap, against, total, 0.0, rows, np.zeros(2))


def test_a_habit_counts_laps_and_takes_the_mean_of_those_that_show_it() -> None:
    accounts = [
        account("1", row("3", "line", 0.10), row("5", "lift", 0.03, sure=False)),
        account("2", row("3", "line", 0.30)),
        account("3", row("3", "line", 0.001)),
        account("4", row("3", "line", -0.10)),
    ]
    (habit,) = find_habits(accounts)  # a lift that was never sure is none
    assert (habit.corner, habit.cause) == ("3", "line")
    assert habit.share_of_laps == 0.5
    assert habit.mean_cost_s == pytest.approx(0.2)
    assert habit.laps == ("2", "1")
    assert habit.is_habit


def test_what_stays_unexplained_is_no_habit() -> None:
    assert find_habits([account("1", row("3", "unexplained", 0.2))]) == ()


def test_corners_rank_by_what_is_lost_surely_and_often() -> None:
    laps = [str(i) for i in range(1, 5)]
    accounts = [
        account(
            lap,
            row("1", "line", 0.05),
            row("2", "lift", 0.20 if lap == "1" else 0.0),  # as much in sum, on one lap
            row("3", "gear", 0.06, wide=0.10),  # more, but within its interval
            row("4", "coasting", -0.1),
        )
        for lap in laps
    ]
    ranks = rank_corners(Ledger(tuple(accounts), np.zeros(2), ()), {}, "own_best")
    assert [r.corner for r in ranks] == ["1", "2", "3", "4"]
    assert ranks[0].worth_s == pytest.approx(0.05)
    assert ranks[0].share_of_laps == 1.0
    assert ranks[-1].worth_s == 0.0


def test_another_comparison_is_another_account() -> None:
    one = account("1", row("1", "line", 0.3), against="possible_on_line")
    assert rank_corners(Ledger((one,), np.zeros(2), ()), {}, "own_best") == ()


def test_a_goal_across_the_start_line_lies_on_the_road_between() -> None:
    length = 4000.0
    assert find_middle([3996.0, 2.0, 4.0], "brake_start_m", length) == pytest.approx(2.0)
    assert subtract(2.0, 3996.0, "brake_start_m", length) == pytest.approx(6.0)
    assert subtract(3996.0, 2.0, "distance_driven_m", length) == 3994.0  # no place
    passes = [
        CornerPass("1", lap, 5.0, {"brake_start_m": at})
        for lap, at in (("1", 3998.0), ("2", 2.0), ("3", 3970.0))
    ]
    accounts = tuple(
        account(lap, row("1", "early_braking", cost))
        for lap, cost in (("1", 0.0), ("2", 0.0), ("3", 0.3))
    )
    ledger = Ledger(accounts, np.zeros(2), ())
    (item,) = find_work(passes, ledger, find_habits(accounts), {"1": ("1", "2")}, length)
    assert item.goal == pytest.approx(0.0, abs=1e-9)  # half way from 3998 m to 2 m
    assert item.today == pytest.approx(3970.0)
    assert item.tolerance == pytest.approx(1.4826 * 2.0)
