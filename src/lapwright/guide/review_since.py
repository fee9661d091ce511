"""What came of an earlier review's goals: met or not, and promise against proof."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.action_values import values_of
from lapwright.driving.ledger_records import GUIDE_LAP
from lapwright.driving.redrive_pass import Motor
from lapwright.driving.review_air import AirChange, Pace, find_air_change, find_pace
from lapwright.driving.review_day import (
    Braking,
    DayChange,
    Stretch,
    find_braking,
    find_day_by_time,
    find_day_change,
    find_slowest,
    take_day_out,
)
from lapwright.driving.review_goals import COST, STEP, Verdict, costs_of, judge_goal
from lapwright.guide.document import quote_name
from lapwright.guide.ledger_words import CAUSES
from lapwright.guide.review_day_words import compose_day
from lapwright.guide.review_records import Reviewed
from lapwright.guide.sentences import write_value

Array = NDArray[np.float64]
View = Mapping[str, Any]
#: What came is as promised within this, s, or this share of it.
WITHIN_S: Final = 0.03
WITHIN: Final = 0.25


@dataclass(frozen=True, slots=True)
class Road:
    """Length, m, and what grip is worth: seconds from the start line, by metre, for all of it.

    ``price`` is None where the guide has no car: then the day cannot be taken out of time.
    ``heading`` is the road's at equal steps from the start line, rad, without its end.
    """

    length_m: float
    price: Array | None = None
    heading: Array | None = None
    motor: Motor | None = None

    def price_of(self, start_m: float, end_m: float) -> float:
        """Price a stretch: s for a whole grip less, by the slope at a little less."""
        assert self.price is not None
        places = np.linspace(0.0, self.length_m, self.price.size)
        return float(np.diff(np.interp((start_m, end_m), places, self.price))[0])

    def heading_at(self, count: int) -> Array:
        """Give the heading at so many places, both ends of the lap included."""
        assert self.heading is not None
        turned = np.unwrap(np.append(self.heading, self.heading[0]))
        return np.interp(np.linspace(0.0, 1.0, count), np.linspace(0.0, 1.0, turned.size), turned)


@dataclass(frozen=True, slots=True)
class Came:
    """What a corner's stretch took less than before, s, with the day taken out; its error."""

    gained_s: float
    error_s: float
    day_s: float


@dataclass(frozen=True, slots=True)
class _Timed:
    """A corner's stretch now and before: see `lapwright.driving.review_day.Stretch`.

    ``more_s`` has what the air cost, ``air_s``, taken out.
    """

    corner: str
    span: tuple[float, float]
    more_s: float
    error_s: float
    price_s: float
    air_s: float


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
    air, whole = _find_air(one, old, road), (0.0, road.length_m)
    timed = _time(one, old, road, air)
    day = _find_day(one, old, timed)
    came = {} if day is None else {t.corner: _take_out(t, day) for t in timed}
    braking = find_braking(one.passes, road.length_m)
    goals = [_goal(i, one, came, day, braking, road.length_m, system) for i in items]
    return {
        "driver": one.name,
        "day": compose_day(day, air, None if road.price is None else road.price_of(*whole)),
        "goals": goals,
        "why_null": None,
    }


def _find_air(one: Reviewed, old: View, road: Road) -> AirChange | None:
    """Find the other day's air; None where pedals, pace or the guide's car are not known."""
    said, now = old.get("pace"), find_pace(one.ledger.traces, road.length_m)
    if not said or now is None or road.heading is None or road.motor is None:
        return None
    before = Pace(np.asarray(said["speed_mps"], float), np.asarray(said["flat"], bool))
    if before.speed.shape != now.speed.shape or before.flat.shape != now.flat.shape:
        raise ValueError("the pace is not of this road's length")
    if not (np.isfinite(before.speed) & (before.speed > 0.0)).all():
        raise ValueError("the pace has no speed somewhere")
    return find_air_change(before, now, road.heading_at(now.speed.size), road.length_m, road.motor)


def _time(one: Reviewed, old: View, road: Road, air: AirChange | None) -> list[_Timed]:
    """Time the new laps in the earlier review's own stretches: the same road before and now."""
    traces = one.ledger.traces
    if road.price is None or not traces:
        return []
    clocks = np.array([t.time for t in traces])
    places = np.linspace(0.0, road.length_m, clocks.shape[1])
    out = []
    for row in old["stretches"]:
        start, end = float(row["start_m"]), float(row["end_m"])
        ends = np.array([np.interp((start, end), places, clock) for clock in clocks])
        took = ends[:, 1] - ends[:, 0]
        scatter = float(np.std(took, ddof=1) / np.sqrt(took.size)) if took.size > 1 else 0.0
        ours, unsure = air.cost_of(start / road.length_m, end / road.length_m) if air else (0, 0)
        out.append(_Timed(
            str(row["corner"]), (start, end), float(took.mean()) - float(row["time_s"]) - ours,
            float(np.linalg.norm([float(row["error_s"]), scatter, unsure])),
            road.price_of(start, end), ours,
        ))  # fmt: skip
    return out


def _find_day(one: Reviewed, old: View, timed: Sequence[_Timed]) -> DayChange | None:
    """Find the day by time, or by slowest speeds where time has no price."""
    if not timed:
        return find_day_change(
            {str(k): float(v) for k, v in old["slowest_mps"].items()},
            {c: v for c, v in find_slowest(one.passes).items() if c in one.costs},
        )  # fmt: skip
    told = {str(i["corner"]) for i in old["order_of_work"]}
    of_goals = {t.span for t in timed if t.corner in told}
    once = {t.span: t for t in timed}  # corners driven flat share the stretch before them
    return find_day_by_time(
        [Stretch(t.more_s, t.error_s, t.price_s, t.span in of_goals) for t in once.values()]
    )


def _take_out(timed: _Timed, day: DayChange) -> Came:
    day_s = timed.price_s * (1.0 - day.grip)
    error = float(np.hypot(timed.error_s, timed.price_s * day.error))
    return Came(day_s - timed.more_s, error, day_s + timed.air_s)


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
