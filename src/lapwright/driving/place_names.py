"""What a place on the road is called: by what stands beside it and can be seen from the seat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lapwright.driving.reference_views import END_NAMES, Seen
from lapwright.model.circuit import Corner, Landmark

By = Literal["landmark", "kerb_start", "kerb_end", "apex"]

#: A landmark is used when the place lies no further past or before it, m.
PAST_M, BEFORE_M = 25.0, 60.0
#: What stands further from the reference line marks no place, m.
BESIDE_M = 25.0
#: From so far back a thing must be visible to be steered by, m.
SEEN_FROM_M = 30.0


@dataclass(frozen=True, slots=True)
class PlaceName:
    """A place by something that can be seen from the seat.

    Parameters
    ----------
    by
        What it is named by; ``apex`` where there is nothing else.
    name
        The landmark's or kerb's name; empty for an apex.
    past_m
        How far the place lies past it along the road, before it negative.
    """

    by: By
    name: str
    past_m: float


def name_place(seen: Seen, corner: Corner, s: float) -> PlaceName:
    """Name a place by the nearest landmark or kerb end that can be seen on the way there."""
    named = [
        (abs(past), PlaceName(by, mark.name, past))
        for k, mark in enumerate(seen.marks)
        if (by := _by(seen, mark)) != "apex"
        and abs(mark.off_m) <= BESIDE_M
        and -BEFORE_M <= (past := -seen.ahead(mark, s)) <= PAST_M
        and seen.sees(s - SEEN_FROM_M - max(past, 0.0), k)
    ]
    if named:
        return min(named, key=lambda one: one[0])[1]
    return PlaceName("apex", "", -seen.ahead(Landmark("", corner.apex_m, 0.0), s))


def _by(seen: Seen, mark: Landmark) -> By:
    if mark in seen.circuit.landmarks:
        return "landmark"
    first, last = END_NAMES
    if mark.name.startswith(first):
        return "kerb_start"
    return "kerb_end" if mark.name.startswith(last) else "apex"
