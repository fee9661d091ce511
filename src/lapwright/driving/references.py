"""What an action repeats with: a place, a state of the car, a line-up, something coming into view.

That an action repeats with something is no proof that it is taken on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from lapwright.driving.approaches import Approaches, build_approaches
from lapwright.driving.grid import build_grid
from lapwright.driving.passes import CornerPass
from lapwright.driving.place_names import PlaceName, name_place
from lapwright.driving.reference_candidates import Kind, What, list_candidates
from lapwright.driving.reference_scores import (
    Scored,
    is_tighter,
    score_group,
    take_off_floor,
    weigh,
)
from lapwright.driving.reference_views import Seen, Visible, look_about
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap

Array = NDArray[np.float64]

#: The actions that references are looked for; a corner without brake has the lift instead.
REFERENCE_ACTIONS = (
    "off_throttle_m", "brake_start_m", "gear_change_m", "brake_end_m", "turn_in_m",
    "throttle_first_m", "full_throttle_m",
)  # fmt: skip
#: Fewer laps say nothing on references.
LEAST_LAPS = 6
#: What scatters more than this about its best reference is taken on none of them, s.
USABLE_S = 0.08
#: Published timing scatter of skilled people in interception tasks, s.
HUMAN_S = 0.010
#: Fewer laps say nothing on how the corner's time goes with an action, and its chance of error.
LEAST_TIMED_LAPS, TIMED_CHANCE = 10, 0.002


@dataclass(frozen=True, slots=True)
class Repeat:
    """One thing that an action repeats with.

    Parameters
    ----------
    names
        Landmarks of a line-up (the nearer one first) or of a view.
    value
        The speed in m/s, the gear, or the share of an angle of a state.
    place
        What a fixed place is called; None for the other kinds.
    delay_s
        Usual time from the event to the action.
    scatter_m, scatter_s
        Cross-validated scatter of the action about it, less what the sensors alone give
        (``floor_s``); no less than that itself, below which nothing can be told.
    odd_laps
        Laps that are not in the scatter: the event did not come, or the action was far off it.
    score
        Share of belief among all that are offered for the action, 0 to 1.
    as_good
        Whether the first one is not better beyond chance: the two cannot be told apart.
    """

    kind: Kind
    what: What
    names: tuple[str, ...]
    value: float | None
    place: PlaceName | None
    delay_s: float
    scatter_m: float
    scatter_s: float
    score: float
    as_good: bool
    odd_laps: int = 0


@dataclass(frozen=True, slots=True)
class TimeRelation:
    """How a corner's time goes with when an action comes, s per m later, 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ActionReferences:
    """What one action of one corner repeats with, first what the laps speak for most.

    Parameters
    ----------
    laps
        Ids of the laps that back it.
    median_m
        Usual place of the action, m from the start line.
    repeats
        All that are offered; empty with a reason in ``why_null``.
    settled
        Whether the first one's kind is clearly tighter than every other kind, beyond chance,
        and tight enough to be of use.
    floor_s, human_s
        Scatter that sensors alone give, and that of a skilled person's timing.
    against_time
        None with a reason in ``time_why_null``.
    """

    corner: str
    action: str
    laps: tuple[str, ...]
    median_m: float | None = None
    repeats: tuple[Repeat, ...] = ()
    settled: bool = False
    floor_s: float | None = None
    human_s: float = HUMAN_S
    against_time: TimeRelation | None = None
    why_null: str | None = None
    time_why_null: str | None = None


def find_references(
    circuit: Circuit,
    laps: Sequence[Lap],
    passes: Sequence[CornerPass],
    *,
    visible: Visible | None = None,
) -> dict[str, tuple[ActionReferences, ...]]:
    """Find what each action of each corner repeats with, by corner id.

    Parameters
    ----------
    laps, passes
        Of one driver.
    visible
        Tells from which places a thing can be seen by the driver; None where no heights
        are known: then nothing is hidden, and nothing comes into view.
    """
    line = np.median(build_grid(circuit, laps).n, axis=0) if passes else np.zeros(circuit.s.size)
    seen = look_about(circuit, line, visible)
    out = {}
    for corner, way in build_approaches(circuit, laps, passes).items():
        found = [_find(seen, way, action) for action in REFERENCE_ACTIONS]
        out[corner] = tuple(one for one in found if one is not None)
    return out


def _find(seen: Seen, way: Approaches, action: str) -> ActionReferences | None:
    times = _action_times(way, action)
    if times is None or (action == "off_throttle_m" and _is_braked(way)):
        return None
    done = np.flatnonzero(np.isfinite(times))
    if done.size < 0.3 * times.size:
        return None
    way = select_laps(way, done)
    when = times[done]
    if done.size < LEAST_LAPS:
        why = f"{done.size} laps; at least {LEAST_LAPS} are needed"
        return ActionReferences(way.corner.id, action, way.laps, why_null=why, time_why_null=why)
    return _judge(seen, way, action, when)


def _judge(seen: Seen, way: Approaches, action: str, when: Array) -> ActionReferences:
    scored = [score_group(g) for g in list_candidates(way, action, when, seen)]
    scored.sort(key=lambda one: one.size_s)
    speed = way.at("speed", when)
    s = way.at("s", when)
    floor = _floor(way, action, float(np.median(speed)))
    ties = [not is_tighter(scored[0].residual, one.residual, floor) for one in scored]
    others = [tie for tie, one in zip(ties, scored, strict=True) if _other(one, scored[0])]
    weights = weigh([one.size_s for one in scored], when.size)
    middle = float(np.median(s))
    place = name_place(seen, way.corner, middle)
    relation, why = _relate(s, way.corner_time)
    return ActionReferences(
        corner=way.corner.id,
        action=action,
        laps=way.laps,
        median_m=middle % seen.circuit.length_m,
        repeats=tuple(
            _repeat(one, speed, place, weight, tie, floor)
            for one, weight, tie in zip(scored, weights, ties, strict=True)
        ),
        settled=not any(others) and scored[0].size_s <= USABLE_S,
        floor_s=floor,
        against_time=relation,
        time_why_null=why,
    )


def _other(one: Scored, first: Scored) -> bool:
    return one.group.kind != first.group.kind


def _repeat(
    one: Scored, speed: Array, place: PlaceName, weight: float, tie: bool, floor: float
) -> Repeat:
    scatter = take_off_floor(one.scatter_s, floor)
    metres = float(np.sqrt(np.nanmean((one.late * speed) ** 2)))
    return Repeat(
        kind=one.group.kind,
        what=one.group.what,
        names=one.group.names[one.best],
        value=one.group.values[one.best],
        place=place if one.group.what == "place" else None,
        delay_s=one.delay_s,
        scatter_m=metres * scatter / max(one.scatter_s, 1e-9),
        scatter_s=scatter,
        score=weight,
        as_good=tie,
        odd_laps=one.odd_laps,
    )


def _floor(way: Approaches, action: str, speed: float) -> float:
    """Scatter in s that sampling (uniform within a sample) and the position alone give."""
    clock = way.steps.get(action, way.steps["turn_in_m"]) / np.sqrt(12.0)
    return float(np.hypot(clock, way.place_sd / max(speed, 1.0)))


def _is_braked(way: Approaches) -> bool:
    return float(np.mean(np.isfinite(way.times["brake_start_m"]))) >= 0.5


def _action_times(way: Approaches, action: str) -> Array | None:
    if action != "gear_change_m":
        return way.times.get(action)
    return first_gear_change(way)


def first_gear_change(way: Approaches) -> Array | None:
    """Time of the first change down on the way in, shape (laps,); None without a gear channel."""
    if way.gear is None:
        return None
    out = np.full(len(way.laps), np.nan)
    for i, changes in enumerate(way.gear):
        begin = way.times["brake_start_m"][i]
        begin = way.times["off_throttle_m"][i] if np.isnan(begin) else begin
        before = changes[changes[:, 0] < begin]
        gear = before[-1, 1] if before.size else np.inf
        for when, into in changes[(changes[:, 0] >= begin) & (changes[:, 0] < 2.0)]:
            if into < gear:
                out[i] = when
                break
            gear = into
    return out


def select_laps(way: Approaches, keep: NDArray[np.intp]) -> Approaches:
    """Return the approaches of some laps only."""
    rows = ("s", "n", "x", "y", "heading", "speed", "acceleration", "lateral", "turned")
    return Approaches(
        corner=way.corner,
        laps=tuple(way.laps[i] for i in keep),
        clock=way.clock,
        **{name: getattr(way, name)[keep] for name in rows},
        wheel=None if way.wheel is None else way.wheel[keep],
        gear=None if way.gear is None else tuple(way.gear[i] for i in keep),
        first_s=way.first_s[keep],
        times={name: column[keep] for name, column in way.times.items()},
        steps=way.steps,
        place_sd=way.place_sd,
        corner_time=way.corner_time[keep],
    )


def _relate(s: Array, corner_time: Array) -> tuple[TimeRelation | None, str | None]:
    """Relate a corner's time to the place of an action by a straight line through the laps."""
    if s.size < LEAST_TIMED_LAPS:
        return None, f"{s.size} laps; at least {LEAST_TIMED_LAPS} are needed"
    x, y = s - s.mean(), corner_time - corner_time.mean()
    size = float(x @ x)
    if size < 1e-6:
        return None, "the place is always the same"
    slope = float(x @ y) / size
    error = float(np.sqrt(np.sum((y - slope * x) ** 2) / (s.size - 2) / size))
    if 2.0 * student.sf(abs(slope) / max(error, 1e-12), s.size - 2) > TIMED_CHANCE:
        return None, "no relation that these laps can show"
    half = float(student.ppf(0.975, s.size - 2)) * error
    return TimeRelation(slope, slope - half, slope + half), None
