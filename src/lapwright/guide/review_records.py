"""A review as it stands in ``review.json``: each driver, the sheet, what all have in common."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from lapwright.driving.habits import Habit
from lapwright.driving.ledger_records import GUIDE_LAP, Ledger
from lapwright.driving.passes import CornerPass
from lapwright.driving.review_goals import COST, Goal
from lapwright.driving.work_order import GOALS
from lapwright.guide.document import quote_name
from lapwright.guide.ledger_records import compose_account, compose_habit
from lapwright.guide.ledger_words import CAUSES, TOLERATED, say_goal, say_place
from lapwright.guide.sentences import write_text, write_value
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap

System = Mapping[str, Any]
#: Narrowest tolerance of each action, SI.
LEAST_BY_ACTION: Final = {
    action: 0.0 if action == "gear" else TOLERATED.get(CAUSES[cause].quantity, 0.0)
    for cause, action in GOALS.items()
}
#: Ratios within this of 1 are called alike.
ALIKE: Final = 0.02
#: From so many drivers on, and this share of them, all are said to be alike.
LEAST_DRIVERS, ALIKE_SHARE = 3, 0.8
#: Drills by the quantity of the goal: common practice, no source.
DRILLS: Final = {
    "distance": "Two laps at today's place, then move it in three equal steps; go back one step "
    "when the car no longer reaches the line.",
    "speed": "Add speed in three equal steps on the same line; stay where the line is kept.",
    "time": "Two laps at a slower pace that do only this, then build the pace up again.",
    "acceleration": "Brake in a straight line at a place with room, firmer in three equal steps.",
    "offset": "Three slow laps that only place the car, then build the pace up on that line.",
}


@dataclass(frozen=True, slots=True)
class Reviewed:
    """One driver's laps held against a guide; costs are means over his laps, s."""

    name: str
    laps: tuple[Lap, ...]
    passes: tuple[CornerPass, ...]
    ledger: Ledger
    habits: tuple[Habit, ...]
    goals: tuple[Goal, ...]
    costs: Mapping[str, Mapping[str, float]]
    times: Mapping[str, float]
    straight_s: float
    difference_s: float
    level: float
    day: Mapping[str, float]
    day_why_null: str


def compose_driver(one: Reviewed, circuit: Circuit, lap: Lap, system: System) -> dict[str, Any]:
    """Compose one driver: laps, day, ledger, habits, order of work."""
    times = [x.time_s for x in one.laps if x.used and x.time_s]
    return {
        "name": one.name,
        "laps": [
            {"id": x.id, "time_s": x.time_s, "used": x.used, "why_not": x.why_not or None}
            for x in one.laps
        ],
        "best_time_s": min(times) if times else None,
        "median_time_s": float(np.median(times)) if times else None,
        "day": {
            "ratios": dict(one.day) or None,
            "why_null": one.day_why_null or None,
            "level": one.level,
            "sentences": say_day(one),
        },
        "ledger": [compose_account(a) for a in one.ledger.accounts],
        "habits": [compose_habit(h) for h in one.habits],
        "mean_costs": [
            {"corner": c, "cause": k, "cost_s": v}
            for c, own in one.costs.items() for k, v in own.items()
        ],
        "corner_times_s": dict(one.times),
        "order_of_work": [_work(g, one, circuit, lap, system) for g in one.goals],
    }  # fmt: skip


def say_day(one: Reviewed) -> list[str]:
    """Say how far these laps' car and day are those of the guide."""
    out = [
        f"In the middle corner {100 * one.level:.1f} % of the time is lost to the guide's lap. "
        "Day, car and driver are all in it; what a corner costs beyond it is of that corner."
    ]
    if one.day_why_null:
        return [*out, f"Car and day were not compared: {one.day_why_null}"]
    power = one.day.get("power")
    if power is not None:
        same = "as much" if abs(power - 1) <= ALIKE else f"{100 * power:.0f} % of the power"
        tail = " as the guide's car" if same == "as much" else " of the guide's car: another car"
        out.append(f"On straights these laps show {same}{tail}.")
    parts = [f"{k} {100 * v:.0f} %" for k, v in one.day.items() if k in ("lateral", "brake")]
    if parts:
        out.append(
            f"Grip that these laps used, in shares of the guide's car: {', '.join(parts)}. Less "
            "can be the day, the tyres or a driver who asks for less: these laps do not tell."
        )
    return out


def _work(goal: Goal, one: Reviewed, circuit: Circuit, lap: Lap, system: System) -> dict[str, Any]:
    words = CAUSES[goal.cause]
    own = ", ".join(goal.own_laps)
    who = lap.driver or "the guide's driver"
    evidence = f"done by {who} on lap {lap.id}"
    if goal.own_laps:
        evidence += f", and by {one.name} on {'laps' if len(goal.own_laps) > 1 else 'lap'} {own}"

    corner = next(c for c in circuit.corners if c.id == goal.corner)

    def told(value: float | None) -> str | None:
        """Write a bare value: seconds of cost, a place told from the apex, or its quantity."""
        if value is None:
            return None
        if goal.action == COST:
            return write_value(value, "time", system, 2)
        if not words.do_to or goal.action != words.action:
            return None
        if words.quantity == "distance":
            return write_text(say_place(circuit, corner, "{0}", value).as_view(), system)
        return write_value(value, words.quantity, system, words.decimals)

    wanted: str | None
    if goal.action == COST:
        wanted = f"lose no more than {told(goal.goal)} a lap by it"
    else:
        text = say_goal(circuit, corner, goal.cause, goal.action, goal.goal)
        wanted = write_text(text.as_view(), system) if text else None
    tolerance = None
    if goal.tolerance is not None and goal.action == COST:
        tolerance = write_value(goal.tolerance, "time", system, 2)
    elif goal.tolerance is not None and words.quantity in TOLERATED and goal.action != "gear":
        tolerance = write_value(goal.tolerance, words.quantity, system, max(words.decimals, 1))
    return {
        "corner": goal.corner, "cause": goal.cause, "action": goal.action,
        "what": f"Corner {goal.corner}: {words.do}",
        "today": goal.today, "shown": goal.shown, "goal": goal.goal,
        "goal_text": wanted, "shown_text": told(goal.shown), "today_text": told(goal.today),
        "tolerance": goal.tolerance, "tolerance_text": tolerance,
        "unit": _unit(goal),
        "evidence": evidence, "own_laps": list(goal.own_laps),
        "drill": DRILLS["time" if goal.action in (COST, "gear") else words.quantity],
        "share_of_laps": goal.share_of_laps, "worth_s": goal.worth_s,
        "promised_s": goal.promised_s,
    }  # fmt: skip


def _unit(goal: Goal) -> str | None:
    if goal.goal is None or goal.action == "gear":
        return None
    if goal.action == COST:
        return "time"
    return CAUSES[goal.cause].quantity


def compose_sheet(drivers: Sequence[Reviewed], circuit: Circuit) -> dict[str, Any]:
    """Compose drivers × corners: mean s lost to the guide's lap, and the main cause."""
    corners = [c.id for c in circuit.corners if any(c.id in d.costs for d in drivers)]
    return {
        "corners": corners,
        "rows": [
            {
                "driver": d.name, "difference_s": d.difference_s, "straight_s": d.straight_s,
                "cells": [_cell(d, c) for c in corners],
            }
            for d in drivers
        ],
    }  # fmt: skip


def _cell(one: Reviewed, corner: str) -> dict[str, Any]:
    causes = one.costs.get(corner, {})
    cost = sum(causes.values())
    named = {k: v for k, v in causes.items() if k != "unexplained" and v > 0}
    main = max(named, key=lambda k: named[k]) if named else None
    return {
        "corner": corner, "cost_s": cost, "cause": main,
        "cause_cost_s": named[main] if main else None,
        "beyond_usual_s": cost - one.level * one.times.get(corner, 0.0),
    }  # fmt: skip


def compose_alike(drivers: Sequence[Reviewed], circuit: Circuit) -> list[dict[str, Any]]:
    """Find corners where the main cause of nearly all is one habit, beyond their usual loss."""
    if len(drivers) < LEAST_DRIVERS:
        return []
    counts: dict[tuple[str, str], int] = {}
    for one in drivers:
        habits = {(h.corner, h.cause) for h in one.habits if _is_theirs(h)}
        for cell in (_cell(one, c) for c in one.costs):
            key = (cell["corner"], cell["cause"])
            if key in habits and cell["beyond_usual_s"] > 0:
                counts[key] = counts.get(key, 0) + 1
    common = {k: n for k, n in counts.items() if n >= ALIKE_SHARE * len(drivers)}
    order = [c.id for c in circuit.corners]
    out = []
    for (corner, cause), n in sorted(common.items(), key=lambda item: order.index(item[0][0])):
        places = sum(1 for c, k in common if k == cause)
        everywhere = places > max(len(circuit.corners) // 2, 1)
        told = (
            "It is so in most corners: a difference of car, day or skill, not of this corner."
            if everywhere
            else "If all are alike, the guide may be wrong here: look at it before the drivers."
        )
        out.append({
            "corner": corner, "cause": cause, "drivers": n, "of": len(drivers),
            "everywhere": everywhere,
            "text": f"Corner {quote_name(corner)}: {n} of {len(drivers)} drivers "
            f"({CAUSES[cause].label}) against the guide's lap. {told}",
        })  # fmt: skip
    return out


def _is_theirs(habit: Habit) -> bool:
    return habit.against == GUIDE_LAP and habit.is_habit
