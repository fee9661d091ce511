"""From elements to causes: what is booked where, and what follows from what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from lapwright.driving.redrive_signs import Signs

Cause = Literal[
    "early_braking", "late_braking", "soft_braking", "fast_release", "slow_release", "coasting",
    "slow_minimum", "line", "late_throttle", "stepped_throttle", "throttle_dip", "lift", "gear",
    "correction", "unexplained",
]  # fmt: skip

#: From these on a sign counts as seen.
COASTED_S, WAITED_S, PLATEAU_S = 0.15, 0.15, 0.12
LATER_M, APART_M, GEARS, GEARS_S, UNRESTED, RESTLESS = 4.0, 0.35, 0.5, 0.6, 6.5, 2.5
#: Hands that follow a line so far off are no unrest; a brake let go of so much sooner, s.
FAR_APART_M, SOONER_S = 0.7, 0.2
#: A throttle that falls by so much on its way to full is dipped, not held.
FELL = 0.15
#: A brake that ends later and is lighter than this then is dragged on, when it does as much
#: in that time as a tenth of the brake for so many tenths of a second (share of the brake, s).
DRAG_LEVEL, DRAGGED = 0.30, 0.038
#: Who lacked this share of the speed before the brake should have ended, or the throttle have
#: been taken, was slow for another reason.
SLOW_BEFORE, SLOW_PICKED = 0.18, 0.42
#: A brake that ends later by less was released as ever.
RELEASED_S = 0.12
#: Braking later shows as a gain of at least this, s.
LATE_GAIN_S = 0.012
#: A dip where the lines are further apart than this is the line's.
DIP_APART_M = 0.8
#: An element this much larger than another of the same braking takes it along.
FOLLOWS = 1.6
#: A line explains what follows it when it costs this share of all behind it.
LINE_SHARE = 0.3
_EPS = 1e-9


@dataclass(frozen=True, slots=True)
class Booked:
    """What a cause cost in s, the elements it took, and causes that look like it."""

    cause: Cause
    cost_s: float
    elements: tuple[str, ...]
    merged: tuple[Cause, ...] = ()


def book_elements(costs: Mapping[str, float], signs: Signs) -> tuple[Booked, ...]:
    """Book the costs of a pass's elements to causes.

    What undoes itself within one braking or one opening of the throttle is netted: the
    larger keeps what is left. A departure takes what it forces upon the later elements:
    a car that comes late or is let go of too fast runs wide and has to wait, one that is
    coasted needs less brake, one on a tighter line is slower. Gains are never forced.

    Returns
    -------
    One for each cause; the costs add up to those given.
    """
    left = _net(dict(costs), ("place", "level", "release"))
    left = _net(left, ("pick_up", "build"))
    left = _net(left, ("release", "build"))
    left = _net(left, ("release", "pick_up"))
    out: dict[Cause, Booked] = {}
    for one in _departures(costs, left, signs):
        taken = [k for k in one.own if abs(left.get(k, 0.0)) > _EPS]
        taken += [k for k in one.forced if left.get(k, 0.0) > _EPS and k not in taken]
        taken += [k for k in one.undone if left.get(k, 0.0) < -_EPS and k not in taken]
        if taken:
            cost = sum(left.pop(k) for k in taken)
            before = out.get(one.cause, Booked(one.cause, 0.0, ()))
            out[one.cause] = replace(
                before, cost_s=before.cost_s + cost, elements=(*before.elements, *taken)
            )
    return tuple(out.values())


#: Causes that look alike without a channel.
_ALIKE: Mapping[str, tuple[tuple[Cause, ...], ...]] = {
    "brake": (
        ("early_braking", "soft_braking", "coasting"),
        ("slow_minimum", "slow_release"),
    ),
    "throttle": (
        ("late_throttle", "stepped_throttle", "throttle_dip", "lift"),
        ("early_braking", "coasting"),
    ),
}
#: What a cause may be as well without a channel.
_ALSO: Mapping[str, tuple[Cause, tuple[Cause, ...]]] = {
    "gear": ("gear", ("late_throttle", "stepped_throttle")),
    "throttle": ("late_throttle", ("slow_minimum",)),
    "steering": ("correction", ("throttle_dip", "lift")),
}


def find_alike(missing: Sequence[str]) -> tuple[frozenset[Cause], ...]:
    """Group causes that cannot be told apart without these channels; no cause is in two."""
    groups: list[frozenset[Cause]] = []
    for channel in missing:
        for alike in map(frozenset, _ALIKE.get(channel, ())):
            joined = [g for g in groups if g & alike]
            groups = [g for g in groups if not g & alike]
            groups.append(alike.union(*joined))
    return tuple(groups)


def merge_alike(booked: Sequence[Booked], missing: Sequence[str]) -> tuple[Booked, ...]:
    """Make one amount of causes that look alike, under the name of the largest.

    ``missing`` are channels; the others that an amount may be stand in its ``merged``.
    """
    out = list(booked)
    for group in find_alike(missing):
        mine = [b for b in out if b.cause in group]
        if mine:
            first = max(mine, key=lambda b: abs(b.cost_s))
            elements = tuple(e for b in mine for e in b.elements)
            others = tuple(sorted(group - {first.cause}))
            one = Booked(first.cause, sum(b.cost_s for b in mine), elements, others)
            out = [one if b is first else b for b in out if b is first or b not in mine]
    for channel in missing:
        also, causes = _ALSO.get(channel, (None, ()))
        if also is not None:
            out = [
                replace(b, merged=(*b.merged, also))
                if {b.cause, *b.merged} & {*causes} and also not in b.merged
                else b
                for b in out
            ]
    return tuple(out)


def _net(costs: dict[str, float], group: tuple[str, ...]) -> dict[str, float]:
    """Let gains and losses within a group undo each other; their sum stays."""
    known = {k: costs[k] for k in group if k in costs}
    total = sum(known.values())
    same = {k: c for k, c in known.items() if c * total > 0}
    whole = sum(same.values())
    if len(same) == len(known) or not same:
        return costs
    return {**costs, **dict.fromkeys(known, 0.0), **{k: c * total / whole for k, c in same.items()}}


@dataclass(frozen=True, slots=True)
class _Departure:
    """A cause, its own elements, what it forces (losses), what undoes a part of it (gains)."""

    cause: Cause
    own: tuple[str, ...]
    forced: tuple[str, ...] = ()
    undone: tuple[str, ...] = ()


_BEHIND = ("line", "drag", "pick_up", "build", "dip")
_BRAKING = ("place", "level", "release")
#: A tighter line is slower, so the brake is needed sooner and the throttle comes later.
_LINE = _Departure("line", ("line",), (*_BRAKING, "drag", "pick_up", "build"))


def _departures(
    raw: Mapping[str, float], costs: Mapping[str, float], signs: Signs
) -> list[_Departure]:
    """Tell causes in the order in which they take.

    Signs go with costs before they were netted.
    """
    out: list[_Departure] = []
    if signs.coast_s > COASTED_S and costs.get("coast", 0.0) + costs.get("approach", 0.0) > 0.0:
        # who arrives slower needs less brake and is sooner on the throttle
        out.append(_Departure("coasting", ("coast",), ("approach", *_BRAKING), _BEHIND))
    late = signs.place_m > LATER_M and raw.get("place", 0.0) < -LATE_GAIN_S
    if late:
        # who comes too fast does nothing behind it as he would have done it
        out.append(_Departure("late_braking", (*_BRAKING, *_BEHIND)))
    let_go = signs.release_m > LATER_M or signs.drag_s < -SOONER_S
    # a car let go of too soon runs on and has to wait: who is on the throttle sooner did not
    if let_go and signs.pick_up_s > -WAITED_S and raw.get("release", 0.0) < -LATE_GAIN_S:
        out.append(_Departure("fast_release", ("release", *_BEHIND)))
    elif signs.unrest > UNRESTED and not late and not _is_line(costs, signs, FAR_APART_M):
        out.append(_Departure("correction", (), ("release", *_BEHIND)))
    if signs.gear > GEARS or signs.gear_s > GEARS_S:
        out.append(_Departure("gear", (), ("release", "pick_up", "build", "dip")))
    if _is_line(costs, signs, APART_M) and costs["line"] > _braked(costs):
        out.append(_LINE)
    place: Cause = "early_braking" if signs.place_m <= 0 else "late_braking"
    early, soft = costs.get("place", 0.0), costs.get("level", 0.0)
    if early > costs.get("release", 0.0) and early > FOLLOWS * soft > 0.0:
        out.append(_Departure(place, ("place",), ("release", "level")))
    elif early > costs.get("release", 0.0) > 0.0:
        out.append(_Departure(place, ("place",), ("release",)))
    elif soft > FOLLOWS * early > 0.0:
        out.append(_Departure("soft_braking", ("level",), ("place",)))
    out += _of_minimum(costs, signs)
    out += _of_throttle(signs)
    out += [
        _Departure("lift", ("approach",)),
        _Departure("coasting", ("coast",)),
        _Departure(place, ("place",)),
        _Departure("soft_braking", ("level",)),
        _Departure("slow_minimum", ("release",)),
        _Departure("line", ("line",)),
        _Departure("slow_release", ("drag",)),
    ]
    return out


def _of_minimum(costs: Mapping[str, float], signs: Signs) -> list[_Departure]:
    """Line, release and minimum speed: which of them made the car slow at the turn.

    A lower speed at the same place needs the brake sooner: that follows as well.
    """
    release, later = costs.get("release", 0.0), _later(costs)
    if _is_line(costs, signs, APART_M):
        return [_LINE]
    dragged = signs.drag_level < DRAG_LEVEL and signs.drag_s * signs.drag_level > DRAGGED
    dragged = dragged and (not signs.slight or costs.get("drag", 0.0) > release)
    # a throttle that waited for the brake as well leaves more room for doubt about the rest
    most = 2 * SLOW_BEFORE if signs.pick_up_s > WAITED_S + PLATEAU_S else SLOW_BEFORE
    if dragged and signs.slow_before < most:
        return [_Departure("slow_release", ("drag",), ("release", "pick_up", "build"))]
    slow = signs.slow_picked > SLOW_PICKED
    if signs.pick_up_s > WAITED_S and signs.drag_s < RELEASED_S and later > 0.0 and not slow:
        return [_Departure("late_throttle", ("pick_up",), ("release", "line", "build"))]
    if release > 0.0 and (release >= later or slow):
        sooner = [k for k in ("place", "level") if costs.get(k, 0.0) < release]
        return [_Departure("slow_minimum", ("release",), (*sooner, "line", "drag", "pick_up"))]
    return []


def _later(costs: Mapping[str, float]) -> float:
    return sum(max(costs.get(k, 0.0), 0.0) for k in ("pick_up", "build"))


def _braked(costs: Mapping[str, float]) -> float:
    return sum(max(costs.get(k, 0.0), 0.0) for k in ("place", "level"))


def _is_line(costs: Mapping[str, float], signs: Signs, apart_m: float) -> bool:
    """Whether another line cost a good part of what was lost at the turn and behind it."""
    line, release = costs.get("line", 0.0), max(costs.get("release", 0.0), 0.0)
    return signs.apart_m > apart_m and line > LINE_SHARE * (line + release + _later(costs))


def _of_throttle(signs: Signs) -> list[_Departure]:
    build: Cause = "stepped_throttle" if signs.plateau_s > PLATEAU_S else "late_throttle"
    if signs.fell > FELL:
        build = "throttle_dip"
    dip: Cause = "throttle_dip"
    if signs.dip_unrest > RESTLESS * (2 if signs.dip_apart_m > DIP_APART_M else 1):
        dip = "correction"  # hands that follow another line are restless by themselves
    elif signs.dip_apart_m > DIP_APART_M:
        dip = "line"
    return [
        _Departure("late_throttle", ("pick_up",)),
        _Departure(build, ("build",)),
        _Departure(dip, ("dip",)),
    ]
