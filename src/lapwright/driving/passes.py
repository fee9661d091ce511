"""What was found about a corner: one pass of one lap, and all passes together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

CornerKind = Literal["braked", "lifted", "flat"]


@dataclass(frozen=True, slots=True)
class CornerPass:
    """One lap through one corner.

    ``actions`` holds a value for each action of `lapwright.driving.action_names`
    that took place, in SI units; places (``*_m``) are metres from the start line
    along the reference line and may wrap. An action that did not take place
    (no braking in a flat corner) is None.
    """

    corner: str
    lap: str
    time_s: float
    actions: Mapping[str, float | None]


@dataclass(frozen=True, slots=True)
class ActionSummary:
    """One action of one corner over the laps that count.

    Parameters
    ----------
    median, spread
        Median and robust standard deviation (1.4826 MAD) in the action's unit;
        None with fewer than one and three laps.
    n
        Laps in which the action took place.
    floor
        Spread that sensor noise and sampling alone would give, same unit.
    human_floor
        Spread that a timing scatter of 10 ms would give, same unit; None where
        the action is not a moment.
    why_null
        What is missing when there is no value.
    """

    median: float | None
    spread: float | None
    n: int
    floor: float | None
    human_floor: float | None
    why_null: str | None = None


@dataclass(frozen=True, slots=True)
class CornerSummary:
    """All passes of one corner."""

    corner: str
    kind: CornerKind
    actions: Mapping[str, ActionSummary]
    straight_after_m: float
