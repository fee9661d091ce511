"""Changes that a room is measured for: later, faster or flat, by what laps have shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from lapwright.driving.passes import CornerPass, CornerSummary
from lapwright.model.circuit import Circuit, Corner
from lapwright.model.lap import Lap, Track

Change = Literal["later", "faster", "flat"]

#: What the causes of lost time that ask for a change ask for, and of which action.
ASKED: Final[Mapping[str, tuple[Change, str]]] = {
    "early_braking": ("later", "brake_start_m"),
    "slow_minimum": ("faster", "minimum_speed_mps"),
    "lift": ("flat", "off_throttle_m"),
}

#: Smaller changes are no advice: m of braking point, m/s of speed.
LEAST_LATER_M, LEAST_FASTER_MPS = 2.0, 0.3
#: Fewer laps through a corner show no usual value to go on from.
LEAST_LAPS: Final = 3


@dataclass(frozen=True, slots=True)
class Goal:
    """A change: today's usual value and the goal, m along the lap or m/s; None for flat.

    ``shown_by`` is (driver, lap id) of the lap that showed it; None where it was only computed.
    ``behind`` is the lap whose line and speed the estimate follows; a computed change follows
    the computed ``line`` instead, braked at ``line_brake_m``.
    """

    corner: str
    action: str
    change: Change
    today: float | None
    goal: float | None
    shown_by: tuple[str, str] | None
    behind: str
    line: Track | None = None
    line_brake_m: float | None = None


def find_goals(
    circuit: Circuit, corner: Corner, laps: Sequence[Lap], passes: Sequence[CornerPass],
    summaries: Mapping[str, CornerSummary],
) -> list[Goal]:  # fmt: skip
    """Find what one of these laps did later, faster or flat, and no slower, in a corner."""
    summary = summaries.get(corner.id)
    used = {lap.id: lap for lap in laps if lap.used}
    own = [p for p in passes if p.corner == corner.id and p.lap in used]
    if summary is None or len(own) < LEAST_LAPS:
        return []
    usual_s = float(np.median([p.time_s for p in own]))
    good = [p for p in own if p.time_s <= usual_s]
    found = [
        _later(circuit, corner, summary, good, used),
        _faster(corner, summary, good, used),
        _flat(corner, summary, good, used),
    ]
    return [goal for goal in found if goal is not None]


def _later(
    circuit: Circuit, corner: Corner, summary: CornerSummary, good: Sequence[CornerPass],
    laps: Mapping[str, Lap],
) -> Goal | None:  # fmt: skip
    today = _median(summary, "brake_start_m")
    if today is None:
        return None
    late = {
        p.lap: measure_after(circuit, today, place)
        for p in good
        if (place := p.actions["brake_start_m"]) is not None
    }
    if not late:
        return None
    lap = max(late, key=lambda k: late[k])
    if late[lap] < LEAST_LATER_M:
        return None
    place = (today + late[lap]) % circuit.length_m
    return Goal(corner.id, "brake_start_m", "later", today, place, (laps[lap].driver, lap), lap)


def _faster(
    corner: Corner, summary: CornerSummary, good: Sequence[CornerPass], laps: Mapping[str, Lap]
) -> Goal | None:
    today = _median(summary, "minimum_speed_mps")
    fast = {p.lap: v for p in good if (v := p.actions["minimum_speed_mps"]) is not None}
    if today is None or not fast or summary.kind == "flat":
        return None
    lap = max(fast, key=lambda k: fast[k])
    if fast[lap] - today < LEAST_FASTER_MPS:
        return None
    shown = (laps[lap].driver, lap)
    return Goal(corner.id, "minimum_speed_mps", "faster", today, fast[lap], shown, lap)


def _flat(
    corner: Corner, summary: CornerSummary, good: Sequence[CornerPass], laps: Mapping[str, Lap]
) -> Goal | None:
    """Flat where most laps lift and one did not."""
    off = summary.actions.get("off_throttle_m")
    held = [
        p for p in good if p.actions["off_throttle_m"] is None and "throttle" in laps[p.lap].traces
    ]
    if summary.kind != "lifted" or off is None or off.median is None or not held:
        return None
    lap = min(held, key=lambda p: p.time_s).lap
    return Goal(corner.id, "off_throttle_m", "flat", off.median, None, (laps[lap].driver, lap), lap)


def _median(summary: CornerSummary, name: str) -> float | None:
    action = summary.actions.get(name)
    return None if action is None else action.median


def measure_after(circuit: Circuit, place: float, other: float) -> float:
    """How far one place lies after another on the road, before it negative, m."""
    half = 0.5 * circuit.length_m
    return (other - place + half) % circuit.length_m - half
