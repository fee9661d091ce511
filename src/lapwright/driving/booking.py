"""From elements to causes: what is booked where, and what follows from what."""

from __future__ import annotations

from collections.abc import Mapping
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
LATER_M, APART_M, GEARS, UNRESTED, RESTLESS = 4.0, 0.35, 0.5, 6.5, 2.5
#: A brake that ends so much later, and is lighter than this then, is dragged on.
DRAGGED_S, LONG_DRAGGED_S, DRAG_LEVEL = 0.55, 0.95, 0.30
#: A brake that ends later by less was released as ever.
RELEASED_S = 0.12
#: Braking later shows as a gain of at least this, s.
LATE_GAIN_S = 0.012
#: A dip where the lines are further apart than this is the line's.
DIP_APART_M = 0.8
#: An element this much larger than another of the same braking takes it along.
FOLLOWS = 1.6
#: A drag past the turn counts as the release when it costs this share of what it led to.
DRAG_SHARE = 0.5
#: A line explains what follows it when it costs this share of all behind it.
LINE_SHARE = 0.3
_EPS = 1e-9


@dataclass(frozen=True, slots=True)
class Booked:
    """What a cause cost in s, and the elements it took."""

    cause: Cause
    cost_s: float
    elements: tuple[str, ...]


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
    for cause, own, forced in _departures(costs, left, signs):
        taken = [k for k in own if abs(left.get(k, 0.0)) > _EPS]
        taken += [k for k in forced if left.get(k, 0.0) > _EPS and k not in taken]
        if taken:
            cost = sum(left.pop(k) for k in taken)
            before = out.get(cause, Booked(cause, 0.0, ()))
            out[cause] = replace(
                before, cost_s=before.cost_s + cost, elements=(*before.elements, *taken)
            )
    return tuple(out.values())


def _net(costs: dict[str, float], group: tuple[str, ...]) -> dict[str, float]:
    """Let gains and losses within a group undo each other; their sum stays."""
    known = {k: costs[k] for k in group if k in costs}
    total = sum(known.values())
    same = {k: c for k, c in known.items() if c * total > 0}
    whole = sum(same.values())
    if len(same) == len(known) or not same:
        return costs
    return {**costs, **dict.fromkeys(known, 0.0), **{k: c * total / whole for k, c in same.items()}}


_Departure = tuple[Cause, tuple[str, ...], tuple[str, ...]]
_BEHIND = ("line", "drag", "pick_up", "build", "dip")


def _departures(
    raw: Mapping[str, float], costs: Mapping[str, float], signs: Signs
) -> list[_Departure]:
    """Tell causes in the order in which they take: (cause, its own elements, what it forces).

    Signs go with costs before they were netted.
    """
    out: list[_Departure] = []
    if signs.coast_s > COASTED_S and costs.get("coast", 0.0) + costs.get("approach", 0.0) > 0.0:
        out.append(("coasting", ("coast",), ("approach", "place", "level", "release")))
    late = signs.place_m > LATER_M and raw.get("place", 0.0) < -LATE_GAIN_S
    if late:
        out.append(("late_braking", ("place",), ("release", *_BEHIND)))
    if signs.release_m > LATER_M and raw.get("release", 0.0) < -LATE_GAIN_S:
        out.append(("fast_release", ("release",), _BEHIND))
    elif signs.unrest > UNRESTED and not late:
        out.append(("correction", (), ("release", *_BEHIND)))
    if signs.gear > GEARS:
        out.append(("gear", (), ("release", "pick_up", "build", "dip")))
    place: Cause = "early_braking" if signs.place_m <= 0 else "late_braking"
    early, soft = costs.get("place", 0.0), costs.get("level", 0.0)
    if early > costs.get("release", 0.0) and early > FOLLOWS * soft > 0.0:
        out.append((place, ("place",), ("release", "level")))
    elif early > costs.get("release", 0.0) > 0.0:
        out.append((place, ("place",), ("release",)))
    elif soft > FOLLOWS * early > 0.0:
        out.append(("soft_braking", ("level",), ("place",)))
    out += _of_minimum(costs, signs)
    out += _of_throttle(signs)
    out += [
        ("lift", ("approach",), ()),
        ("coasting", ("coast",), ()),
        (place, ("place",), ()),
        ("soft_braking", ("level",), ()),
        ("slow_minimum", ("release",), ()),
        ("line", ("line",), ()),
        ("slow_release", ("drag",), ()),
    ]
    return out


def _of_minimum(costs: Mapping[str, float], signs: Signs) -> list[_Departure]:
    """Line, release and minimum speed: which of them made the car slow at the turn."""
    release, drag = costs.get("release", 0.0), costs.get("drag", 0.0)
    later = sum(max(costs.get(k, 0.0), 0.0) for k in ("pick_up", "build"))
    line = costs.get("line", 0.0)
    tight = signs.apart_m > APART_M and line > LINE_SHARE * (line + max(release, 0.0) + later)
    if tight:
        return [("line", ("line",), ("release", "drag", "pick_up", "build"))]
    light = 0.0 < signs.drag_level < DRAG_LEVEL
    dragged = signs.drag_s > DRAGGED_S and drag > DRAG_SHARE * max(release, 0.0)
    if light and (dragged or signs.drag_s > LONG_DRAGGED_S):
        return [("slow_release", ("drag",), ("release", "pick_up", "build"))]
    if signs.pick_up_s > WAITED_S and signs.drag_s < RELEASED_S and later > 0.0:
        return [("late_throttle", ("pick_up",), ("release", "line", "build"))]
    if release > 0.0 and release >= later:
        return [("slow_minimum", ("release",), ("line", "drag", "pick_up"))]
    return []


def _of_throttle(signs: Signs) -> list[_Departure]:
    build: Cause = "stepped_throttle" if signs.plateau_s > PLATEAU_S else "late_throttle"
    dip: Cause = "throttle_dip"
    if signs.dip_unrest > RESTLESS:
        dip = "correction"
    elif signs.dip_apart_m > DIP_APART_M:
        dip = "line"
    return [("late_throttle", ("pick_up",), ()), (build, ("build",), ()), (dip, ("dip",), ())]
