"""What came of an earlier review's goals: met or not, and promise against proof."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from lapwright.driving.action_values import values_of
from lapwright.driving.ledger_records import GUIDE_LAP
from lapwright.driving.review_goals import COST, Verdict, costs_of, find_level, judge_goal
from lapwright.guide.ledger_words import CAUSES
from lapwright.guide.review_records import Reviewed
from lapwright.guide.sentences import write_value
from lapwright.model.circuit import Circuit

#: What came is as promised within this, s, or this share of it.
WITHIN_S: Final = 0.03
WITHIN: Final = 0.25


def compose_since(
    earlier: Mapping[str, Any], drivers: Sequence[Reviewed], circuit: Circuit,
    system: Mapping[str, Any],
) -> list[dict[str, Any]]:  # fmt: skip
    """Hold each driver's new laps against the goals that an earlier review set him.

    Drivers are matched by name. The day is taken out of what came by the middle change over
    the corners that had no goal, as a share of time.
    """
    before = {str(d.get("name")): d for d in earlier.get("drivers", ()) if isinstance(d, Mapping)}
    out: list[dict[str, Any]] = []
    for one in drivers:
        old = before.get(one.name)
        if old is None:
            why = "No driver of this name is in the earlier review."
            out.append({"driver": one.name, "goals": [], "day_share": None, "why_null": why})
            continue
        out.append(_driver(one, old, circuit, system))
    return out


def _driver(
    one: Reviewed, old: Mapping[str, Any], circuit: Circuit, system: Mapping[str, Any]
) -> dict[str, Any]:
    items = [i for i in old.get("order_of_work", ()) if isinstance(i, Mapping)]
    came = _changes(one, old)
    worked_on = {str(i.get("corner")) for i in items}
    share = find_level({c: v for c, v in came.items() if c not in worked_on}, one.times)
    goals = [_goal(i, one, came, share, circuit, system) for i in items]
    return {"driver": one.name, "goals": goals, "day_share": share, "why_null": None}


def _changes(one: Reviewed, old: Mapping[str, Any]) -> dict[str, float]:
    """Seconds gained in each corner against the guide's lap since then, day included."""
    was: dict[str, float] = {}
    for row in old.get("mean_costs", ()):
        was[str(row["corner"])] = was.get(str(row["corner"]), 0.0) + float(row["cost_s"])
    return {c: was[c] - sum(own.values()) for c, own in one.costs.items() if c in was}


def _goal(
    item: Mapping[str, Any], one: Reviewed, came: Mapping[str, float], share: float,
    circuit: Circuit, system: Mapping[str, Any],
) -> dict[str, Any]:  # fmt: skip
    corner, action = str(item.get("corner")), item.get("action")
    numbers = [item.get(k) for k in ("today", "goal", "tolerance")]
    verdict = Verdict(None, False, None, None, 0)
    if isinstance(action, str) and all(isinstance(x, int | float) for x in numbers):
        today, goal, tolerance = (float(x) for x in numbers if x is not None)
        values = _values(one, corner, action, str(item.get("cause")))
        verdict = judge_goal(
            values, action=action, today=today, goal=goal, tolerance=tolerance,
            length_m=circuit.length_m,
        )  # fmt: skip
    gained = came.get(corner)
    realised = None if gained is None else gained - share * one.times.get(corner, 0.0)
    promised = float(item.get("promised_s") or 0.0)
    kept = realised is not None and realised >= promised - max(WITHIN_S, WITHIN * promised)
    return {
        "corner": corner, "cause": item.get("cause"), "action": action,
        "today": numbers[0], "goal": numbers[1], "tolerance": numbers[2],
        "median": verdict.median, "error": verdict.error, "laps": verdict.laps,
        "met": verdict.met, "sure": verdict.sure,
        "promised_s": promised, "realised_s": realised, "kept": kept,
        "text": _say(item, verdict, promised, realised, system),
    }  # fmt: skip


def _values(one: Reviewed, corner: str, action: str, cause: str) -> list[float]:
    if action == COST:
        held = [a for a in one.ledger.accounts if a.against == GUIDE_LAP]
        return list(costs_of(held, corner, cause).values())
    return list(values_of(one.passes, corner, action).values())


def _say(
    item: Mapping[str, Any], verdict: Verdict, promised: float, realised: float | None,
    system: Mapping[str, Any],
) -> str:  # fmt: skip
    words = CAUSES.get(str(item.get("cause")))
    label = words.label if words else "something else"
    result = {True: "met", False: "not met", None: "not settled"}[verdict.met]
    if verdict.met is not None and not verdict.sure:
        result += ", though only just by this scatter"
    text = f"Corner {item.get('corner')}, {label}: {result} (median of {verdict.laps} laps). "
    text += f"Promised {write_value(promised, 'time', system, 2)}"
    if realised is None:
        return f"{text}; what came cannot be said."
    return f"{text}, came {write_value(realised, 'time', system, 2)} with the day taken out."
