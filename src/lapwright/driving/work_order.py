"""What to work on first: recoverable, times how certain, times how repeatable."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from lapwright.driving.action_values import find_middle, subtract, values_of
from lapwright.driving.habits import SEEN_S, Habit
from lapwright.driving.ledger_bases import BEST_OF, choose_own_bests, robust_sd
from lapwright.driving.ledger_records import OWN_BEST, Account, Ledger
from lapwright.driving.passes import CornerPass, CornerSummary

#: At most so many things to work on.
MOST_ITEMS = 5
#: An item is worth at least this on a middle lap, s.
LEAST_WORTH_S = 0.01
#: What the best passes show of each cause: the action that the goal is set on.
GOALS: Mapping[str, str] = {
    "early_braking": "brake_start_m", "late_braking": "brake_start_m",
    "soft_braking": "mean_deceleration_mps2", "fast_release": "brake_end_m",
    "slow_release": "brake_end_m", "coasting": "coasting_s",
    "slow_minimum": "minimum_speed_mps", "line": "apex_inside_m",
    "late_throttle": "throttle_first_m", "stepped_throttle": "time_to_full_throttle_s",
    "throttle_dip": "full_throttle_m", "lift": "off_full_throttle_s", "gear": "gear",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class CornerRank:
    """A corner in the order of what its account promises.

    ``worth_s`` is what a middle lap lost there against the comparison, by causes that it can
    show; ``certain`` the share of it that stands beyond its interval; ``share_of_laps`` on
    how many laps.
    """

    corner: str
    rank: int
    worth_s: float
    certain: float
    share_of_laps: float
    straight_after_m: float


@dataclass(frozen=True, slots=True)
class WorkItem:
    """One thing to work on.

    Parameters
    ----------
    action, goal, tolerance
        What the best passes did, as the median over them in SI units, with the driver's own
        scatter of it; None where no action carries the goal.
    shown_by
        Laps whose passes were the best.
    today, laps
        The middle of what the laps that showed the cause did instead, and these laps.
    worth_s, low_s, high_s
        On a middle lap that shows the cause, times the share of laps.
    """

    corner: str
    cause: str
    against: str
    action: str | None
    today: float | None
    goal: float | None
    tolerance: float | None
    shown_by: tuple[str, ...]
    laps: tuple[str, ...]
    share_of_laps: float
    worth_s: float
    low_s: float
    high_s: float


def rank_corners(
    ledger: Ledger, summaries: Mapping[str, CornerSummary], against: str
) -> tuple[CornerRank, ...]:
    """Rank the corners by what is recoverable × how certain × how repeatable."""
    accounts = [a for a in ledger.accounts if a.against == against]
    corners = dict.fromkeys(r.corner for a in accounts for r in a.rows)
    rows = []
    for corner in corners:
        losses = np.array([_loss(a, corner) for a in accounts])
        certain = _certain(accounts, corner)
        share = float(np.mean(losses >= SEEN_S))
        rows.append((corner, float(np.mean(np.maximum(losses, 0.0))), certain, share))
    rows.sort(key=lambda r: -r[1] * (0.25 + 0.75 * r[2]) * (0.25 + 0.75 * r[3]))
    return tuple(
        CornerRank(
            corner, i + 1, worth, certain, share,
            summaries[corner].straight_after_m if corner in summaries else 0.0,
        )
        for i, (corner, worth, certain, share) in enumerate(rows)
    )  # fmt: skip


def _loss(account: Account, corner: str) -> float:
    return sum(r.cost_s for r in account.rows if r.corner == corner and r.cause != "unexplained")


def _certain(accounts: Sequence[Account], corner: str) -> float:
    lost = [r for a in accounts for r in a.rows if r.corner == corner and r.cost_s > 0]
    total = sum(r.cost_s for r in lost)
    return sum(max(r.low_s, 0.0) for r in lost) / total if total > 0 else 0.0


def find_work(
    passes: Sequence[CornerPass], ledger: Ledger, habits: Sequence[Habit],
    best: Mapping[str, Sequence[str]], length_m: float, against: str = OWN_BEST,
) -> tuple[WorkItem, ...]:  # fmt: skip
    """Find the few things that are worth most, each with the goal that the best passes set.

    Parameters
    ----------
    best
        By corner, the laps whose passes were the best: see `find_best_passes`.
    length_m
        Of the road.
    """
    accounts = [a for a in ledger.accounts if a.against == against]
    items = []
    for habit in habits:
        if habit.against != against:
            continue
        rows = [
            r for a in accounts for r in a.rows
            if (r.corner, r.cause) == (habit.corner, habit.cause) and a.lap in habit.laps
        ]  # fmt: skip
        low, high = (float(np.mean([getattr(r, k) for r in rows])) for k in ("low_s", "high_s"))
        # twice as much where the interval reaches down to nothing
        least = LEAST_WORTH_S if low > 0.0 else 2 * LEAST_WORTH_S
        if habit.share_of_laps * habit.mean_cost_s >= least:
            shown = best.get(habit.corner, ())
            items.append(_item(habit, passes, shown, (low, high), length_m))
    items.sort(key=lambda i: -(0.5 * i.worth_s + 0.5 * max(i.low_s, 0.0)))
    chosen: list[WorkItem] = []
    for item in items:  # one thing a corner: the driver has one pair of hands
        if item.corner not in {c.corner for c in chosen}:
            chosen.append(item)
    return tuple(chosen[:MOST_ITEMS])


def find_best_passes(ledger: Ledger) -> dict[str, tuple[str, ...]]:
    """Find for each corner the laps whose passes were the best, the best first.

    They are those that most laps are held against, a higher place counting for more.
    """
    if len(ledger.traces) < 2:
        return {}
    bases = choose_own_bests(ledger.stretches, ledger.traces)
    out = {}
    for i, stretch in enumerate(ledger.stretches):
        counts: dict[str, int] = {}
        for own in bases.values():
            for place, base in enumerate(own[i]):
                counts[base.lap] = counts.get(base.lap, 0) + BEST_OF - place
        order = sorted(counts, key=lambda lap: -counts[lap])
        size = max(len(own[i]) for own in bases.values())
        out[stretch.corner.id] = tuple(order[:size])
    return out


def add_up_bests(ledger: Ledger, best: Mapping[str, Sequence[str]]) -> float | None:
    """Add up the best pass of every corner, with the straight behind it, s.

    The stretch from the start line to the first corner is the quickest of all laps, and
    the best lap's own passes count as well. None with fewer than two laps.
    """
    traces = {t.lap: t for t in ledger.traces}
    if len(traces) < 2 or not ledger.stretches:
        return None
    first = ledger.stretches[0].first
    total = min(float(t.time[first] - t.time[0]) for t in traces.values())
    quickest = min(traces, key=lambda lap: float(traces[lap].time[-1]))
    for stretch in ledger.stretches:
        passes = [traces[x] for x in (*best.get(stretch.corner.id, ()), quickest) if x in traces]
        total += min(float(t.time[stretch.last] - t.time[stretch.first]) for t in passes)
    return total


def _item(
    habit: Habit, passes: Sequence[CornerPass], best: Sequence[str],
    interval: tuple[float, float], length_m: float,
) -> WorkItem:  # fmt: skip
    action = GOALS.get(habit.cause, "")
    own = values_of(passes, habit.corner, action)
    good = [own[lap] for lap in best if lap in own]
    bad = [own[lap] for lap in habit.laps if lap in own]
    goal = find_middle(good, action, length_m) if good else None
    spread = None
    if goal is not None:
        spread = robust_sd([subtract(v, goal, action, length_m) for v in good])
    share = habit.share_of_laps
    return WorkItem(
        habit.corner, habit.cause, habit.against, action if good else None,
        find_middle(bad, action, length_m) if bad else None, goal, spread, tuple(best),
        tuple(habit.laps), share,
        share * habit.mean_cost_s, share * interval[0], share * interval[1],
    )  # fmt: skip
