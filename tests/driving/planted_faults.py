"""Sessions with single faults of known cost, and how the ledger's rows compare with them.

Circuit, car, drivers and faults are the demo's, all invented. The true cost of a fault is what
the simulator's lap takes longer than the same lap, with the same noise, without it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from lapwright.demo import Fault, FaultCost, Session, make_session
from lapwright.driving.ledger import Account, Row
from lapwright.model.lap import Lap

#: Where each cause costs about 0.04 to 0.6 s in the coach's car, by size: (corner, from, to).
#: A car on the limit that comes late by a metre more leaves the road, so some are narrow.
PLACES: Mapping[str, tuple[tuple[int, float, float], ...]] = {
    "early_braking": (
        (1, 4, 14), (3, 4, 14), (5, 5, 18), (6, 8, 17), (7, 9, 16), (10, 7, 16), (11, 3, 14),
    ),
    "late_braking": ((1, 15.5, 17), (2, 13, 20), (3, 10.5, 12.5), (6, 13.5, 19), (10, 17.5, 20)),
    "soft_braking": (
        (1, 0.1, 0.25), (3, 0.1, 0.25), (5, 0.1, 0.25), (6, 0.2, 0.28), (10, 0.18, 0.28),
        (11, 0.08, 0.2),
    ),
    "fast_release": ((1, 0.44, 0.54), (3, 0.42, 0.52), (6, 0.55, 0.64), (11, 0.28, 0.42)),
    "slow_release": (
        (1, 0.3, 0.9), (2, 0.4, 0.9), (3, 0.5, 1), (5, 0.3, 0.9), (6, 0.4, 1), (7, 0.4, 1),
        (8, 0.3, 0.7), (10, 0.4, 1), (11, 0.6, 1.2),
    ),
    "coasting": (
        (1, 0.7, 1.1), (2, 0.5, 1), (3, 0.6, 1.1), (5, 0.6, 1), (7, 0.4, 1), (8, 0.4, 0.9),
        (10, 0.7, 1.1), (11, 0.6, 1.1),
    ),
    "slow_minimum": (
        (1, 0.8, 2), (2, 0.8, 2), (3, 0.8, 2), (5, 0.8, 2), (6, 0.8, 2), (7, 0.8, 2), (8, 0.8, 2),
        (9, 0.8, 1.6), (11, 0.8, 2),
    ),
    "line": (
        (1, 0.7, 1.6), (2, 0.6, 1.5), (3, 0.7, 1.3), (6, 0.6, 1.5), (7, 0.7, 1.8), (8, 0.6, 1.1),
        (10, 0.7, 1.2), (12, 0.9, 1.1),
    ),
    "late_throttle": (
        (1, 4, 9), (2, 3, 9), (3, 4, 8), (6, 3, 8), (7, 4, 9), (8, 4, 9), (9, 6, 9), (10, 5, 9),
    ),
    "stepped_throttle": (
        (1, 0.4, 0.9), (2, 0.4, 0.9), (5, 0.4, 0.9), (7, 0.4, 0.9), (8, 0.4, 0.9), (9, 0.6, 0.9),
        (10, 0.45, 0.9), (11, 0.4, 0.9),
    ),
    "throttle_dip": (
        (1, 0.5, 0.8), (2, 0.35, 0.8), (3, 0.35, 0.8), (5, 0.45, 0.8), (6, 0.35, 0.8),
        (7, 0.35, 0.8), (9, 0.5, 0.8), (10, 0.5, 0.8), (11, 0.35, 0.8),
    ),
    "lift": ((4, 0.5, 0.8), (9, 0.6, 0.8), (12, 0.45, 0.8)),
    "gear": ((1, 1, 1), (3, 2, 2), (5, 2, 2), (6, 1, 1), (10, 1, 1), (11, 1, 1)),
    "correction": (
        (1, 6, 11), (3, 6, 11), (4, 7, 11), (5, 6, 11), (6, 6, 10), (7, 6, 10), (8, 6, 10),
        (9, 7, 10), (12, 7, 11),
    ),
}  # fmt: skip
#: Costs that are judged, s; and below which a corner of a lap counts as free of faults.
LEAST_S, MOST_S, CLEAN_S = 0.04, 0.6, 0.002
#: One lap in so many is left without a fault.
CLEAN_EVERY = 4


def plan_faults(seed: int, laps: int) -> list[Fault]:
    """Plan one fault on most laps; every cause comes as often as any other over the seeds."""
    rng = np.random.default_rng(seed)
    causes = list(PLACES)
    out = []
    for i, lap in enumerate(x for x in range(1, laps + 1) if x % CLEAN_EVERY):
        cause = causes[(seed * laps + i) % len(causes)]
        corner, low, high = PLACES[cause][rng.integers(len(PLACES[cause]))]
        out.append(Fault(cause, corner, lap, float(rng.uniform(low, high))))  # type: ignore[arg-type]
    return out


def plan_pairs(seed: int, laps: int) -> list[Fault]:
    """Plan two faults on most laps, at least three corners apart."""
    first, second = plan_faults(seed, laps), plan_faults(seed + 7, laps)
    pairs = zip(first, second, strict=True)
    far = [(a, b) for a, b in pairs if abs(a.corner - b.corner) >= 3]
    return [fault for pair in far for fault in pair]


def drive_planted(seed: int, laps: int = 16) -> Session:
    """Drive a session with one fault on most laps."""
    return make_session("coach", laps, seed, faults=plan_faults(seed, laps))


@dataclass(frozen=True)
class Case:
    """One planted fault and the ledger's rows of its corner, the dearest first."""

    cause: str
    corner: int
    true_s: float
    rows: tuple[Row, ...]

    @property
    def row(self) -> Row | None:
        """The row that names the planted cause."""
        return next((r for r in self.rows if self.cause in (r.cause, *merged(r))), None)

    @property
    def named(self) -> bool:
        """Whether the largest row of the corner names it."""
        return bool(self.rows) and self.row is self.rows[0]

    @property
    def cost_s(self) -> float:
        return self.row.cost_s if self.row else 0.0

    @property
    def near(self) -> bool:
        """Whether the cost lies within the larger of 0.02 s and a fifth."""
        return abs(self.cost_s - self.true_s) <= max(0.02, 0.2 * self.true_s)

    @property
    def covered(self) -> bool:
        return self.row is not None and self.row.low_s <= self.true_s <= self.row.high_s

    @property
    def significant(self) -> bool:
        return self.row is not None and self.row.significant


def merged(row: Row) -> tuple[str, ...]:
    """Causes that a row cannot tell from its own."""
    return tuple(getattr(row, "merged", ()))


def pair_by_lap(
    costs: Iterable[FaultCost], laps: Sequence[Lap], accounts: Sequence[Account]
) -> list[tuple[int, Case]]:
    """Pair faults of a judged cost with the rows of their corner, with the lap's number."""
    by_number = {lap.number: lap.id for lap in laps}
    by_lap = {a.lap: a for a in accounts}
    out = []
    for cost in costs:
        account = by_lap.get(by_number.get(cost.lap, ""))
        if cost.fault is None or account is None or not LEAST_S <= cost.total_s <= MOST_S:
            continue
        rows = [r for r in account.rows if r.corner == str(cost.fault.corner)]
        rows.sort(key=lambda r: -r.cost_s)
        case = Case(cost.fault.cause, cost.fault.corner, cost.total_s, tuple(rows))
        out.append((cost.lap, case))
    return out


def pair_up(
    costs: Iterable[FaultCost], laps: Sequence[Lap], accounts: Sequence[Account]
) -> list[Case]:
    """Pair single faults of a judged cost with the rows of their corner."""
    return [case for _, case in pair_by_lap(costs, laps, accounts)]


def find_false(
    costs: Sequence[FaultCost], laps: Sequence[Lap], accounts: Sequence[Account]
) -> tuple[list[Row], int]:
    """Significant rows of corners that no fault touched, and how many such corners of laps."""
    numbers = {lap.id: lap.number for lap in laps}
    false: list[Row] = []
    count = 0
    for account in accounts:
        mine = [c for c in costs if c.lap == numbers[account.lap]]
        for corner in {r.corner for r in account.rows}:
            if any(_touches(cost, int(corner)) for cost in mine):
                continue
            count += 1
            false += [r for r in account.rows if r.corner == corner and r.significant]
    return false, count


def without_channels(laps: Sequence[Lap], names: Sequence[str]) -> list[Lap]:
    """Take channels from laps."""
    return [
        replace(lap, traces={k: t for k, t in lap.traces.items() if k not in names}) for lap in laps
    ]


def _touches(cost: FaultCost, corner: int) -> bool:
    spent = cost.corner_s.get(corner, 0.0) + cost.straight_s.get(corner, 0.0)
    return abs(spent) > CLEAN_S or any(f.corner == corner for f in cost.of)
