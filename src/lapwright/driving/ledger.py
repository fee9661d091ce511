"""The ledger: every lap's account of time, by corner and by cause, that adds up.

The difference to what a lap is held against is split by stretch (`ledger_stretches`), in a
stretch by element (`redrive`), and elements are booked to causes (`booking`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import false_discovery_control

from lapwright.driving.booking import Booked, book_elements
from lapwright.driving.ledger_bases import Bases, choose_own_bests, find_usual
from lapwright.driving.ledger_scatter import LEAST_SD_S, Scatter, find_chance
from lapwright.driving.ledger_stretches import Stretch, cut_lap
from lapwright.driving.ledger_traces import LedgerTrace, build_traces
from lapwright.driving.passes import CornerPass
from lapwright.driving.redrive import Split, compare_passes
from lapwright.driving.redrive_pass import Motor, Usual
from lapwright.driving.redrive_signs import Signs
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap

Array = NDArray[np.float64]
Against = str

#: Level of false discoveries among the significant rows of a lap.
FALSE_SHARE = 0.10
#: What the model gets wrong of a cost, as a share of it.
MODEL_SHARE = 0.12
#: Who arrives slower by this, and brakes at the same place within this, brakes too soon.
SLOWER_MPS, SAME_PLACE_M = 0.6, 5.0
_ONE_SIDE = 1.645  # of a normal distribution: 90 % within ± so many standard deviations


@dataclass(frozen=True, slots=True)
class Row:
    """One booked amount: s lost (gains below zero), with its 90 % interval."""

    corner: str
    cause: str
    cost_s: float
    low_s: float
    high_s: float
    significant: bool
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True)
class Account:
    """One lap against something: rows and ``straight_s`` add up to ``difference_s``.

    ``lost_s`` is the time lost since the start line at the ledger's samples, (k + 1,).
    """

    lap: str
    against: Against
    difference_s: float
    straight_s: float
    rows: tuple[Row, ...]
    lost_s: Array


@dataclass(frozen=True, slots=True)
class Ledger:
    """All accounts, and the places (m) of their ``lost_s``."""

    accounts: tuple[Account, ...]
    places: Array
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True, slots=True)
class _Entry:
    """What one lap lost in one stretch, averaged over what it is held against."""

    split: Split
    booked: tuple[Booked, ...]
    base_time: Array


def find_ledger(
    circuit: Circuit,
    laps: Sequence[Lap],
    passes: Sequence[CornerPass],
    *,
    motor: Motor | None = None,
    computed: Mapping[Against, Mapping[str, LedgerTrace]] | None = None,
    against_laps: Sequence[str] = (),
    report: Callable[[str, int, int], None] = lambda *_: None,
) -> Ledger:
    """Account for every lap that counts against the driver's own best, and more if asked.

    Parameters
    ----------
    motor
        Power and drag of the car, for how a lack of speed fades; usual ones without.
    computed
        Computed laps to hold laps against: by comparison, then by the lap held against it.
    against_laps
        Laps that all others are held against, as ``lap:ID``.

    Returns
    -------
    Ledger
        Without accounts when fewer than two laps count and nothing was computed.
    """
    traces = build_traces(circuit, laps)
    stretches = cut_lap(circuit, traces, passes)
    if not traces or not stretches:
        return Ledger((), np.zeros(0), ())
    step = circuit.length_m / (traces[0].time.size - 1)
    compare = _Comparer(stretches, step, motor or Motor(), find_usual(stretches, traces))
    made: list[Account] = []
    if len(traces) > 1:
        report("accounting for every lap", 0, 1)
        made += _against(compare, "own_best", traces, choose_own_bests(stretches, traces))
    for name, bases in (computed or {}).items():
        one = {t.lap: [[bases[t.lap]]] * len(stretches) for t in traces if t.lap in bases}
        made += _against(compare, name, [t for t in traces if t.lap in one], one)
    by_id = {t.lap: t for t in traces}
    for lap in against_laps:
        others = [t for t in traces if t.lap != lap]
        made += _against(
            compare, f"lap:{lap}", others, {t.lap: [[by_id[lap]]] * len(stretches) for t in others}
        )
    places = np.linspace(0.0, circuit.length_m, traces[0].time.size)
    return Ledger(tuple(made), places, stretches)


@dataclass(frozen=True, slots=True)
class _Comparer:
    stretches: Sequence[Stretch]
    step_m: float
    motor: Motor
    usual: Mapping[str, Usual]

    def entry(self, own: LedgerTrace, bases: Sequence[LedgerTrace], stretch: Stretch) -> _Entry:
        """Hold one pass against others and take the mean."""
        splits = [
            compare_passes(own, b, stretch, self.step_m, self.motor, self.usual[stretch.corner.id])
            for b in bases
        ]
        split = _mean(splits)
        cut = slice(stretch.first, stretch.last + 1)
        time = np.mean([b.time[cut] - b.time[stretch.first] for b in bases], axis=0)
        return _Entry(split, book_elements(split.costs, split.signs), time)


def _mean(splits: Sequence[Split]) -> Split:
    if len(splits) == 1:
        return splits[0]
    share = 1 / len(splits)
    costs: dict[str, float] = {}
    places: dict[str, tuple[float, float]] = {}
    for split in splits:
        for name, cost in split.costs.items():
            costs[name] = costs.get(name, 0.0) + share * cost
        places = {**split.places_m, **places}
    signs: dict[str, Any] = {}
    for field in fields(Signs):
        values = [getattr(s.signs, field.name) for s in splits]
        known = [v for v in values if v == v]
        signs[field.name] = type(values[0])(np.median(known)) if known else float("nan")
    times = {
        name: float(np.mean([getattr(s, name) for s in splits]))
        for name in ("difference_s", "carried_s", "straight_s", "unexplained_s")
    }
    return Split(**times, costs=costs, places_m=places, signs=Signs(**signs))


def _against(
    compare: _Comparer, name: Against, traces: Sequence[LedgerTrace], bases: Bases
) -> list[Account]:
    """Make all laps' accounts of one comparison, then tell what the scatter allows to say."""
    entries = {
        t.lap: [compare.entry(t, bases[t.lap][i], s) for i, s in enumerate(compare.stretches)]
        for t in traces
    }
    scatter = Scatter(
        [[e.split for e in own] for own in entries.values()], centred=name == "own_best"
    )
    return [_account(compare, name, t, bases[t.lap], entries[t.lap], scatter) for t in traces]


def _account(
    compare: _Comparer, name: Against, own: LedgerTrace, bases: Sequence[Sequence[LedgerTrace]],
    entries: Sequence[_Entry], scatter: Scatter,
) -> Account:  # fmt: skip
    first = compare.stretches[0].first
    before = float(own.time[first] - own.time[0])
    base = float(np.mean([b.time[first] - b.time[0] for b in bases[0]]))
    straight = before - base
    lost = np.zeros(own.time.size)
    lost[: first + 1] = (own.time[: first + 1] - own.time[0]) - np.mean(
        [b.time[: first + 1] - b.time[0] for b in bases[0]], axis=0
    )
    rows: list[Row] = []
    chances: list[float] = []
    for i, (stretch, entry) in enumerate(zip(compare.stretches, entries, strict=True)):
        cut = slice(stretch.first, stretch.last + 1)
        gone = own.time[cut] - own.time[stretch.first] - entry.base_time
        lost[stretch.first :] += gone[-1]
        lost[cut] += gone - gone[-1]
        straight += entry.split.straight_s
        slower = _slowed_before(entry)
        carried = _carry(rows, entry.split.carried_s + sum(b.cost_s for b in slower))
        taken = slower if carried else ()
        straight += entry.split.carried_s + sum(b.cost_s for b in taken) - carried
        for booked in entry.booked:
            if booked in taken:
                continue
            middle, sd = scatter.of(i, booked.elements)
            rows.append(_row(stretch, entry, booked, middle, sd))
            chances.append(find_chance(booked.cost_s, middle, sd, scatter.laps))
        rows.append(_unexplained(stretch, entry))
        chances.append(1.0)
    kept = _significant(rows, chances)
    total = float(lost[-1])
    straight += total - (sum(r.cost_s for r in kept) + straight)
    return Account(own.lap, name, total, straight, kept, lost)


def _slowed_before(entry: _Entry) -> tuple[Booked, ...]:
    """Find what only came of arriving slower: braked where the faster pass brakes, so too soon."""
    signs = entry.split.signs
    if signs.entry_mps > -SLOWER_MPS or abs(signs.brake_start_m) > SAME_PLACE_M:
        return ()
    return tuple(
        b for b in entry.booked
        if b.cost_s > 0 and b.cause in ("early_braking", "soft_braking")
    )  # fmt: skip


def _carry(rows: list[Row], carried_s: float) -> float:
    """Book what was brought along to the row before that it came from; return what was booked."""
    if not rows or abs(carried_s) < 0.001:
        return 0.0
    corner = rows[-1].corner
    same = [
        i for i, r in enumerate(rows)
        if r.corner == corner and r.cause != "unexplained" and r.cost_s * carried_s > 0
    ]  # fmt: skip
    if not same:
        return 0.0
    i = max(same, key=lambda k: abs(rows[k].cost_s))
    share = min(1.0, abs(rows[i].cost_s / carried_s))
    more = share * carried_s
    row = rows[i]
    rows[i] = replace(
        row, cost_s=row.cost_s + more, low_s=row.low_s + more, high_s=row.high_s + more
    )
    return more


def _row(stretch: Stretch, entry: _Entry, booked: Booked, middle: float, sd: float) -> Row:
    cost = booked.cost_s
    wide = _ONE_SIDE * float(np.hypot(sd, MODEL_SHARE * cost))
    places = [entry.split.places_m[e] for e in booked.elements if e in entry.split.places_m]
    corner, cause = stretch.corner.id, booked.cause
    dip = entry.split.signs.dip_m
    for flat in stretch.flat:
        if "dip" in booked.elements and flat.start_m <= dip <= flat.end_m:
            corner, cause = flat.id, "lift" if cause == "throttle_dip" else cause
    return Row(
        corner, cause, cost, min(cost - middle - wide, cost), max(cost - middle + wide, cost),
        False, min(p[0] for p in places), max(p[1] for p in places),
    )  # fmt: skip


def _unexplained(stretch: Stretch, entry: _Entry) -> Row:
    cost = entry.split.unexplained_s
    wide = _ONE_SIDE * float(np.hypot(LEAST_SD_S, MODEL_SHARE * cost))
    ends = entry.split.places_m.values()
    return Row(
        stretch.corner.id, "unexplained", cost, cost - wide, cost + wide, False,
        min((p[0] for p in ends), default=stretch.corner.start_m),
        max((p[1] for p in ends), default=stretch.corner.end_m),
    )  # fmt: skip


def _significant(rows: Sequence[Row], chances: Sequence[float]) -> tuple[Row, ...]:
    """Mark rows so that a stated share of the marks is false (Benjamini and Hochberg, 1995)."""
    if not rows:
        return ()
    adjusted = false_discovery_control(np.array(chances))
    return tuple(
        replace(row, significant=bool(p <= FALSE_SHARE))
        for row, p in zip(rows, adjusted, strict=True)
    )
