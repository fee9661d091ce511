"""Room to be wrong for what a review asks to do later, faster or flat.

The reviewed driver follows his own best lap with what his own laps showed; the guide's car,
which other laps showed, is what he may have at best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from lapwright.driving.action_values import subtract
from lapwright.driving.actions import find_passes
from lapwright.driving.overrun import Ability
from lapwright.driving.passes import CornerPass
from lapwright.driving.review_goals import Goal as Asked
from lapwright.driving.room import (
    Room,
    find_end,
    find_start,
    hold_ability,
    look_for_ability,
    measure_room,
)
from lapwright.driving.room_goals import ASKED, Goal
from lapwright.model.car import Car
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap, Track

_NO_LAP: Final = "no lap could be followed into this corner, or no value to reach was found"


@dataclass(frozen=True, slots=True)
class GoalRoom:
    """The room of a goal, or why there is none; without both it needs none.

    ``laps`` counts the laps whose braking and cornering it rests on.
    """

    room: Room | None = None
    why_null: str = ""
    laps: int = 0


def find_goal_rooms(
    circuit: Circuit, asked: Sequence[Asked], laps: Sequence[Lap], passes: Sequence[CornerPass],
    lap: Lap, car: Car | None = None,
) -> tuple[GoalRoom, ...]:  # fmt: skip
    """Find the room of each goal that asks for later, faster or flat.

    Parameters
    ----------
    asked, laps, passes
        The reviewed driver's goals, laps and passes.
    lap, car
        The guide's lap, which has shown what is asked for, and its car.
    """
    ability, why = look_for_ability(circuit, laps, car)
    shown = {p.corner: p for p in find_passes(circuit, [lap])}
    out: list[GoalRoom] = []
    for one in asked:
        if one.cause not in ASKED:
            out.append(GoalRoom())
            continue
        best = _find_best(one.corner, laps, passes)
        room = None
        if ability is not None and best is not None and one.corner in shown:
            room = _measure(circuit, one, best, (lap, shown[one.corner]), ability, car)
        reason = "" if room is not None else why or _NO_LAP
        out.append(GoalRoom(room, reason, sum(x.used for x in laps)))
    return tuple(out)


def _measure(
    circuit: Circuit, asked: Asked, best: tuple[Track, CornerPass], guide: tuple[Lap, CornerPass],
    ability: Ability, car: Car | None,
) -> Room | None:  # fmt: skip
    track, own = best
    start = find_start(circuit, track, own)
    goal = _as_change(circuit, asked, best, guide)
    if start is None or goal is None:
        return None
    until = find_end(circuit, asked.corner, start)
    held = hold_ability(circuit, track, ability, (start, until), car)
    return measure_room(circuit, goal, (), (), {}, held, car)


def _find_best(
    corner: str, laps: Sequence[Lap], passes: Sequence[CornerPass]
) -> tuple[Track, CornerPass] | None:
    """Find the driver's best pass and its motion."""
    tracks = {lap.id: lap.track for lap in laps if lap.used and lap.track is not None}
    own = [p for p in passes if p.corner == corner and p.lap in tracks]
    if not own:
        return None
    best = min(own, key=lambda p: p.time_s)
    return tracks[best.lap], best


def _as_change(
    circuit: Circuit, asked: Asked, best: tuple[Track, CornerPass], guide: tuple[Lap, CornerPass]
) -> Goal | None:
    """Make the change that is asked for, along the motion that it leads to."""
    (track, own), (lap, shown) = best, guide
    change, action = ASKED[asked.cause]
    by = (lap.driver, lap.id)
    if change == "flat":
        start = None if lap.track is None else find_start(circuit, lap.track, shown)
        return Goal(asked.corner, action, change, None, None, by, own.lap, lap.track, start)
    today, wanted = own.actions.get(action), shown.actions.get(action)
    if asked.action == action:
        today, wanted = asked.today, asked.goal
    start = find_start(circuit, track, own)
    if today is None or wanted is None or start is None:
        return None
    line = track if change == "later" else _speed_up(track, own, wanted)
    goal = Goal(asked.corner, action, change, today, wanted, by, own.lap, line, start)
    return goal if subtract(wanted, today, action, circuit.length_m) > 0.0 else None


def _speed_up(track: Track, own: CornerPass, wanted_mps: float) -> Track:
    """Drive the same line as much faster as its lowest speed has to be."""
    slowest = own.actions.get("minimum_speed_mps")
    factor = 1.0 if not slowest else max(wanted_mps / slowest, 1.0)
    return replace(track, speed=track.speed * factor)
