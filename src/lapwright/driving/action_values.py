"""Values of actions over laps: places on the road wrap at the start line, the rest does not."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from lapwright.driving.action_names import ACTIONS
from lapwright.driving.passes import CornerPass


def values_of(passes: Sequence[CornerPass], corner: str, action: str) -> dict[str, float]:
    """Take one action's value in one corner from every lap that has it."""
    own = {p.lap: p.actions.get(action) for p in passes if p.corner == corner}
    return {lap: v for lap, v in own.items() if v is not None and np.isfinite(v)}


def subtract(value: float, other: float, action: str, length_m: float) -> float:
    """Subtract values of an action, SI; of places the shorter way round, ahead positive."""
    apart = value - other
    row = ACTIONS.get(action)
    if row is None or not row.is_place:
        return apart
    return (apart + length_m / 2) % length_m - length_m / 2


def find_middle(values: Iterable[float], action: str, length_m: float) -> float:
    """Find the median of values of an action; a place lies between 0 and the road's length.

    Raises
    ------
    ValueError
        Without any value.
    """
    first, *more = values
    middle = first + float(
        np.median([subtract(v, first, action, length_m) for v in (first, *more)])
    )
    row = ACTIONS.get(action)
    return middle % length_m if row is not None and row.is_place else middle
