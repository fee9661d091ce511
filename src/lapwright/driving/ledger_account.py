"""One lap's account: its rows, what is brought from corner to corner, what is significant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import false_discovery_control

from lapwright.driving.booking import Booked
from lapwright.driving.ledger_entries import Entry
from lapwright.driving.ledger_records import Account, Against, Row
from lapwright.driving.ledger_scatter import LEAST_SD_S, Scatter, find_chance
from lapwright.driving.ledger_stretches import Stretch
from lapwright.driving.ledger_traces import LedgerTrace
from lapwright.driving.redrive import SLIGHT_MPS
from lapwright.model.circuit import Corner

Array = NDArray[np.float64]

#: Level of false discoveries among the significant rows of a lap.
FALSE_SHARE = 0.10
#: What the model gets wrong of a cost, as a share of it, and of what was brought along.
MODEL_SHARE, BROUGHT_SHARE = 0.2, 0.3
#: Elements of a corner trade with each other: how much one cost is known no better than this
#: share of the scatter of them all, however rare it is that it shows at all.
WHOLE_SHARE = 0.5
#: Who arrives slower by this, or off the others' line by this, brings it along.
SLOWER_MPS, OFF_LINE_M = 0.6, 1.2
#: What is brought along needs a departure of at least this before it, s.
DEPARTURE_S = 0.02
#: A lift so far before a corner that is driven flat is for it, m.
BEFORE_FLAT_M = 60.0
#: Causes that can gain time in their corner and be paid for in the next.
GAIN_FIRST = ("late_braking", "fast_release", "line")
#: Causes that arriving slower makes by itself.
BY_ARRIVAL = ("early_braking", "soft_braking", "coasting", "slow_minimum", "lift")
_ONE_SIDE = 1.645  # of a normal distribution: 90 % within ± so many standard deviations


@dataclass(slots=True)
class _Draft:
    """A row in the making: ``sd_s`` of the scatter, and what was brought to it from behind."""

    row: Row
    middle_s: float
    sd_s: float
    chance: float
    brought_s: float = 0.0


@dataclass(frozen=True, slots=True)
class _Spread:
    """Where a cost lies on other laps: middle, standard deviation, and the least of a cost's."""

    middle_s: float
    sd_s: float
    floor_s: float
    laps: int

    @classmethod
    def of(cls, scatter: Scatter, stretch: int, elements: Sequence[str]) -> _Spread:
        return cls(
            *scatter.of(stretch, elements), WHOLE_SHARE * scatter.whole(stretch), scatter.laps
        )


def make_account(
    stretches: Sequence[Stretch], name: Against, own: LedgerTrace, bases: Sequence[LedgerTrace],
    entries: Sequence[Entry], scatter: Scatter,
) -> Account:  # fmt: skip
    """Make one lap's account out of what it lost in every stretch; ``bases`` of the first."""
    lost = _lost(stretches, own, bases, entries)
    drafts: list[_Draft] = []
    before: list[_Draft] = []
    for i, (stretch, entry) in enumerate(zip(stretches, entries, strict=True)):
        kept = _bring(before, entry)
        slight = (s.corner for s in stretches[i + 1 : i + 2] if s.drop_mps < SLIGHT_MPS)
        lifted = (*stretch.flat, *slight)
        before = [
            _draft(stretch, lifted, entry, booked, _Spread.of(scatter, i, booked.elements))
            for booked in kept
        ]
        drafts += [*before, _unexplained(stretch, entry)]
    rows = _significant([_finish(d) for d in drafts], [d.chance for d in drafts])
    total = float(lost[-1])
    return Account(own.lap, name, total, total - sum(r.cost_s for r in rows), rows, lost)


def _lost(
    stretches: Sequence[Stretch], own: LedgerTrace, bases: Sequence[LedgerTrace],
    entries: Sequence[Entry],
) -> Array:  # fmt: skip
    """Time lost since the start line, stretch by stretch against its own bases."""
    lost = np.zeros(own.time.size)
    until = slice(0, stretches[0].first + 1)
    lost[until] = own.time[until] - own.time[0]
    lost[until] -= np.mean([b.time[until] - b.time[0] for b in bases], axis=0)
    for stretch, entry in zip(stretches, entries, strict=True):
        cut = slice(stretch.first, stretch.last + 1)
        lost[cut] = lost[stretch.first] + own.time[cut] - own.time[stretch.first] - entry.base_time
    return lost


def _bring(before: Sequence[_Draft], entry: Entry) -> tuple[Booked, ...]:
    """Book what a lap brought into a stretch to the departure before; return what stays."""
    to = _departure(before, entry.split.carried_s)
    if to is None:
        return entry.booked
    taken = _by_arrival(entry, to.row.cause in GAIN_FIRST)
    amount = entry.split.carried_s + sum(taken.values())
    if to.row.cause not in GAIN_FIRST and abs(amount) > abs(to.row.cost_s):
        # a slow exit does not cost more behind the next brake than before it
        part = abs(to.row.cost_s / amount)
        amount, taken = part * amount, {cause: part * cost for cause, cost in taken.items()}
    to.brought_s += amount
    return tuple(replace(b, cost_s=b.cost_s - taken.get(b.cause, 0.0)) for b in entry.booked)


def _departure(before: Sequence[_Draft], carried_s: float) -> _Draft | None:
    """Find the row that made a lap arrive as it did: the largest of the corner before."""
    same = [d for d in before if d.row.cost_s * carried_s > 0]
    first = [d for d in before if d.row.cause in GAIN_FIRST and carried_s > 0]
    found = max(same or first, key=lambda d: abs(d.row.cost_s), default=None)
    if first and (found is None or found.row.cost_s < carried_s):
        found = max(first, key=lambda d: abs(d.row.cost_s))
    if found is None or abs(carried_s) < 0.001:
        return None
    return found


def _by_arrival(entry: Entry, off_line: bool) -> dict[str, float]:
    """Find how much of each cause only came of how the lap arrived.

    Who arrives slower and brakes where he always does is too slow all the way down, by as
    much as a lack of speed that does not fade. Who arrives far off the line has to gather the
    car first, and no part of that is a choice of his.
    """
    signs = entry.split.signs
    if off_line and abs(signs.off_m) > OFF_LINE_M:
        return {b.cause: b.cost_s for b in entry.booked if b.cost_s > 0}
    if signs.entry_mps > -SLOWER_MPS:
        return {}
    costs = {b.cause: b.cost_s for b in entry.booked if b.cost_s > 0 and b.cause in BY_ARRIVAL}
    whole = sum(costs.values())
    share = min(1.0, entry.split.slowed_s / whole) if whole > 0 else 0.0
    return {cause: share * cost for cause, cost in costs.items()}


def _draft(
    stretch: Stretch, lifted: Sequence[Corner], entry: Entry, booked: Booked,
    spread: _Spread,
) -> _Draft:  # fmt: skip
    """Draft a row; a dip for one of the corners that are driven flat is a lift there."""
    places = [entry.split.places_m[e] for e in booked.elements if e in entry.split.places_m]
    corner, cause = stretch.corner.id, booked.cause
    dip = entry.split.signs.dip_m
    dipped = "dip" in booked.elements and 2 * entry.split.costs["dip"] > booked.cost_s
    for flat in lifted if dipped else ():
        if flat.start_m - BEFORE_FLAT_M <= dip <= flat.end_m:
            corner, cause = flat.id, "lift" if cause == "throttle_dip" else cause
    row = Row(
        corner, cause, booked.cost_s, 0.0, 0.0, False,
        min(p[0] for p in places), max(p[1] for p in places),
        tuple(c for c in booked.merged if c != cause),
    )  # fmt: skip
    chance = find_chance(booked.cost_s, spread.middle_s, spread.sd_s, spread.laps)
    return _Draft(row, spread.middle_s, max(spread.sd_s, spread.floor_s), chance)


def _finish(draft: _Draft) -> Row:
    cost = draft.row.cost_s + draft.brought_s
    middle = draft.middle_s
    wide = _ONE_SIDE * float(
        np.linalg.norm([draft.sd_s, MODEL_SHARE * cost, BROUGHT_SHARE * draft.brought_s])
    )
    return replace(
        draft.row, cost_s=cost,
        low_s=min(cost - middle - wide, cost), high_s=max(cost - middle + wide, cost),
    )  # fmt: skip


def _unexplained(stretch: Stretch, entry: Entry) -> _Draft:
    ends = entry.split.places_m.values()
    row = Row(
        stretch.corner.id, "unexplained", entry.split.unexplained_s, 0.0, 0.0, False,
        min((p[0] for p in ends), default=stretch.corner.start_m),
        max((p[1] for p in ends), default=stretch.corner.end_m),
    )  # fmt: skip
    return _Draft(row, 0.0, LEAST_SD_S, 1.0)


def _significant(rows: Sequence[Row], chances: Sequence[float]) -> tuple[Row, ...]:
    """Mark rows so that a stated share of the marks is false (Benjamini and Hochberg, 1995)."""
    if not rows:
        return ()
    adjusted = false_discovery_control(np.array(chances))
    return tuple(
        replace(row, significant=bool(p <= FALSE_SHARE))
        for row, p in zip(rows, adjusted, strict=True)
    )
