"""Habits and one-offs: which causes come again, in how many laps, and what they cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lapwright.driving.ledger import Account

#: A cause was there on a lap when it cost at least this, s.
SEEN_S = 0.02
#: From this share of the laps on a cause is a habit.
HABIT_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Habit:
    """One cause in one corner against one thing.

    ``share_of_laps`` of the laps held against it showed the cause, at ``mean_cost_s`` each;
    ``laps`` are their ids, the dearest first.
    """

    corner: str
    cause: str
    against: str
    share_of_laps: float
    mean_cost_s: float
    laps: tuple[str, ...]

    @property
    def is_habit(self) -> bool:
        """Whether it came on most laps."""
        return self.share_of_laps >= HABIT_SHARE


def find_habits(accounts: Sequence[Account]) -> tuple[Habit, ...]:
    """Count on how many laps each cause cost time, corner by corner, dearest first.

    Causes that were never significant are left out, and so is what stays unexplained.
    """
    laps: dict[str, set[str]] = {}
    costs: dict[tuple[str, str, str], dict[str, float]] = {}
    sure: set[tuple[str, str, str]] = set()
    for account in accounts:
        laps.setdefault(account.against, set()).add(account.lap)
        for row in account.rows:
            key = (row.corner, row.cause, account.against)
            if row.cost_s >= SEEN_S and row.cause != "unexplained":
                costs.setdefault(key, {})[account.lap] = row.cost_s
                if row.significant:
                    sure.add(key)
    found = [
        Habit(
            corner, cause, against, len(by_lap) / len(laps[against]),
            float(np.mean(list(by_lap.values()))),
            tuple(sorted(by_lap, key=lambda lap: -by_lap[lap])),
        )
        for (corner, cause, against), by_lap in costs.items()
        if (corner, cause, against) in sure
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda h: -h.share_of_laps * h.mean_cost_s))
