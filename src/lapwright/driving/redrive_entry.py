"""The way into a corner: at which place each speed is passed, and why."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from lapwright.driving.redrive_pass import (
    BEND_M,
    BRAKES,
    Array,
    Motor,
    Pass,
    Usual,
    find_bend,
    find_peak,
)  # fmt: skip

LEVELS = 100
#: Samples of the speed from the lowest level to the turn.
TAIL = 33
#: Share of the speed lost at which the braking has been done and the release begins.
RELEASING = 0.30


@dataclass(frozen=True, slots=True)
class Way:
    """Places at which both laps, slowing, pass the same speeds; samples as units."""

    levels: Array
    starts: Array
    coast: Array
    place: Array
    level: Array
    release: Array
    peak: int
    peak_other: int
    slight: bool
    tail: Array = field(default_factory=lambda: np.zeros(TAIL))
    tail_change: Array = field(default_factory=lambda: np.zeros(TAIL))


def _slowing(speed: Array, peak: int) -> tuple[Array, Array]:
    """Rising speeds, and the place of each, of the way down from the peak to the last sample."""
    down = np.minimum.accumulate(speed[peak:])[::-1]
    return down + 1e-9 * np.arange(down.size), np.arange(peak, speed.size, dtype=float)[::-1]


def compare_entries(a: Pass, b: Pass, turn: int, slight: bool) -> Way:
    """Find at which places the other lap passes the base lap's speeds on the way to the turn.

    With ``slight`` too little speed is lost to part the shift into its elements.
    """
    peak_a, peak_b = find_peak(a.speed, turn), find_peak(b.speed, turn)
    speed_a, at_a = _slowing(a.speed[: turn + 1], peak_a)
    speed_b, at_b = _slowing(b.speed[: turn + 1], peak_b)
    drop = min(speed_a[-1], speed_b[-1]) - max(speed_a[0], speed_b[0])
    lowest = max(speed_a[0], speed_b[0]) + max(0.15, 0.01 * drop)
    # up to the higher peak: a speed that one of them never reaches stands at its peak
    highest = max(max(speed_a[-1], speed_b[-1]) - 0.05, lowest + 0.1)
    levels = np.linspace(lowest, highest, LEVELS)
    starts = np.interp(levels, speed_b, at_b)
    later = np.interp(levels, speed_a, at_a) - starts
    top = _brake_speed(a, b, peak_a, peak_b, turn, levels)
    zero = np.zeros(LEVELS)
    way = (
        Way(levels, starts, zero, later, zero, zero, peak_b, peak_a, True)
        if slight
        else _part(levels, starts, later, top, peak_b, peak_a)
    )
    tail = _tail(b.speed, levels[0], starts[0], turn)
    other = _tail(a.speed, levels[0], starts[0] + later[0], turn)
    return replace(way, tail=tail, tail_change=other - tail)


def _tail(speed: Array, lowest: float, left: float, turn: int) -> Array:
    """Speed above a straight line from the lowest level, passed at ``left``, to the turn."""
    part = np.linspace(0.0, 1.0, TAIL)
    at = left + part * max(turn - left, 1.0)
    driven = np.interp(at, np.arange(turn + 1), speed[: turn + 1])
    above: Array = driven - (lowest + part * (speed[turn] - lowest))
    return above if left < turn - 1 else np.zeros(TAIL)


def _brake_speed(a: Pass, b: Pass, peak_a: int, peak_b: int, turn: int, levels: Array) -> float:
    """Speed at which both laps brake, so that what lies above is coasting."""
    if a.brake is None or b.brake is None:
        return float(levels[-1])
    on_a = np.flatnonzero(a.brake[peak_a:turn] > BRAKES)
    on_b = np.flatnonzero(b.brake[peak_b:turn] > BRAKES)
    if not (on_a.size and on_b.size):
        return float(levels[-1])
    top = min(a.speed[peak_a + on_a[0]], b.speed[peak_b + on_b[0]])
    return float(np.clip(top, levels[0] + RELEASING * np.ptp(levels), levels[-1]))


def _part(
    levels: Array, starts: Array, later: Array, top: float, peak: int, peak_other: int
) -> Way:
    """Part the shift of every speed: coasting, place, level and release.

    Softer braking is a stretching of the whole way down to the slowest place, which then
    stays where it is. It is measured above the release and continued below it, as far as it
    explains that the braking is done at another place.
    """
    releasing = levels[0] + RELEASING * (levels[-1] - levels[0])

    def shift(v: float) -> float:
        return float(np.interp(v, levels, later))

    def place(v: float) -> float:
        return float(np.interp(v, levels, starts))

    stretched = (shift(top) - shift(releasing)) / max(place(releasing) - place(top), 1.0)
    below = stretched * (starts[0] - place(releasing))
    explains = float(np.clip(shift(releasing) / below, 0.0, 1.0)) if abs(below) > 1e-9 else 0.0
    done = shift(releasing) - explains * below
    coast = np.where(levels > top, later - shift(top), 0.0)
    level = np.where(
        levels > releasing, later - coast - done, explains * stretched * (starts[0] - starts)
    )
    even = np.full(levels.size, done)
    return Way(
        levels, starts, coast, even, level, later - coast - even - level, peak, peak_other, False
    )  # fmt: skip


def find_line_share(
    a: Pass, b: Pass, way: Way, slowest: int, turn: int, usual: Usual, known: bool
) -> tuple[float, float]:
    """Share of the speed lost at the turn that the line explains, and the ratio of speeds.

    A tighter line allows less speed at the same grip: √(curvature). What lies within the
    driver's own scatter is taken for none (shrunk as James and Stein did, 1961).
    """
    first = min(int(way.starts[0]), slowest) - BEND_M
    bend_a, bend_b = (find_bend(x.curvature, first, slowest + BEND_M) for x in (a, b))
    if not known or min(bend_a, bend_b) < 1e-4:
        return 0.0, 0.0
    ratio = -0.5 * float(np.log(np.clip(bend_a / bend_b, 0.4, 2.5)))
    ratio *= max(0.0, 1.0 - (1.5 * usual.line / max(abs(ratio), 1e-9)) ** 2)
    lost = a.speed[turn] - b.speed[turn]
    if abs(lost) < 0.05:
        return 0.0, ratio
    return float(np.clip(b.speed[turn] * np.expm1(ratio) / lost, 0.0, 1.0)), ratio


def find_approaches(
    a: Pass, b: Pass, way: Way, step_m: float, motor: Motor
) -> tuple[Array, Array, Array]:
    """Speed of the base lap without braking, the other's less that, and what is brought along."""
    on_a, on_b = _unbraked(a.speed, way.peak_other), _unbraked(b.speed, way.peak)
    fading = 2 * motor.power / np.maximum(on_b, 8.0) ** 3
    carried = (a.speed[0] - b.speed[0]) * np.exp(-np.cumsum(fading) * step_m)
    return on_b, on_a - on_b - carried, carried


def _unbraked(speed: Array, peak: int) -> Array:
    out = speed.copy()
    back = min(25, peak)
    gain = max(speed[peak] - speed[peak - back], 0.0) / back if back > 3 else 0.0
    out[peak:] = speed[peak] + 0.5 * gain * np.arange(speed.size - peak)
    return out
