"""Goals that another driver's lap sets, and whether new laps meet them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from lapwright.driving.action_values import subtract, values_of
from lapwright.driving.habits import Habit
from lapwright.driving.ledger import Account
from lapwright.driving.ledger_bases import robust_sd
from lapwright.driving.passes import CornerPass
from lapwright.driving.work_order import GOALS, LEAST_WORTH_S, MOST_ITEMS

#: A session's goal is this part of the way from today's value to the one shown.
STEP = 0.5
#: A tolerance takes back no more than this part of the step: standing still meets no goal.
MOST_TOLERATED = 0.5
#: The goal where no action tells the cause apart from the scatter: what the corner costs, s.
#: Not what the cause costs: what is booked to another cause the next time has not come back.
COST = "corner_cost_s"
#: Causes whose action also moves with where the throttle was picked up: held by their cost.
BY_COST = ("stepped_throttle", "throttle_dip")
#: Fewer laps do not settle whether a goal was met, nor does a median so few standard errors
#: from the bound.
LEAST_LAPS, SETTLED = 3, 0.5
#: The standard error of a median of normal values over that of their mean.
OF_MEDIAN = 1.2533


@dataclass(frozen=True, slots=True)
class Goal:
    """One thing to work on against another driver's lap, in SI units.

    ``shown`` is what that lap did, ``goal`` the step towards it for the next session,
    ``promised_s`` what the step is worth where ``worth_s`` is all of it. ``own_laps``
    are the driver's own laps that did as well as shown; ``today_error`` is the standard
    error of ``today``.
    """

    corner: str
    cause: str
    action: str | None
    today: float | None
    today_error: float | None
    shown: float | None
    goal: float | None
    tolerance: float | None
    own_laps: tuple[str, ...]
    share_of_laps: float
    worth_s: float
    promised_s: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a goal was met: the median over ``laps`` new laps, its standard error.

    ``met`` is None where the laps do not settle it; ``sure`` tells that the median lies
    beyond the bound by more than 1.645 standard errors. ``median`` has the day taken out.
    """

    met: bool | None
    sure: bool
    median: float | None
    error: float | None
    laps: int


def find_goals(
    habits: Sequence[Habit], accounts: Sequence[Account], passes: Sequence[CornerPass],
    shown: Mapping[str, Mapping[str, float]], least: Mapping[str, float], length_m: float,
) -> tuple[Goal, ...]:  # fmt: skip
    """Find what is worth most, one thing a corner, each with a step towards what was shown.

    Parameters
    ----------
    habits, accounts
        Against the other driver's lap.
    shown
        That lap's actions by corner and action.
    least
        Narrowest tolerance by action.
    """
    costs = mean_by_corner(accounts)
    goals: list[Goal] = []
    for habit in sorted(habits, key=lambda h: -_weight(h, accounts)):
        worth = habit.share_of_laps * habit.mean_cost_s
        taken = habit.corner in {g.corner for g in goals}
        if taken or not habit.is_habit or worth < LEAST_WORTH_S or habit.cause == "unexplained":
            continue
        action = GOALS.get(habit.cause, "")
        wanted = shown.get(habit.corner, {}).get(action)
        part = _part(costs.get(habit.corner, {}), habit.cause)
        own = values_of(passes, habit.corner, action)
        goal = None
        if wanted is not None and own and habit.cause not in BY_COST:
            floor = least.get(action, 0.0)
            goal = _act(habit, worth, action, own, wanted, floor, part, length_m)
        goals.append(goal or _save(habit, worth, costs_of(accounts, habit.corner)))
    return tuple(goals[:MOST_ITEMS])


def _weight(habit: Habit, accounts: Sequence[Account]) -> float:
    """Worth, half of it only as far as it stands beyond the scatter."""
    lows = [
        r.low_s for a in accounts for r in a.rows
        if a.lap in habit.laps and (r.corner, r.cause) == (habit.corner, habit.cause)
    ]  # fmt: skip
    sure = max(float(np.mean(lows)), 0.0) if lows else 0.0
    return habit.share_of_laps * 0.5 * (habit.mean_cost_s + sure)


def _part(costs: Mapping[str, float], cause: str) -> float:
    """How much of a place is of this cause: who brakes softly has to begin sooner for it."""
    if cause != "early_braking":
        return 1.0
    early, soft = (max(costs.get(c, 0.0), 0.0) for c in (cause, "soft_braking"))
    return early / (early + soft) if early > 0.0 else 1.0


def _act(
    habit: Habit, worth: float, action: str, own: Mapping[str, float], wanted: float,
    floor: float, part: float, length_m: float,
) -> Goal | None:  # fmt: skip
    """Set the goal on an action, or None where the scatter hides the difference."""
    apart = {lap: subtract(v, wanted, action, length_m) for lap, v in own.items()}
    off = float(np.median(list(apart.values())))
    spread = max(robust_sd(list(apart.values())), floor)
    if abs(off) <= spread:
        return None
    share = 1.0 if action == "gear" else STEP  # there is no half a gear
    step = -share * part * off
    best = tuple(lap for lap, d in apart.items() if d * np.sign(off) <= 0.0)
    return Goal(
        habit.corner, habit.cause, action, wanted + off, find_error(list(apart.values())), wanted,
        wanted + off + step,
        min(spread, MOST_TOLERATED * abs(step)), best, habit.share_of_laps, worth, share * worth,
    )  # fmt: skip


def _save(habit: Habit, worth: float, costs: Mapping[str, float]) -> Goal:
    """Set the goal on what the corner costs: less by a part of what the cause is worth."""
    lost = list(costs.values())
    today, step = float(np.median(lost)), STEP * worth
    own = tuple(lap for lap, v in costs.items() if v <= 0.0)
    return Goal(
        habit.corner, habit.cause, COST, today, find_error(lost), 0.0, today - step,
        min(robust_sd(lost), MOST_TOLERATED * step), own, habit.share_of_laps, worth, step,
    )  # fmt: skip


def find_error(values: Sequence[float]) -> float:
    """Find the standard error of the values' median."""
    spread = max(robust_sd(values), float(np.std(values)))
    return float(OF_MEDIAN * spread / np.sqrt(len(values)))


def judge_goal(
    values: Sequence[float], *, action: str, today: float, goal: float, tolerance: float,
    length_m: float, other_error: float = 0.0,
) -> Verdict:  # fmt: skip
    """Hold new laps' values against a goal: at least as far as it, give or take the tolerance.

    Parameters
    ----------
    other_error
        Standard error of what else is in the comparison: the goal itself, the day.
    """
    way = float(np.sign(subtract(today, goal, action, length_m))) or 1.0
    if not values:
        return Verdict(None, False, None, None, 0)
    apart = [subtract(v, goal, action, length_m) for v in values]
    middle = float(np.median(apart))
    error = float(np.hypot(find_error(apart), other_error))
    over = middle * way - tolerance
    settled = len(values) >= LEAST_LAPS and abs(over) >= SETTLED * error
    met = over <= 0 if settled else None
    sure = settled and abs(over) > 1.645 * error
    return Verdict(met, sure, goal + middle, error, len(values))


def costs_of(accounts: Sequence[Account], corner: str) -> dict[str, float]:
    """Take what one corner cost from every account, s; nothing booked is 0."""
    return {a.lap: sum(r.cost_s for r in a.rows if r.corner == corner) for a in accounts}


def mean_by_corner(accounts: Sequence[Account]) -> dict[str, dict[str, float]]:
    """Average costs over the accounts, by corner and cause, s."""
    out: dict[str, dict[str, float]] = {}
    for account in accounts:
        for row in account.rows:
            own = out.setdefault(row.corner, {})
            own[row.cause] = own.get(row.cause, 0.0) + row.cost_s / len(accounts)
    return out


def find_level(costs: Mapping[str, float], times: Mapping[str, float]) -> float:
    """Find the share of time that is lost in the middle corner: day, car and skill together."""
    shares = [costs[c] / times[c] for c in costs if times.get(c, 0.0) > 0.0]
    return float(np.median(shares)) if shares else 0.0
