"""The ledger as it stands in ``guide.json`` and in the view of the page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, Final

import numpy as np

from lapwright.driving.habits import Habit
from lapwright.driving.ledger_records import Account, Row
from lapwright.guide.charts import count_points
from lapwright.guide.document import Findings
from lapwright.guide.ledger_words import (
    CAUSES,
    find_departure,
    label_against,
    list_causes,
    say_habit,
    say_nothing,
    say_row,
    say_work,
)
from lapwright.guide.sentences import write_text

WHY_EMPTY: Final = "Takes two laps that count, with speeds along the road."


def compose_ledger(findings: Findings) -> dict[str, Any]:
    """Compose ``ledger``, ``habits`` and ``order_of_work`` of ``guide.json``, with reasons."""
    accounts = findings.ledger.accounts if findings.ledger else ()
    why = None if accounts else WHY_EMPTY
    return {
        "ledger": [compose_account(a, partial(find_departure, findings, a)) for a in accounts],
        "ledger_why_empty": why,
        "habits": [
            compose_habit(h) for h in findings.habits
        ],
        "habits_why_empty": None if findings.habits else why or "No cause stood out on any lap.",
        "order_of_work": [],
        "order_of_work_why_empty": None
        if findings.work
        else why or "No cause was worth enough, by what this data can show.",
    }  # fmt: skip


def compose_work(findings: Findings, system: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Compose ``order_of_work`` with sentences in a system of units."""
    out = []
    for item in findings.work:
        said = say_work(findings, item)
        out.append({
            "corner": item.corner,
            "what": write_text(said["what"], system),
            "cause": item.cause,
            "reference": write_text(said["reference"], system) if said["reference"] else None,
            "goal": item.goal,
            "goal_text": write_text(said["goal"], system) if said["goal"] else None,
            "tolerance": item.tolerance,
            "unit": CAUSES[item.cause].quantity if item.goal is not None else None,
            "action": item.action,
            "today": item.today,
            "share_of_laps": item.share_of_laps,
            "worth_s": item.worth_s, "low_s": item.low_s, "high_s": item.high_s,
            "shown_by": list(item.shown_by),
        })  # fmt: skip
    return out


def compose_account(
    account: Account, departure: Callable[[Row], float | None] = lambda _: None
) -> dict[str, Any]:
    """Compose one lap's account as it stands in a JSON document.

    ``departure`` tells by how much an action differed where that is known.
    """
    return {
        "lap": account.lap, "against": account.against, "difference_s": account.difference_s,
        "rows": [
            _row(r)
            | {
                "departure": by,
                "departure_unit": None if by is None else CAUSES[r.cause].quantity,
            }
            for r in account.rows
            for by in [departure(r)]
        ],
        "straight_s": account.straight_s,
    }  # fmt: skip


def compose_habit(habit: Habit) -> dict[str, Any]:
    """Compose a habit as it stands in a JSON document."""
    return {
        "corner": habit.corner, "cause": habit.cause, "against": habit.against,
        "share_of_laps": habit.share_of_laps, "mean_cost_s": habit.mean_cost_s,
    }  # fmt: skip


def _row(row: Row) -> dict[str, Any]:
    return {
        "corner": row.corner, "cause": row.cause, "cost_s": row.cost_s, "low_s": row.low_s,
        "high_s": row.high_s, "significant": row.significant, "merged": list(row.merged),
    }  # fmt: skip


def compose_ledger_view(findings: Findings) -> dict[str, Any] | None:
    """Compose the ledger for the page: accounts by corner, with sentences and lost time."""
    ledger = findings.ledger
    if ledger is None or not ledger.accounts:
        return None
    keys = dict.fromkeys(a.against for a in ledger.accounts)
    points = count_points(findings.circuit.length_m)
    places = np.arange(points) * findings.circuit.length_m / points
    return {
        "against": [{"key": k, "label": label_against(k)} for k in keys],
        "causes": list_causes(ledger.accounts),
        "accounts": [
            {
                "lap": a.lap, "against": a.against, "difference_s": a.difference_s,
                "straight_s": a.straight_s, "corners": _corners(findings, a),
                "lost_s": np.interp(places, ledger.places, a.lost_s),
            }
            for a in ledger.accounts
        ],
        "habits": [
            {**compose_habit(h), "text": say_habit(h).as_view()} for h in findings.habits
        ],
        "why_null": None,
    }  # fmt: skip


def _corners(findings: Findings, account: Account) -> list[dict[str, Any]]:
    by_corner: dict[str, list[Row]] = {}
    for row in account.rows:
        by_corner.setdefault(row.corner, []).append(row)
    return [
        {
            "corner": corner, "cost_s": sum(r.cost_s for r in rows),
            "nothing": None
            if any(r.significant for r in rows)
            else say_nothing().as_view(),
            "rows": [
                {
                    **{k: v for k, v in _row(r).items() if k != "corner"},
                    "from_m": r.from_m, "to_m": r.to_m,
                    "text": text.as_view() if (text := say_row(findings, account, r)) else None,
                }
                for r in sorted(rows, key=lambda r: r.from_m)
            ],
        }
        for corner, rows in by_corner.items()
    ]  # fmt: skip
