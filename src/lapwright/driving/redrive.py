"""A corner driven again with elements of another lap: what each of them cost.

A pass is described by how the car came to its speeds. Up to the turn (the slowest place of
the base lap, or where it picks up the throttle, if that is earlier) it is the place at which
each speed is reached; behind it the kinetic energy at each place. Both hold the other lap
exactly once all its elements are put in, so what is left unexplained is what the description
itself gets wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.ledger_stretches import Stretch
from lapwright.driving.ledger_traces import LedgerTrace
from lapwright.driving.redrive_entry import (
    LEVELS,
    RELEASING,
    Way,
    compare_entries,
    find_approaches,
    find_line_share,
)  # fmt: skip
from lapwright.driving.redrive_exit import Rest, compare_exits
from lapwright.driving.redrive_pass import Array, Motor, Pass, Usual, cut_pass, find_turn
from lapwright.driving.redrive_signs import Signs, find_signs
from lapwright.numerics.shapley import share_by_orders

ELEMENTS = (
    "approach", "coast", "place", "level", "release", "line", "drag", "pick_up", "build", "dip",
)  # fmt: skip
#: Most players that are shared over all orders; the others are too small to matter.
PLAYERS = 7
#: An element that changes less than this is none, s.
LEAST_MATTER_S = 1e-4
#: Below it a corner's entry is one element: too little speed is lost to part them, m/s.
SLIGHT_MPS = 4.0


@dataclass(frozen=True, slots=True)
class Split:
    """What one lap lost against another in one stretch, s; + is slower.

    Parameters
    ----------
    difference_s
        Of the measured times. ``carried_s``, ``straight_s``, ``costs`` and
        ``unexplained_s`` add up to it.
    carried_s
        Brought along from before the stretch.
    straight_s
        Of the stretch's own straight.
    slowed_s
        What the lack of speed on arrival can cost at most on the way in, beside ``carried_s``.
    costs
        By element of `ELEMENTS`, those that play.
    places_m
        From where to where each element is seen, m from the start line.
    """

    difference_s: float
    carried_s: float
    straight_s: float
    unexplained_s: float
    slowed_s: float
    costs: Mapping[str, float]
    places_m: Mapping[str, tuple[float, float]]
    signs: Signs


def compare_passes(
    other: LedgerTrace, base: LedgerTrace, stretch: Stretch, step_m: float,
    motor: Motor | None = None, usual: Usual | None = None,
) -> Split:  # fmt: skip
    """Split what ``other`` lost against ``base`` in a stretch among its elements.

    Parameters
    ----------
    step_m
        Distance between the samples of both laps, m.
    motor
        Of the car; a usual one without.
    usual
        The driver's scatter in this corner: what lies within it is no line of its own.
    """
    from lapwright.driving import redrive_kernels as kernels

    a, b = (cut_pass(t, stretch.first, stretch.last) for t in (other, base))
    known = other.knows_line and base.knows_line
    low = stretch.slowest.get(base.lap, int(stretch.first + np.argmin(b.speed)))
    slowest = int(np.clip(low - stretch.first, 3, b.speed.size - 4))
    turn = find_turn(b, slowest)
    way = compare_entries(a, b, turn, stretch.drop_mps < SLIGHT_MPS)
    share, log_ratio = find_line_share(a, b, way, slowest, turn, usual or Usual(), known)
    rest = compare_exits(a, b, turn, step_m, motor or Motor())
    length_a, length_b = (x.speed * np.gradient(x.time) / step_m for x in (a, b))
    if not known:
        length_a = length_b
    shift = np.zeros((kernels.ELEMENTS, LEVELS))
    shift[1:5] = way.coast, way.place, way.level, way.release
    pushes = np.zeros((kernels.ELEMENTS, b.speed.size))
    pushes[6:10] = rest.pushes
    approach, change, carried = find_approaches(a, b, way, step_m, motor or Motor())

    def times(sets: NDArray[np.int64], along: bool = True, straight: bool = True) -> Array:
        return np.asarray(step_m * kernels.redrive_times(
            sets, shift, way.levels, way.starts, way.tail, way.tail_change,
            approach + carried * along, change,
            b.speed**2 / 2 + rest.straight * straight, pushes, rest.decay, turn,
            b.speed[turn], a.speed[turn], share, length_b, length_a,
        ))  # fmt: skip

    none = np.zeros(1, dtype=np.int64)
    bare, along = times(none, False, False)[0], times(none, True, False)[0]
    players = _choose_players(times)
    values = times(_all_sets(players))
    start = values[0]
    costs = {ELEMENTS[k]: float(c) for k, c in zip(players, share_by_orders(values), strict=True)}
    difference = float((a.time[-1] - a.time[0]) - (b.time[-1] - b.time[0]))
    where = _places(way, rest, turn, b.speed.size)
    return Split(
        difference, float(along - bare), float(start - along),
        difference - float(values[-1] - bare), _slowed_s(b, way, carried, turn, step_m), costs,
        {k: _on_lap(where[k], stretch, step_m) for k in costs},
        find_signs(a, b, way, rest, turn, step_m, stretch, usual or Usual(), log_ratio),
    )  # fmt: skip


def _slowed_s(b: Pass, way: Way, carried: Array, turn: int, step_m: float) -> float:
    """Seconds that a lack of speed costs from the brake to the turn if it does not fade.

    Braking from the same place at the same level, v² stays lower by what it was on arrival.
    """
    v = b.speed[way.peak : turn + 1]
    lack = 2 * v[0] * max(-float(carried[way.peak]), 0.0)
    slower = np.sqrt(np.maximum(v**2 - lack, (0.7 * v) ** 2))
    return float(step_m * np.sum(1 / slower - 1 / v))


def _choose_players(times: Callable[[NDArray[np.int64]], Array]) -> NDArray[np.int64]:
    """Elements that matter most, put in first or put in last.

    Put in first alone a lighter brake does nothing to a car that coasts up to it.
    """
    one = 1 << np.arange(len(ELEMENTS))
    every = int(one.sum())
    found = times(np.concatenate([[0, every], one, every - one]))
    first, last = np.split(found[2:], 2)
    matter = np.maximum(np.abs(first - found[0]), np.abs(found[1] - last))
    strong = np.argsort(-matter)[:PLAYERS]
    return np.sort(strong[matter[strong] > LEAST_MATTER_S])


def _all_sets(players: NDArray[np.int64]) -> NDArray[np.int64]:
    """Every set of the players as bits, (2**m,)."""
    code = np.arange(1 << players.size)[:, None]
    bits: NDArray[np.int64] = ((code >> np.arange(players.size) & 1) << players).sum(axis=1)
    return bits


def _on_lap(samples: tuple[int, int], stretch: Stretch, step_m: float) -> tuple[float, float]:
    """Places in m from the start line of two samples of a stretch."""
    first, last = samples
    return step_m * (stretch.first + first), step_m * (stretch.first + last)


def _places(way: Way, rest: Rest, turn: int, size: int) -> dict[str, tuple[int, int]]:
    braked, slowest = int(way.starts[-1]), min(int(way.starts[0]), turn)
    releasing = int(np.interp(RELEASING, np.linspace(0, 1, LEVELS), way.starts))
    dip = [(i, j) for sign, i, j in rest.dips if sign > 0] or [(i, j) for _, i, j in rest.dips]
    picked = max(rest.picked)
    return {
        "approach": (0, braked),
        "coast": (min(way.peak, way.peak_other), braked),
        "place": (braked, releasing),
        "level": (braked, releasing),
        "release": (releasing, turn),
        "line": (slowest, min(turn + 30, size - 1)),
        "drag": (turn, rest.picked[0]),
        "pick_up": (turn, max(picked, turn)),
        "build": (picked, max(rest.until, picked)),
        "dip": dip[0] if dip else (picked, size - 1),
    }
