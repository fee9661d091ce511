"""A review as it stands in ``review.json``: each driver, the sheet, what all have in common."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np

from lapwright.driving.habits import Habit
from lapwright.driving.ledger_records import GUIDE_LAP, Ledger
from lapwright.driving.passes import CornerPass
from lapwright.driving.review_air import find_pace
from lapwright.driving.review_day import find_slowest
from lapwright.driving.review_goals import Goal
from lapwright.driving.review_rooms import GoalRoom
from lapwright.driving.work_order import GOALS
from lapwright.guide.document import quote_name
from lapwright.guide.ledger_records import compose_account, compose_habit
from lapwright.guide.ledger_words import CAUSES, TOLERATED
from lapwright.guide.review_work import compose_work
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


@dataclass(frozen=True, slots=True)
class TimedStretch:
    """A corner's part of the road, m from the start line, its mean time and the error, s.

    A corner that is driven flat shares the stretch of the one before it.
    """

    corner: str
    start_m: float
    end_m: float
    time_s: float
    error_s: float


@dataclass(frozen=True, slots=True)
class Reviewed:
    """One driver's laps held against a guide; costs are means over his laps, s."""

    name: str
    laps: tuple[Lap, ...]
    passes: tuple[CornerPass, ...]
    ledger: Ledger
    habits: tuple[Habit, ...]
    goals: tuple[Goal, ...]
    rooms: tuple[GoalRoom, ...]
    costs: Mapping[str, Mapping[str, float]]
    times: Mapping[str, float]
    stretches: tuple[TimedStretch, ...]
    straight_s: float
    difference_s: float
    level: float
    day: Mapping[str, float]
    day_why_null: str


def compose_driver(
    one: Reviewed, circuit: Circuit, lap: Lap, guide: Mapping[str, Any], system: System
) -> dict[str, Any]:
    """Compose one driver: laps, day, ledger, habits, order of work.

    ``guide`` is the guide's document, which tells what its laps do things on.
    """
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
        "stretches": [asdict(s) for s in one.stretches],
        "slowest_mps": find_slowest(one.passes),
        "pace": _compose_pace(one, circuit),
        "order_of_work": [
            compose_work(g, one.name, circuit, lap, guide, system, room)
            for g, room in zip(one.goals, one.rooms, strict=True)
        ],
    }  # fmt: skip


def _compose_pace(one: Reviewed, circuit: Circuit) -> dict[str, Any] | None:
    """Compose the mean speed and where the laps are flat, at equal steps, both ends included."""
    pace = find_pace(one.ledger.traces, circuit.length_m)
    if pace is None:
        return None
    return {"speed_mps": np.round(pace.speed, 3).tolist(), "flat": pace.flat.tolist()}


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
