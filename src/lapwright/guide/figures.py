"""Figures for sentences: no more decimals than spread and floor can bear."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from lapwright.driving.passes import ActionSummary
from lapwright.guide.document import Text, Value
from lapwright.guide.unit_system import METRIC

#: The timing scatter that the human floor stands for, s.
HUMAN_TIMING_S: Final = 0.010
#: A car that slides runs its outermost wheel by some centimetres elsewhere, m.
WHEEL_KNOWN_TO_M: Final = 0.1


def from_apex(place_m: float, apex_m: float, length_m: float) -> float:
    """Return how far a place lies after the apex in m, before it negative, round the line.

    Examples
    --------
    >>> from_apex(1990.0, 10.0, 2000.0)
    -20.0
    """
    return (place_m - apex_m + length_m / 2) % length_m - length_m / 2


def find_scatter(action: ActionSummary) -> float:
    """Return within what an action is known to repeat, in its unit; 0 where nothing is known."""
    return max(action.floor or 0.0, action.spread or 0.0)


def count_decimals(action: ActionSummary, quantity: str) -> int:
    """Return the decimals, in the metric unit, whose last digit spread and floor can bear.

    One more than usual where at least three laps show it; an edge is not surveyed to
    the centimetre.
    """
    rule = METRIC.quantities[quantity]
    shown = find_scatter(action) * rule.factor
    if not shown > 0.0:
        return rule.decimals
    finer = quantity != "offset" and action.spread is not None
    return int(np.clip(round(-math.log10(shown)), 0, rule.decimals + finer))


def figure(action: ActionSummary, quantity: str, value: float | None = None) -> Value:
    """Return the median (or a value as well known as it) as a figure for a sentence."""
    shown = action.median if value is None else value
    return (shown, quantity, count_decimals(action, quantity))


def width_figure(width: float, quantity: str) -> Value:
    """Return a spread or a floor as a figure: about two digits."""
    fine = "offset" if quantity == "distance" else quantity
    shown = width * METRIC.quantities[fine].factor
    steps = 0.0 < shown < 9.95, 0.0 < shown < 0.095, 0.0 < shown < 0.0095  # never "± 0.0"
    return (width, fine, sum(steps))


def spread_seconds(action: ActionSummary) -> float | None:
    """Return the spread of a place as a time at the speed driven there, in s.

    The human floor is the way driven in `HUMAN_TIMING_S` at that speed.
    """
    if action.spread is None or not action.human_floor:
        return None
    return HUMAN_TIMING_S * action.spread / action.human_floor


def say_spread(action: ActionSummary, quantity: str, laps: int, first: bool = False) -> Text:
    """Say how an action repeats, to stand behind its median.

    ``laps`` is how many count. The ``first`` action of a corner says so; after that only
    what was seen on fewer laps does.
    """
    of = ((float(action.n), "count"), (float(laps), "count"))
    fewer = action.n != laps
    counted = "{0} of {1} laps" if fewer else "{0} laps"
    over = f" over {counted}" if fewer or first else ""
    if action.spread is None:
        alone = "one of {1} laps" if fewer else "one lap"
        few = alone if action.n == 1 else f"the middle of {counted}"
        return Text(f" ({few})", of) if over else Text("")
    if action.floor is not None and action.spread <= action.floor:
        alike = f" (alike{over} within ±\u00a0{{2}}, the least that this log can tell)"
        return Text(alike, (*of, width_figure(action.floor, quantity)))
    if not action.spread > 0.0:
        return Text(f" (alike{over})", of)
    return Text(f" (±\u00a0{{2}}{over})", (*of, width_figure(action.spread, quantity)))
