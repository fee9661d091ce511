"""Sentences of the ledger from invented accounts."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType
from typing import Any, get_args

import numpy as np
import pytest

from lapwright.driving.booking import Cause
from lapwright.driving.ledger import Account, Ledger, Row
from lapwright.driving.work_order import GOALS, CornerRank, WorkItem
from lapwright.guide.compose import compose_view
from lapwright.guide.ledger_words import CAUSES, say_row, say_work
from lapwright.guide.unit_system import SYSTEMS


def row(cause: str = "early_braking", cost: float = 0.12, sure: bool = True) -> Row:
    return Row("2", cause, cost, cost - 0.05, cost + 0.04, sure, 480.0, 520.0)


def account(*rows: Row, lap: str = "2") -> Account:
    total = sum(r.cost_s for r in rows)
    return Account(lap, "own_best", total + 0.01, 0.01, rows, np.linspace(0.0, total, 2001))


def _ledger(*rows: Row) -> Ledger:
    return Ledger((account(*rows),), np.linspace(0.0, 2000.0, 2001), ())


@pytest.fixture
def findings(invented: ModuleType) -> Any:
    return invented.make_findings()


@pytest.fixture
def told(findings: Any) -> Any:
    ledger = _ledger(row(), row("line", -0.03, False), row("unexplained", 0.004, False))
    item = WorkItem(
        "2", "early_braking", "own_best", "brake_start_m", 490.0, 498.0, 0.8, ("1", "3"),
        ("2",), 0.5, 0.06, 0.03, 0.08,
    )  # fmt: skip
    rank = CornerRank("2", 1, 0.06, 0.5, 0.5, 300.0)
    return replace(findings, ledger=ledger, work=(item,), ranks=(rank,))


def test_every_cause_has_words_and_every_goal_an_action() -> None:
    assert set(CAUSES) == set(get_args(Cause))
    for cause, action in GOALS.items():
        if CAUSES[cause].action:
            assert CAUSES[cause].action == action


def test_a_row_says_cost_and_interval_and_what_it_is_held_against(told: Any) -> None:
    said = say_row(told, account(row()), row())
    assert said is not None
    assert "against own best" in said.template
    assert [v[0] for v in said.values][-3:] == pytest.approx([0.12, 0.07, 0.16])


def test_a_gain_is_called_one(told: Any) -> None:
    gained = row("line", -0.10)
    said = say_row(told, account(gained), gained)
    assert said is not None
    assert "gained {0}" in said.template
    assert [v[0] for v in said.values] == pytest.approx([0.10, 0.06, 0.15])


def test_what_the_scatter_hides_is_not_said(told: Any) -> None:
    hidden = row(sure=False)
    assert say_row(told, account(hidden), hidden) is None


def test_work_names_evidence_goal_and_tolerance(told: Any) -> None:
    said = say_work(told, told.work[0])
    assert said["evidence"]["t"] == "done on laps 1 and 3"
    assert "before the apex" in said["goal"]["t"]
    assert said["goal"]["v"][0][0] == pytest.approx(62.0)  # apex at 560 m, goal at 498 m
    assert said["tolerance"]["v"][0][0] >= 2.0


def test_work_says_what_is_done_so_far_and_on_which_laps_it_is_not_usual(told: Any) -> None:
    usual, once = told.work[0], replace(told.work[0], share_of_laps=0.2)
    assert say_work(told, usual)["so_far"]["t"] == "so far {0} before the apex"
    assert say_work(told, once)["so_far"]["t"] == "against {0} before the apex on lap 2"
    assert say_work(told, once)["so_far"]["v"][0][0] == pytest.approx(70.0)  # 560 m less 490 m
    many = replace(once, laps=tuple("1234567"))
    assert say_work(told, many)["so_far"]["t"] == "against {0} before the apex on 7 laps"
    both = replace(once, laps=("3", "1"))
    assert say_work(told, both)["so_far"]["t"] == "against {0} before the apex on laps 1 and 3"
    bare = say_work(told, replace(usual, today=None))
    assert bare["so_far"] is None


def test_worth_comes_with_its_interval(told: Any) -> None:
    said = say_work(told, told.work[0])["worth"]
    assert said["t"] == "worth about {0} a lap ({1} to {2})"
    assert [v[0] for v in said["v"]] == pytest.approx([0.06, 0.03, 0.08])


def test_what_only_a_computation_has_shown_is_called_computed(told: Any) -> None:
    said = say_work(told, replace(told.work[0], against="possible_on_line"))
    assert said["evidence"]["t"] == "computed for this car, shown by no lap"


def test_no_more_than_three_laps_are_named(told: Any) -> None:
    said = say_work(told, replace(told.work[0], shown_by=("1", "2", "3", "4")))
    assert said["evidence"]["t"] == "done on laps 1, 2 and 3"


def test_causes_that_cannot_be_told_apart_are_named(told: Any) -> None:
    alike = replace(row("late_throttle"), merged=("stepped_throttle", "lift"))
    said = say_row(told, account(alike), alike)
    assert said is not None
    assert "may as well be: throttle in steps or lifted" in said.template
    (one,) = compose_view(replace(told, ledger=_ledger(alike)), SYSTEMS["metric"])["guide"][
        "ledger"
    ]
    assert one["rows"][0]["merged"] == ["stepped_throttle", "lift"]


def test_guide_and_page_hold_the_same_rows_that_add_up(told: Any) -> None:
    view = compose_view(told, SYSTEMS["metric"])
    (one,) = view["guide"]["ledger"]
    shown = view["ledger"]["accounts"][0]
    rows = [r["cost_s"] for c in shown["corners"] for r in c["rows"]]
    assert sorted(rows) == sorted(r["cost_s"] for r in one["rows"])
    assert sum(rows) + one["straight_s"] == pytest.approx(one["difference_s"], abs=1e-9)
    assert view["guide"]["order_of_work"][0]["corner"] == "2"
    assert view["guide"]["corners"][1]["rank"] == 1
    assert view["guide"]["ledger_why_empty"] is None


def test_without_a_ledger_the_reason_stands_beside_it(findings: Any) -> None:
    view = compose_view(findings, SYSTEMS["metric"])
    assert view["ledger"] is None
    assert view["guide"]["ledger"] == []
    assert "two laps" in view["guide"]["ledger_why_empty"]
