"""One lap held against others in one stretch: what it lost there, booked to causes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.booking import Booked, book_elements, merge_alike
from lapwright.driving.ledger_stretches import Stretch
from lapwright.driving.ledger_traces import LedgerTrace
from lapwright.driving.redrive import Split, compare_passes
from lapwright.driving.redrive_pass import Motor, Usual
from lapwright.driving.redrive_signs import Signs

Array = NDArray[np.float64]
#: Channels without which some causes look alike.
CHANNELS = ("brake", "throttle", "gear", "steering")


@dataclass(frozen=True, slots=True)
class Entry:
    """What one lap lost in one stretch, averaged over what it is held against.

    ``base_time`` is the time since the stretch began of what it is held against, by sample.
    """

    split: Split
    booked: tuple[Booked, ...]
    base_time: Array


@dataclass(frozen=True, slots=True)
class Comparer:
    """What all comparisons share."""

    stretches: Sequence[Stretch]
    step_m: float
    motor: Motor
    usual: Mapping[str, Usual]

    def entry(self, own: LedgerTrace, bases: Sequence[LedgerTrace], stretch: Stretch) -> Entry:
        """Hold one pass against others and take the mean."""
        usual = self.usual[stretch.corner.id]
        split = _mean(
            [compare_passes(own, b, stretch, self.step_m, self.motor, usual) for b in bases]
        )
        cut = slice(stretch.first, stretch.last + 1)
        time = np.mean([b.time[cut] - b.time[stretch.first] for b in bases], axis=0)
        lacking = [c for c in CHANNELS if any(getattr(t, c) is None for t in (own, *bases))]
        # the wheel of a lap is held against the driver's usual hands, not against the other's
        missing = [c for c in lacking if c != "steering" or own.steering is None]
        booked = merge_alike(book_elements(split.costs, split.signs), missing)
        return Entry(split, booked, time)


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
        for name in ("difference_s", "carried_s", "straight_s", "unexplained_s", "slowed_s")
    }
    return Split(**times, costs=costs, places_m=places, signs=Signs(**signs))
