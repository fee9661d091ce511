"""What came of an earlier review's goals: met or not, and promise against proof."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.action_values import values_of
from lapwright.driving.ledger_records import GUIDE_LAP
from lapwright.driving.review_day import (
    Braking,
    DayChange,
    find_braking,
    find_day_change,
    find_slowest,
    take_day_out,
)
from lapwright.driving.review_goals import COST, STEP, Verdict, costs_of, judge_goal
from lapwright.guide.document import quote_name
from lapwright.guide.ledger_words import CAUSES
from lapwright.guide.review_records import Reviewed
from lapwright.guide.sentences import round_fixed, write_value

Array = NDArray[np.float64]
View = Mapping[str, Any]
#: What came is as promised within this, s, or this share of it.
WITHIN_S: Final = 0.03
WITHIN: Final = 0.25


@dataclass(frozen=True, slots=True)
class Road:
    """Length, m, and what grip is worth: seconds from the start line, by metre, for all of it.

    ``price`` is None where the guide has no car: then the day cannot be taken out of time.
    """

    length_m: float
    price: Array | None

    def price_of(self, start_m: float, end_m: float) -> float:
        """Price a stretch: s for a whole grip less, by the slope at a little less."""
        assert self.price is not None
        places = np.linspace(0.0, self.length_m, self.price.size)
        return float(np.diff(np.interp((start_m, end_m), places, self.price))[0])


@dataclass(frozen=True, slots=True)
class Came:
    """What a corner's stretch took less than before, s, with the day taken out; its error."""

    gained_s: float
    error_s: float
    day_s: float


def compose_since(
    earlier: Sequence[View], drivers: Sequence[Reviewed], logs: Mapping[str, str], road: Road,
    system: View,
) -> list[dict[str, Any]]:  # fmt: skip
    """Hold each driver's new laps against the goals that an earlier review set him.

    Drivers are matched by name; of several earlier reviews the last that knows a driver counts,
    unless it is of the very log that is held against it now.

    Parameters
    ----------
    logs
        SHA-256 of each driver's log.
    """
    out: list[dict[str, Any]] = []
    for one in drivers:
        old = _find_earlier(earlier, one.name, logs[one.name])
        if old is None:
            why = "No earlier review is of other laps by a driver of this name."
            out.append({"driver": one.name, "day": None, "goals": [], "why_null": why})
            continue
        out.append(_driver(one, old, road, system))
    return out


def _find_earlier(earlier: Sequence[View], name: str, log: str) -> View | None:
    found = None
    for review in earlier:
        if log not in {i["sha256"] for i in review["made_by"]["inputs"]}:
            found = next((d for d in review["drivers"] if d["name"] == name), found)
    return found


def _driver(one: Reviewed, old: View, road: Road, system: View) -> dict[str, Any]:
    items = list(old["order_of_work"])
    day = find_day_change(
        {str(k): float(v) for k, v in old["slowest_mps"].items()},
        {c: v for c, v in find_slowest(one.passes).items() if c in one.costs},
    )  # fmt: skip
    came = _find_came(one, old, road, day)
    braking = find_braking(one.passes, road.length_m)
    goals = [_goal(i, one, came, day, braking, road.length_m, system) for i in items]
    return {
        "driver": one.name,
        "day": _say_day(day, road),
        "goals": goals,
        "why_null": None,
    }


def _find_came(one: Reviewed, old: View, road: Road, day: DayChange | None) -> dict[str, Came]:
    """Time the new laps in the earlier review's own stretches: the same road before and now."""
    traces = one.ledger.traces
    if day is None or road.price is None or not traces:
        return {}
    clocks = np.array([t.time for t in traces])
    places = np.linspace(0.0, road.length_m, clocks.shape[1])
    out = {}
    for row in old["stretches"]:
        start, end = float(row["start_m"]), float(row["end_m"])
        ends = np.array([np.interp((start, end), places, clock) for clock in clocks])
        took = ends[:, 1] - ends[:, 0]
        price = road.price_of(start, end)
        scatter = float(np.std(took, ddof=1) / np.sqrt(took.size)) if took.size > 1 else 0.0
        day_s = price * (1.0 - day.grip)
        error = float(np.hypot(float(row["error_s"]), np.hypot(scatter, price * day.error)))
        gained = float(row["time_s"]) - float(took.mean()) + day_s
        out[str(row["corner"])] = Came(gained, error, day_s)
    return out


def _say_day(day: DayChange | None, road: Road) -> dict[str, Any]:
    if day is None:
        text = (
            "Another day cannot be taken out: too few corners to tell it by. "
            "What came is not given in seconds."
        )
        return {"grip": None, "error": None, "corners": 0, "cost_s": None, "text": text}
    cost = None
    if road.price is not None:
        cost = (1.0 - day.grip) * road.price_of(0.0, road.length_m)
    text = (
        f"In the middle of {day.corners} corners these laps ask for "
        f"{round_fixed(100 * day.grip, 1)} % of the grip asked for before, give or take "
        f"{round_fixed(100 * day.error, 1)} %. "
    )
    if cost is None:
        text += "Without a car of the guide it is taken out of speeds and places, not of time."
    else:
        text += f"That is {round_fixed(cost, 2)} s a lap, and is taken out of what follows. "
        text += "Day, tyres and a driver who changed everywhere at once cannot be told apart; "
        text += "wind and air on the straights are not taken out."
    return {
        "grip": day.grip, "error": day.error, "corners": day.corners, "cost_s": cost,
        "text": text,
    }  # fmt: skip


def _goal(
    item: View, one: Reviewed, came: Mapping[str, Came], day: DayChange | None,
    braking: Mapping[str, Braking], length_m: float, system: View,
) -> dict[str, Any]:  # fmt: skip
    corner, action = str(item["corner"]), str(item["action"])
    today, goal, tolerance = (float(item[k]) for k in ("today", "goal", "tolerance"))
    values = _values(one, corner, action)
    own = came.get(corner)
    verdict = Verdict(None, False, None, None, len(values))
    if values and (action != COST or own is not None):
        grip = day.grip if day else 1.0
        level = _level(values, action, grip, braking.get(corner), own)
        errors = [(1.0 - STEP) * float(item["today_error"])]
        if day is not None:
            moved = _level(values, action, grip + day.error, braking.get(corner), own)
            errors.append(moved[0] - level[0])
        verdict = judge_goal(
            level, action=action, today=today, goal=goal, tolerance=tolerance,
            length_m=length_m, other_error=float(np.linalg.norm(errors)),
        )  # fmt: skip
    promised = float(item["promised_s"])
    kept = None if own is None else own.gained_s >= promised - max(WITHIN_S, WITHIN * promised)
    return {
        "corner": corner, "cause": item["cause"], "action": action,
        "today": today, "goal": goal, "tolerance": tolerance,
        "median": verdict.median, "error": verdict.error, "laps": verdict.laps,
        "met": verdict.met, "sure": verdict.sure,
        "promised_s": promised,
        "realised_s": own.gained_s if own else None,
        "realised_error_s": own.error_s if own else None, "kept": kept,
        "text": _say(item, verdict, promised, own, system),
    }  # fmt: skip


def _level(
    values: Sequence[float], action: str, grip: float, braking: Braking | None, own: Came | None
) -> list[float]:
    """Put values on the earlier day."""
    if action == COST:
        return [v - (own.day_s if own else 0.0) for v in values]
    return [take_day_out(v, action, grip, braking) for v in values]


def _values(one: Reviewed, corner: str, action: str) -> list[float]:
    if action == COST:
        held = [a for a in one.ledger.accounts if a.against == GUIDE_LAP]
        return list(costs_of(held, corner).values())
    return list(values_of(one.passes, corner, action).values())


def _say(item: View, verdict: Verdict, promised: float, own: Came | None, system: View) -> str:
    words = CAUSES.get(str(item["cause"]))
    label = words.label if words else "something else"
    result = {True: "met", False: "not met", None: "not settled by these laps"}[verdict.met]
    if verdict.met is not None and not verdict.sure:
        result += ", though only just by this scatter"
    laps = "lap" if verdict.laps == 1 else "laps"
    text = f"Corner {quote_name(str(item['corner']))}, {label}: {result} "
    text += f"(middle of {verdict.laps} {laps}). "
    text += f"Promised {write_value(promised, 'time', system, 2)}"
    if own is None:
        return f"{text}; what came cannot be said."
    gained, error = (write_value(v, "time", system, 2) for v in (own.gained_s, own.error_s))
    return f"{text}, came {gained} ± {error} with the day taken out."
