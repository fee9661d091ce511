"""Room to be wrong: what later, faster or flat risks when it is missed by 5 and by 10 m.

Each change goes from what is usual today to what a lap has shown (or to what was only
computed, and then it says so). Nothing here is an order: it is an estimate from past laps
in past conditions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from lapwright.driving.ledger_records import OWN_BEST
from lapwright.driving.overrun import Overrun, Shown, find_shown, run_wide, stopping_distance
from lapwright.driving.passes import CornerPass, CornerSummary
from lapwright.driving.work_order import WorkItem
from lapwright.model.car import Car
from lapwright.model.circuit import Circuit, Corner
from lapwright.model.lap import Lap, Track, knows_line
from lapwright.numerics.curves import at_places

Change = Literal["later", "faster", "flat"]

#: What the causes of lost time that ask for a change ask for, and of which action.
ASKED: Final[Mapping[str, tuple[Change, str]]] = {
    "early_braking": ("later", "brake_start_m"),
    "slow_minimum": ("faster", "minimum_speed_mps"),
    "lift": ("flat", "off_throttle_m"),
}

#: By how much a change is missed, m.
MISSED_M: Final = (5.0, 10.0)
#: Smaller changes are no advice: m of braking point, m/s of speed.
LEAST_LATER_M, LEAST_FASTER_MPS = 2.0, 0.3
#: Fewer laps through a corner show no usual value to go on from.
LEAST_LAPS: Final = 3
#: A track that ends sooner after the braking point does not show the corner, m.
LOOKED_OVER_M = 100.0
#: Nobody steps further at once than this (common practice, no source).
STEP_M, STEP_MPS = 5.0, 1.0
#: Why no run-off is given.
RUNOFF_UNKNOWN: Final = "no wall and no verge is known there"
#: On grass, gravel and in the wet the car stops worse than on the road: share of the braking
#: that counts beyond the edge where no grip is given (an assumption).
BEYOND_GRIP: Final = 0.5


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


@dataclass(frozen=True, slots=True)
class Missed:
    """What happens when a change is missed by ``by_m``.

    Parameters
    ----------
    edge_mps
        Speed at the road's edge as the laps' braking and turning give it; None where the car
        stays on the road.
    worst_mps, best_mps
        The same with the lower and the upper bound of what was shown.
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
    car: Car | None = None,
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
    work: Sequence[WorkItem], rooms: Sequence[Room], laps: Sequence[Lap], behind: str
) -> list[Goal]:
    """List what the order of work asks to do later, faster or flat, and no room covers yet.

    Parameters
    ----------
    behind
        The lap to follow where no lap has shown it.
    """
    drivers = {lap.id: lap.driver for lap in laps}
    covered = {(room.goal.corner, room.goal.change) for room in rooms}
    goals: dict[tuple[str, Change], Goal] = {}
    for item in work:
        change, action = ASKED.get(item.cause, (None, ""))
        if change is None or (item.corner, change) in covered:
            continue
        if change != "flat" and (item.action != action or None in (item.today, item.goal)):
            continue
        values = (None, None) if change == "flat" else (item.today, item.goal)
        lap = item.shown_by[0] if item.shown_by and item.against == OWN_BEST else None
        shown = None if lap is None else (drivers.get(lap, ""), lap)
        goal = Goal(item.corner, action, change, *values, shown, lap or behind)
        goals.setdefault((item.corner, change), goal)
    return list(goals.values())


def measure_rooms(
    circuit: Circuit, goals: Sequence[Goal], laps: Sequence[Lap], passes: Sequence[CornerPass],
    summaries: Mapping[str, CornerSummary], car: Car | None = None,
) -> tuple[Room, ...]:  # fmt: skip
    """Measure the room of changes; those that nothing can be said of are left out."""
    shown = find_shown(circuit, laps)
    if why_no_room(circuit, laps) or shown is None:
        return ()
    rooms = (measure_room(circuit, g, laps, passes, summaries, shown, car) for g in goals)
    return tuple(room for room in rooms if room is not None)


def why_no_room(circuit: Circuit, laps: Sequence[Lap]) -> str:
    """Say why nothing can be said of room; empty where something can."""
    if not circuit.surveyed:
        return "the edges were not surveyed"
    used = [lap.track for lap in laps if lap.used and lap.track is not None]
    if not used or not all(knows_line(track.n_sd) for track in used):
        return "the positions are not good enough to tell a line"
    return "" if find_shown(circuit, laps) else "too little braking and cornering was shown"


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
        p.lap: _after(circuit, today, place)
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


def measure_room(
    circuit: Circuit, goal: Goal, laps: Sequence[Lap], passes: Sequence[CornerPass],
    summaries: Mapping[str, CornerSummary], shown: Shown, car: Car | None = None,
) -> Room | None:  # fmt: skip
    """Measure what missing a change by `MISSED_M` risks; None where nothing can be followed."""
    followed = _follow(circuit, goal, laps, passes)
    if followed is None:
        return None
    track, here = followed
    if not track.s[0] + 2.0 < here < track.s[-1] - LOOKED_OVER_M:
        return None
    half = 0.5 * car.width_m if car is not None else 0.0
    wanted = goal.goal if goal.change == "later" else None
    later = 0.0 if wanted is None else max(_after(circuit, here, wanted), 0.0)
    # a computed change is held against what was shown alone, and may ask for more than that
    least = 0.0 if goal.shown_by is None else _least_ability(circuit, track, shown, here, half)
    factors = [max(k, least) for k in (1.0, 1.0 - shown.spread, 1.0 + shown.spread)]
    missed, before = [], [Overrun(None, None, 0, 99.0)] * 3
    for by in MISSED_M:
        runs = [
            run_wide(circuit, track, shown.scaled(k), here, here + later + by, half)
            for k in factors
        ]
        cases = [_worse(one, two) for one, two in zip(before, runs, strict=True)]
        before = cases
        missed.append(_missed(circuit, by, cases, shown))
    return Room(goal, tuple(missed), find_steps(circuit, goal, summaries.get(goal.corner)))


def _least_ability(circuit: Circuit, track: Track, shown: Shown, here: float, half: float) -> float:
    """Find the least share of what was shown that holds the followed lap itself on the road.

    A lap that leaned on more than the others in this corner has shown that much here.
    """
    for factor in np.arange(1.0 - shown.spread, 1.0 + shown.spread, 0.01):
        if run_wide(circuit, track, shown.scaled(float(factor)), here, here, half).edge_mps is None:
            return float(factor)
    return 1.0 + shown.spread


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
    names = ("brake_start_m", "off_throttle_m", "turn_in_m")
    place = next((p for n in names if (p := own.actions.get(n)) is not None), None)
    return None if place is None else (lap.track, _on_track(circuit, lap.track, place))


def _missed(circuit: Circuit, by: float, cases: Sequence[Overrun], shown: Shown) -> Missed:
    usual, worst, best = cases
    side: Literal["left", "right"] = "left" if worst.side > 0 else "right"
    stays = worst.edge_mps is None
    run_off, why = (None, "") if stays else _run_off_left(circuit, worst, shown)
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


def _run_off_left(circuit: Circuit, worst: Overrun, shown: Shown) -> tuple[float | None, str]:
    """Run-off left across the road when the car has stopped beyond the edge, m."""
    if worst.edge_m is None or worst.edge_mps is None:
        return None, ""
    width, grip = find_run_off(circuit, worst.edge_m, worst.side)
    if width is None:
        return None, RUNOFF_UNKNOWN
    v, low = worst.edge_mps, 1.0 - shown.spread
    brake = low * (shown.brake[0] + shown.brake[1] * v * v / 2) * grip
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
    whole = _after(circuit, goal.today, goal.goal) if place else goal.goal - goal.today
    scatter = summary.actions[goal.action].spread if summary else None
    step = max(STEP_M if place else STEP_MPS, 0.5 * (scatter or 0.0))
    count = max(int(np.ceil(whole / step - 1e-9)), 1)
    values = [goal.today + whole * (k + 1) / count for k in range(count)]
    return tuple(v % circuit.length_m if place else v for v in values)


def _median(summary: CornerSummary, name: str) -> float | None:
    action = summary.actions.get(name)
    return None if action is None else action.median


def _after(circuit: Circuit, place: float, other: float) -> float:
    """How far one place lies after another on the road, before it negative, m."""
    half = 0.5 * circuit.length_m
    return (other - place + half) % circuit.length_m - half


def _on_track(circuit: Circuit, track: Track, place: float) -> float:
    """Place as a track counts it: a corner before the line may begin in the lap before."""
    tries = (place, place - circuit.length_m, place + circuit.length_m)
    inside = [p for p in tries if track.s[0] < p < track.s[-1]]
    return inside[0] if inside else place
