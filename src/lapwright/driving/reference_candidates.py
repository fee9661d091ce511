"""What an action could be taken on: events that come before it, lap by lap.

Each group of candidates is one way of saying it ("the wheel back to straight"), its
variants are the choices within ("to within 2.5, 5 or 10 %"). An event is a time for each
lap on the clock of `Approaches`; NaN where it did not come.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.approaches import Approaches
from lapwright.driving.reference_views import Seen

Array = NDArray[np.float64]
Kind = Literal["place", "state", "alignment", "view"]
What = Literal[
    "place", "straight_steering", "speed", "gear", "brake_released", "brake_applied", "parallel",
    "lateral_falling", "alignment", "view",
]  # fmt: skip

#: An action so long after what is felt or heard is not taken on it, s: answering it takes a
#: driver 0.2 to 0.5 s, a longer wait he would have to count (common practice, no source).
FELT_S = 0.7
#: The same of what is seen: a line-up or a thing coming into view leaves time to look, s.
LOOKED_S = 1.0
#: A line-up can be foreseen by so much, a state by no more than its own blur, s.
FORESEEN_S, BLUR_S = 0.1, 0.04
#: Something that comes into view cannot be answered faster, s.
REACTION_S = 0.1
#: A speed is looked for so long before the action, s.
LOOK_BACK_S = 2.5
#: Share of the laps in which an event has to come.
COMES_IN = 0.8
#: Steering back to within these shares of the lap's usual largest angle, each a fifth more than
#: the one before: a driver's own level lies within a tenth of one of them.
STRAIGHT_SHARES = tuple(round(float(x), 3) for x in np.geomspace(0.02, 0.35, 16))
#: The wheel has to have been turned by so much more than a level to come back to it: about a
#: level it trembles, and each of those crossings would be another event.
TURNED = 1.5
#: Lateral acceleration fallen to these shares of its peak before.
FALLEN_SHARES = (0.8, 0.5)
#: Gain of speed below which no time is worked out from it, m/s².
LEAST_GAIN = 0.2
#: A speed is read so long before the action: feet move, then the pedal shows it, s.
SPEED_READ_S = (0.1, 0.15, 0.25)
#: The speed looked for is one that all laps but this share had reached by then. The usual one
#: would not have been reached in half of them, and a hand that is early or late would move
#: the event that its own lap is said to have had.
NOT_YET = 0.1


@dataclass(frozen=True, slots=True)
class Group:
    """One way of saying what an action is taken on.

    Parameters
    ----------
    after_s
        How long after the event the action came, shape (laps, variants), NaN where the
        event did not come. For a place it is how much later than its mean place.
    names
        Landmarks, by variant.
    values
        A level by variant: a speed in m/s, a gear, a share of an angle.
    """

    kind: Kind
    what: What
    after_s: Array
    names: tuple[tuple[str, ...], ...]
    values: tuple[float | None, ...]


def list_candidates(
    ways: Approaches, action: str, when: Array, seen: Seen
) -> Iterator[Group]:  # fmt: skip
    """List the groups of candidates that the laps and channels allow.

    Parameters
    ----------
    when
        Time of the action in each lap, shape (laps,), no NaN.
    seen
        What stands beside the road and can be seen from the seat.
    """
    yield _place(ways, when)
    for group in (
        _straight(ways, when),
        _speed(ways, when),
        _gear(ways, action, when),
        _other_action(ways, action, when, "brake_end_m", "brake_released"),
        _other_action(ways, action, when, "brake_start_m", "brake_applied"),
        _parallel(ways, when),
        _falling(ways, when),
        _alignments(ways, when, seen),
        _views(ways, when, seen),
    ):
        if group is not None:
            yield group


def _place(ways: Approaches, when: Array) -> Group:
    s, v = ways.at("s", when), ways.at("speed", when)
    late = (s - s.mean()) / np.maximum(v, 1.0)
    return Group("place", "place", late[:, None], ((),), (None,))


def _straight(ways: Approaches, when: Array) -> Group | None:
    if ways.wheel is None:
        return None
    turned = np.abs(ways.wheel)
    top = float(np.quantile(turned, 0.99))
    events = [
        _fallen(ways, turned, when, share * top, TURNED, last=last)
        for share in STRAIGHT_SHARES
        for last in (False, True)
    ]
    values = tuple(share for share in STRAIGHT_SHARES for _ in range(2))
    return _states("straight_steering", when, events, values)


def _falling(ways: Approaches, when: Array) -> Group | None:
    force = np.abs(ways.lateral)
    peaks = np.array(
        [row[_before(ways, i, when[i])].max(initial=0.0) for i, row in enumerate(force)]
    )
    events = [_fallen(ways, force, when, share * peaks, 1.0) for share in FALLEN_SHARES]
    return _states("lateral_falling", when, events, FALLEN_SHARES)


def _before(ways: Approaches, lap: int, until: float) -> NDArray[np.intp]:
    inside = (ways.clock >= ways.first_s[lap]) & (ways.clock <= until + BLUR_S)
    return np.flatnonzero(inside)


def _fallen(
    ways: Approaches, signal: Array, when: Array, level: float | Array, above: float,
    *, last: bool = False,
) -> Array:  # fmt: skip
    """When a signal came down to a level from well above it: first after its peak, or last."""
    out = np.full(when.size, np.nan)
    levels = np.broadcast_to(level, when.shape)
    for i, row in enumerate(signal):
        way = _before(ways, i, when[i])
        if way.size < 3:
            continue
        peak = int(way[np.argmax(row[way])])
        after = row[peak : way[-1] + 1]
        down = _come_down(after, levels[i], above * levels[i])
        if down.size:
            out[i] = _crossed(ways.clock, row, peak + int(down[-1 if last else 0]), levels[i])
    return out


def _come_down(row: Array, level: float, from_above: float) -> NDArray[np.intp]:
    """First samples at or below a level, each after one above ``from_above``."""
    down = np.flatnonzero((row[:-1] > level) & (row[1:] <= level)) + 1
    high = np.cumsum(row > from_above)[down]
    return down[np.diff(high, prepend=0) > 0]


def _crossed(clock: Array, row: Array, j: int, level: float) -> float:
    share = (row[j - 1] - level) / (row[j - 1] - row[j]) if row[j - 1] != row[j] else 0.0
    return float(clock[j - 1] + share * (clock[j] - clock[j - 1]))


def _speed(ways: Approaches, when: Array) -> Group | None:
    """Take the speed that nearly all laps had shortly before the action, and when they did."""
    events, values = [], []
    for lead in SPEED_READ_S:
        v = ways.at("speed", when - lead)
        gain = (v - ways.at("speed", when - lead - 0.4)) / 0.4
        way = float(np.sign(np.median(gain)))
        level = float(np.quantile(v, NOT_YET if way > 0 else 1.0 - NOT_YET))
        # a lap that was not yet there would have got there by its own gain
        late = way * (level - v) / np.maximum(way * gain, LEAST_GAIN)
        reached = [
            _reached(ways, i, t - lead, level, way) if late[i] < 0 else t - lead + late[i]
            for i, t in enumerate(when)
        ]
        events.append(np.array(reached))
        values.append(level)
    return _states("speed", when, events, tuple(values))


def _reached(ways: Approaches, lap: int, until: float, level: float, way: float) -> float:
    """When a speed was last passed in a direction before a time; NaN where it was not."""
    near = (ways.clock <= until) & (ways.clock > until - LOOK_BACK_S)
    row = np.flatnonzero(near)
    behind = row[way * (ways.speed[lap, row] - level) < 0]
    if behind.size == 0 or behind[-1] + 1 >= ways.clock.size:
        return float("nan")
    return _crossed(ways.clock, ways.speed[lap], int(behind[-1]) + 1, level)


def _gear(ways: Approaches, action: str, when: Array) -> Group | None:
    """Find the last change of gear before the action, to the gear that is usual."""
    if ways.gear is None or action == "gear_change_m":
        return None
    event, into = np.full(when.size, np.nan), np.full(when.size, np.nan)
    for i, changes in enumerate(ways.gear):
        past = changes[changes[:, 0] <= when[i] + BLUR_S]
        if past.size:
            event[i], into[i] = past[-1]
    known = into[np.isfinite(into)]
    if known.size == 0:
        return None
    usual = float(np.median(known))
    event[into != usual] = np.nan
    return _states("gear", when, [event], (usual,))


def _other_action(
    ways: Approaches, action: str, when: Array, other: str, what: What
) -> Group | None:
    applied = what == "brake_applied"
    if action == other or action.startswith("brake") or (applied and action != "gear_change_m"):
        return None
    return _states(what, when, [ways.times[other]], (None,))


def _parallel(ways: Approaches, when: Array) -> Group | None:
    event = np.full(when.size, np.nan)
    for i, row in enumerate(ways.turned):
        way = _before(ways, i, when[i])
        flips = way[:-1][np.diff(np.sign(row[way])) != 0] if way.size > 1 else way[:0]
        if flips.size:
            event[i] = _crossed(ways.clock, row, int(flips[-1]) + 1, 0.0)
    return _states("parallel", when, [event], (None,))


def _states(
    what: What, when: Array, events: list[Array], values: tuple[float | None, ...]
) -> Group | None:
    after = when[:, None] - np.column_stack(events)
    return _kept("state", what, after, ((),) * after.shape[1], values, (-BLUR_S, FELT_S))


def _kept(
    kind: Kind, what: What, after: Array, names: tuple[tuple[str, ...], ...],
    values: tuple[float | None, ...], span: tuple[float, float],
) -> Group | None:  # fmt: skip
    """Keep the variants that come on most laps and usually within a span before the action."""
    keep = []
    for j, column in enumerate(after.T):
        there = column[np.isfinite(column)]
        often = there.size >= max(COMES_IN * column.size, 3)
        if often and span[0] <= float(np.median(there)) <= span[1]:
            keep.append(j)
    if not keep:
        return None
    return Group(
        kind, what, after[:, keep], tuple(names[j] for j in keep), tuple(values[j] for j in keep)
    )


def _alignments(ways: Approaches, when: Array, seen: Seen) -> Group | None:
    pairs, events = seen.find_line_ups(ways, when)
    if not pairs:
        return None
    after = when[:, None] - events
    return _kept(
        "alignment", "alignment", after, pairs, (None,) * len(pairs), (-FORESEEN_S, LOOKED_S)
    )


def _views(ways: Approaches, when: Array, seen: Seen) -> Group | None:
    names, events = seen.find_appearances(ways, when)
    if not names:
        return None
    after = when[:, None] - events
    return _kept("view", "view", after, names, (None,) * len(names), (REACTION_S, LOOKED_S))
