"""The way out of a corner: energy gained or lost against another lap, and by what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.redrive_pass import (
    BRAKED,
    FULL,
    NOT_FULL,
    PICKED,
    Array,
    Flags,
    Motor,
    Pass,
    find_first,
)  # fmt: skip

#: Behind the end of a dip its effect may still come, s.
AFTER_DIP_S = 0.25


@dataclass(frozen=True, slots=True)
class Rest:
    """Behind the turn: energy gained or lost against the base lap, by kind, (4, k)."""

    pushes: Array
    straight: Array
    decay: Array
    picked: tuple[int, int]
    full: tuple[int, int]
    until: int
    dips: tuple[tuple[int, int, int], ...]


def compare_exits(a: Pass, b: Pass, turn: int, step_m: float, motor: Motor) -> Rest:
    """Find the energy that the other lap gains or loses behind the turn, by what it does there.

    A lack of speed fades where power is full: d(Δw)/ds = −(P/v³ + 2c) Δw for w = v²/2, from
    dv/dt = P/v − c v² linearised.
    """
    size = b.speed.size
    at = np.arange(size)
    fading = np.where(_is_full(b, turn, motor), motor.power / np.maximum(b.speed, 8.0) ** 3, 0.0)
    fading = fading + 2 * motor.drag * (fading > 0)
    grown = np.cumsum(fading) * step_m
    decay = np.exp(-(grown - grown[turn]))
    more = (a.speed**2 - b.speed**2) / 2
    push = np.gradient(more, step_m) + fading * more
    push[:turn] = 0.0
    picked, full = _pedal(a, turn), _pedal(b, turn)
    until, kind, dips = _kinds(a, b, turn, (picked, full))

    def gathered(chosen: Flags) -> Array:
        inside = np.where(chosen & (at > turn), push, 0.0)
        return np.asarray(decay * np.cumsum(inside / np.where(at >= turn, decay, 1.0)) * step_m)

    pushes = np.stack([gathered(kind == k) for k in range(1, 5)])
    return Rest(
        pushes, gathered(kind == 0), decay, (picked[0], full[0]), (picked[1], full[1]), until, dips
    )  # fmt: skip


def _is_full(b: Pass, turn: int, motor: Motor) -> Flags:
    if b.throttle is not None:
        return np.asarray(b.throttle > NOT_FULL)
    gained = np.gradient(b.speed) * b.speed
    return np.asarray((np.arange(b.speed.size) > turn) & (gained > 0.6 * motor.power / b.speed))


def _pedal(one: Pass, turn: int) -> tuple[int, int]:
    """Find where the throttle was picked up for good, and where it was full."""
    if one.throttle is None:
        gained = np.gradient(one.speed) * one.speed
        hard = find_first(gained > 0.8 * float(gained[turn:].max()), turn)
        return hard, hard
    full = find_first(one.throttle >= FULL, turn)
    low = np.flatnonzero(one.throttle[: full + 1] < PICKED)
    return (min(int(low[-1]) + 1, full) if low.size else turn), full


def _kinds(
    a: Pass, b: Pass, turn: int, pedals: tuple[tuple[int, int], tuple[int, int]]
) -> tuple[int, NDArray[np.int64], tuple[tuple[int, int, int], ...]]:
    """Kind of every sample: 0 straight, 1 brake dragged on, 2 pick-up, 3 build-up, 4 dip."""
    kind = np.zeros(b.speed.size, dtype=np.int64)
    (picked_a, full_a), (picked_b, full_b) = pedals
    picked = max(picked_a, picked_b, turn)
    until = _settled(a, b, max(full_a, full_b) + 4)
    kind[turn:picked], kind[picked : max(until, picked)] = 2, 3
    if a.brake is not None:
        on = np.flatnonzero(a.brake[turn : picked_a + 1] > BRAKED) + turn
        kind[on] = 1
    dips = []
    for sign, one, full in ((1, a, full_a), (-1, b, full_b)):
        for first, last in _dips(one, full):
            behind = np.cumsum(1 / a.speed[last:])
            end = _settled(a, b, last + int(np.searchsorted(behind, AFTER_DIP_S)))
            # where the other lap is still opening its throttle a dip of the base is no matter
            kind[max(first - 3, picked if sign > 0 else until) : end] = 4
            dips.append((sign, first, last))
    return until, kind, tuple(dips)


def _dips(one: Pass, full: int) -> list[tuple[int, int]]:
    """Stretches behind full throttle on which it was left, and taken again."""
    if one.throttle is None:
        return []
    low = np.r_[False, one.throttle[full:] < NOT_FULL, False]
    edges = np.flatnonzero(np.diff(low.astype(int))) + full
    pairs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [(i, j) for i, j in pairs if j < one.speed.size - 3 and j > i + 2]


def _settled(a: Pass, b: Pass, sample: int) -> int:
    """Sample from which on both laps are in the same gear, so that no change lies half inside."""
    size = b.speed.size
    sample = min(sample, size - 1)
    if a.gear is None or b.gear is None:
        return sample
    apart = np.flatnonzero(np.round(a.gear[sample:]) != np.round(b.gear[sample:]))
    near = (
        apart[: int(np.searchsorted(np.diff(np.r_[0, apart]) > 8, True))] if apart.size else apart
    )
    return min(sample + (int(near[-1]) + 7 if near.size else 0), size)
