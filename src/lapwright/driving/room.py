"""Room to be wrong: what later, faster or flat risks when it is missed by 5 and by 10 m.

Each change goes from what is usual today to what a lap has shown (or to what was only
computed, and then it says so). Nothing here is an order: it is an estimate from past laps
in past conditions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from lapwright.driving.action_values import subtract
from lapwright.driving.ledger_records import OWN_BEST
from lapwright.driving.overrun import (
    BEHIND_M,
    Ability,
    Overrun,
    Shown,
    find_ability,
    run_wide,
    stopping_distance,
)
from lapwright.driving.passes import CornerPass, CornerSummary
from lapwright.driving.room_goals import (
    ASKED,
    Change,
    Goal,
    find_goals,
    measure_after,
)
from lapwright.driving.work_order import WorkItem
from lapwright.model.car import Car, Measured
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap, Track, knows_line
from lapwright.numerics.curves import at_places

#: By how much a change is missed, m.
MISSED_M: Final = (5.0, 10.0)
#: What is asked for may go so much further than a change whose room is known, m and m/s.
SHORT_M, SHORT_MPS = 0.5, 0.1
#: A track that ends sooner after the braking point does not show the corner, m.
LOOKED_OVER_M = 100.0
#: How far behind a corner's end its exit is looked at, m.
EXIT_M = 80.0
#: Nobody steps further at once than this (common practice, no source).
STEP_M, STEP_MPS = 5.0, 1.0
#: Why no run-off is given.
RUNOFF_UNKNOWN: Final = "no wall and no verge is known there"
#: On grass, gravel and in the wet the car stops worse than on the road: share of the braking
#: that counts beyond the edge where no grip is given (an assumption).
BEYOND_GRIP: Final = 0.5


@dataclass(frozen=True, slots=True)
class Missed:
    """What happens when a change is missed by ``by_m``.

    Parameters
    ----------
    edge_mps
        Speed at the road's edge with the hardest braking and turning of these laps; None where
        the car stays on the road.
    worst_mps, best_mps
        The same with the lower bound of what the laps showed often, and with the upper bound
        of their hardest (or with what the car has, where more is known of it).
    edge_m, side
        Where, m along the lap, and on which side: of the lower bound.
    left_m
        Road left where the car stays on it with the lower bound.
    runoff_m
        Run-off left across the road when the car has stopped, with the lower bound of the
        braking shown; below 0 it does not stop in time. None with ``runoff_why_null``.
    """

    by_m: float
    edge_mps: float | None
    worst_mps: float | None
    best_mps: float | None
    edge_m: float | None
    side: Literal["left", "right"] | None
    left_m: float | None
    runoff_m: float | None
    runoff_why_null: str = ""


@dataclass(frozen=True, slots=True)
class Room:
    """One change, what it risks, and the steps to it from today's value."""

    goal: Goal
    missed: tuple[Missed, ...]
    steps: tuple[float, ...]


def find_room(
    circuit: Circuit,
    laps: Sequence[Lap],
    passes: Sequence[CornerPass],
    summaries: Mapping[str, CornerSummary],
    car: Measured | None = None,
    computed: Sequence[Goal] = (),
) -> tuple[Room, ...]:
    """Find the room of every change that the laps show, and of those only computed.

    Empty where the edges were not surveyed, the line is not known or too little braking
    was shown: see `why_no_room`.
    """
    goals = [g for c in circuit.corners for g in find_goals(circuit, c, laps, passes, summaries)]
    there = {(g.corner, g.change) for g in goals}
    goals += [g for g in computed if (g.corner, g.change) not in there]
    return measure_rooms(circuit, goals, laps, passes, summaries, car)


def list_asked(
    work: Sequence[WorkItem], rooms: Sequence[Room], laps: Sequence[Lap], behind: str,
    length_m: float,
) -> list[Goal]:  # fmt: skip
    """List what the order of work asks to do later, faster or flat, and no room covers yet.

    Parameters
    ----------
    behind
        The lap to follow where no lap has shown it.
    length_m
        Of the road.
    """
    drivers = {lap.id: lap.driver for lap in laps}
    goals: dict[tuple[str, Change], Goal] = {}
    for item in work:
        change, action = ASKED.get(item.cause, (None, ""))
        if change is None or any(_covers(room.goal, item, length_m) for room in rooms):
            continue
        if change != "flat" and (item.action != action or None in (item.today, item.goal)):
            continue
        values = (None, None) if change == "flat" else (item.today, item.goal)
        lap = item.shown_by[0] if item.shown_by and item.against == OWN_BEST else None
        shown = None if lap is None else (drivers.get(lap, ""), lap)
        goal = Goal(item.corner, action, change, *values, shown, lap or behind)
        goals.setdefault((item.corner, change), goal)
    return list(goals.values())


def _covers(goal: Goal, item: WorkItem, length_m: float) -> bool:
    """Whether a change goes at least as far as what the order of work asks for."""
    if (goal.corner, goal.change) != (item.corner, ASKED[item.cause][0]):
        return False
    if goal.change == "flat" or item.goal is None:
        return True
    short = SHORT_M if goal.action.endswith("_m") else SHORT_MPS
    return goal.goal is not None and (
        subtract(goal.goal, item.goal, goal.action, length_m) >= -short
    )


def measure_rooms(
    circuit: Circuit, goals: Sequence[Goal], laps: Sequence[Lap], passes: Sequence[CornerPass],
    summaries: Mapping[str, CornerSummary], car: Measured | None = None, has: Car | None = None,
) -> tuple[Room, ...]:  # fmt: skip
    """Measure the room of changes; those that nothing can be said of are left out.

    Parameters
    ----------
    car
        For its width.
    has
        A car whose limits are known from other laps than these.
    """
    ability, _ = look_for_ability(circuit, laps, has)
    if ability is None:
        return ()
    rooms = (measure_room(circuit, g, laps, passes, summaries, ability, car) for g in goals)
    return tuple(room for room in rooms if room is not None)


def why_no_room(circuit: Circuit, laps: Sequence[Lap]) -> str:
    """Say why nothing can be said of room; empty where something can."""
    return look_for_ability(circuit, laps)[1]


def look_for_ability(
    circuit: Circuit, laps: Sequence[Lap], car: Car | None = None
) -> tuple[Ability | None, str]:
    """Find how hard the laps braked and turned, if they can tell room at all; else why not."""
    ability = None
    why = _why_no_line(circuit, laps)
    if not why:
        ability = find_ability(circuit, laps, car)
        why = "" if ability else "too little braking and cornering was shown"
    return ability, why


def _why_no_line(circuit: Circuit, laps: Sequence[Lap]) -> str:
    if not circuit.surveyed:
        return "the edges were not surveyed"
    used = [lap.track for lap in laps if lap.used and lap.track is not None]
    if not used or not all(knows_line(track.n_sd) for track in used):
        return "the positions are not good enough to tell a line"
    return ""


def measure_room(
    circuit: Circuit, goal: Goal, laps: Sequence[Lap], passes: Sequence[CornerPass],
    summaries: Mapping[str, CornerSummary], ability: Ability, car: Measured | None = None,
) -> Room | None:  # fmt: skip
    """Measure what missing a change by `MISSED_M` risks; None where nothing can be followed."""
    followed = _follow(circuit, goal, laps, passes)
    if followed is None:
        return None
    track, here = followed
    if not track.s[0] + 2.0 < here < track.s[-1] - LOOKED_OVER_M:
        return None
    half = 0.5 * car.width_m if car is not None else 0.0
    until = find_end(circuit, goal.corner, here)
    wanted = goal.goal if goal.change == "later" else None
    later = 0.0 if wanted is None else max(measure_after(circuit, here, wanted), 0.0)
    # a computed line is held against what was shown alone, and may ask for more than that
    held = (
        ability
        if goal.line is not None
        else hold_ability(circuit, track, ability, (here, until), car)
    )
    tried = list_tried(held)
    missed, before = [], [Overrun(None, None, 0, 99.0)] * 3
    for by in MISSED_M:
        late = here + later + by
        runs = [run_wide(circuit, track, s, here, late, half, until) for s in tried]
        before = [_worse(one, two) for one, two in zip(before, put_in_order(runs), strict=True)]
        missed.append(_missed(circuit, by, before, ability.lower))
    return Room(goal, tuple(missed), find_steps(circuit, goal, summaries.get(goal.corner)))


def list_tried(ability: Ability) -> list[Shown]:
    """List what is tried: the hardest, the lower bound of the often shown, and upper bounds."""
    upper = [ability.upper] if ability.car is None else [ability.upper, ability.car]
    return [ability.hardest, ability.lower, *upper]


def hold_ability(
    circuit: Circuit, track: Track, ability: Ability, through: tuple[float, float],
    car: Measured | None = None,
) -> Ability:  # fmt: skip
    """Raise each ability until it holds a driven lap on the road.

    A lap that leaned on more than the others in this corner has shown that much here.

    Parameters
    ----------
    through
        Where the lap was braked, and the last place that is looked at.
    """
    half = 0.5 * car.width_m if car is not None else 0.0

    def hold(shown: Shown) -> Shown:
        here, until = through
        for factor in np.arange(1.0, 1.0 + 2.0 * shown.spread, 0.01):
            raised = shown.scaled(float(factor))
            if run_wide(circuit, track, raised, here, here, half, until).edge_mps is None:
                return raised
        return shown.scaled(1.0 + 2.0 * shown.spread)

    lower, hardest, upper = map(hold, (ability.lower, ability.hardest, ability.upper))
    return replace(ability, lower=lower, hardest=hardest, upper=upper)


def find_end(circuit: Circuit, corner: str, here: float) -> float:
    """Find the last place that belongs to a corner braked for at ``here``, as its track counts.

    What happens in the next corner is no consequence that was worked out.
    """
    end = next((c.end_m for c in circuit.corners if c.id == corner), None)
    return here + BEHIND_M if end is None else here + (end - here) % circuit.length_m + EXIT_M


def put_in_order(runs: Sequence[Overrun]) -> list[Overrun]:
    """Take the usual, the worst and the best of runs with the hardest, a lower and upper bounds.

    The fits of what was shown may cross where no lap backs them; the bounds never do.
    """
    usual, lower, *upper = runs
    best = usual
    for run in upper:
        best = run if _worse(best, run) is best else best
    return [usual, _worse(lower, usual), best]


def _worse(one: Overrun, two: Overrun) -> Overrun:
    """Take the faster one at the edge, or the nearer to it: missing more is never less bad."""
    if one.edge_mps is None and two.edge_mps is None:
        return min(one, two, key=lambda o: o.least_m)
    return max(one, two, key=lambda o: o.edge_mps or 0.0)


def _follow(
    circuit: Circuit, goal: Goal, laps: Sequence[Lap], passes: Sequence[CornerPass]
) -> tuple[Track, float] | None:
    """Find the motion that a change follows, and where it begins to brake, or else turns in."""
    if goal.line is not None and goal.line_brake_m is not None:
        return goal.line, _on_track(circuit, goal.line, goal.line_brake_m)
    lap = next((lap for lap in laps if lap.id == goal.behind), None)
    own = next((p for p in passes if p.lap == goal.behind and p.corner == goal.corner), None)
    if lap is None or lap.track is None or own is None:
        return None
    start = find_start(circuit, lap.track, own)
    return None if start is None else (lap.track, start)


def find_start(circuit: Circuit, track: Track, own: CornerPass) -> float | None:
    """Find where a pass begins to brake, or else lifts or turns in, m along its lap's track."""
    names = ("brake_start_m", "off_throttle_m", "turn_in_m")
    place = next((p for n in names if (p := own.actions.get(n)) is not None), None)
    return None if place is None else _on_track(circuit, track, place)


def _missed(circuit: Circuit, by: float, cases: Sequence[Overrun], lower: Shown) -> Missed:
    usual, worst, best = cases
    side: Literal["left", "right"] = "left" if worst.side > 0 else "right"
    stays = worst.edge_mps is None
    run_off, why = (None, "") if stays else _run_off_left(circuit, worst, lower)
    return Missed(
        by_m=by,
        edge_mps=usual.edge_mps,
        worst_mps=worst.edge_mps,
        best_mps=best.edge_mps,
        edge_m=worst.edge_m,
        side=None if stays else side,
        left_m=worst.least_m if stays else None,
        runoff_m=run_off,
        runoff_why_null="the car stays on the road" if stays else why,
    )


def _run_off_left(circuit: Circuit, worst: Overrun, lower: Shown) -> tuple[float | None, str]:
    """Run-off left across the road when the car has stopped beyond the edge, m."""
    if worst.edge_m is None or worst.edge_mps is None:
        return None, ""
    width, grip = find_run_off(circuit, worst.edge_m, worst.side)
    if width is None:
        return None, RUNOFF_UNKNOWN
    v = worst.edge_mps
    brake = (lower.brake[0] + lower.brake[1] * v * v / 2) * grip
    return width - stopping_distance(v, brake) * float(np.sin(worst.angle_rad)), ""


def find_run_off(circuit: Circuit, s: float, side: int) -> tuple[float | None, float]:
    """Metres from the road's edge to the nearest wall, or to the verge's end, and its grip.

    The grip is a share of the road's, half where it is not given.
    """
    width, grip = None, BEYOND_GRIP
    for span in circuit.spans:
        along = (s - span.start_m) % circuit.length_m
        long = (span.end_m - span.start_m) % circuit.length_m
        if span.end_m - span.start_m >= circuit.length_m:  # all round the lap
            long = circuit.length_m
        inside = along <= long
        if span.kind not in ("wall", "verge") or not inside:
            continue
        if (span.left_m + span.right_m) * side <= 0:
            continue
        edges = circuit.left if side > 0 else circuit.right
        edge = float(at_places(circuit.length_m, edges, np.array([s]))[0])
        reach = (
            min(abs(span.left_m), abs(span.right_m))
            if span.kind == "wall"
            else max(abs(span.left_m), abs(span.right_m))
        )
        width = reach - edge if width is None else min(width, reach - edge)
        if span.kind == "verge" and span.grip_factor is not None:
            grip = span.grip_factor
    return width, grip


def find_steps(circuit: Circuit, goal: Goal, summary: CornerSummary | None) -> tuple[float, ...]:
    """Values to go through on the way from today's to the goal, the last one the goal.

    No step is longer than `STEP_M` or `STEP_MPS`, nor shorter than half of the driver's own
    scatter: a smaller one would not be noticed.
    """
    if goal.goal is None or goal.today is None:
        return ()
    place = goal.action.endswith("_m")
    whole = measure_after(circuit, goal.today, goal.goal) if place else goal.goal - goal.today
    scatter = summary.actions[goal.action].spread if summary else None
    step = max(STEP_M if place else STEP_MPS, 0.5 * (scatter or 0.0))
    count = max(int(np.ceil(whole / step - 1e-9)), 1)
    values = [goal.today + whole * (k + 1) / count for k in range(count)]
    return tuple(v % circuit.length_m if place else v for v in values)


def _on_track(circuit: Circuit, track: Track, place: float) -> float:
    """Place as a track counts it: a corner before the line may begin in the lap before."""
    tries = (place, place - circuit.length_m, place + circuit.length_m)
    inside = [p for p in tries if track.s[0] < p < track.s[-1]]
    return inside[0] if inside else place
