"""Corners: where the road and the driven speed ask for cornering force."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.grid import RoadGrid
from lapwright.model.circuit import Circuit, Corner
from lapwright.model.lap import Lap
from lapwright.numerics.curves import smooth_closed
from lapwright.numerics.events import find_runs

Array = NDArray[np.float64]

#: Cornering begins above this share of the highest lateral acceleration driven …
ENTER_SHARE, LEAVE_SHARE = 0.28, 0.14
#: … but not outside these bounds, m/s².
ENTER_BOUNDS = (1.0, 3.5)
#: Cornering force below this share of the smaller of the peaks on both sides parts two bends.
VALLEY = 0.35
#: The same where the road between is straight, bent less than this share of both bends.
SHALLOW_VALLEY, ROAD_VALLEY = 0.7, 0.15
#: A bend that turns the car by less than this is a kink in a straight, rad.
SMALLEST_TURN = 0.14
#: Two bends the same way closer than this, with the road still turning, are one corner, m.
SAME_CORNER_M = 40.0
#: Two bends apart by more than this share of the circuit overlap.
ALL_ROUND = 0.97
#: Share of the softer bend's sharpest curvature at which the road between still turns on.
TURNS_ON = 0.25
#: Speed that has to come off before a corner for its entry to count as slowed, share.
SLOWED = 0.015


#: Full throttle as a share of the pedal's highest plateau, and how long parts two corners, s.
FULL, FULL_S = 0.97, 0.5
#: Laps with less of their time on full throttle than this tell nothing by it.
RARE = 0.1
#: Speed over that at the apex before which counts as having accelerated.
GAIN = 1.08


@dataclass(frozen=True, slots=True)
class _Bend:
    """A stretch of the road in samples, ``end`` may pass the last one."""

    start: int
    end: int
    sign: int


def find_corners(circuit: Circuit, grid: RoadGrid) -> tuple[Corner, ...]:
    """Find the corners of a circuit from its shape and the laps driven.

    A corner begins where the driver starts to slow for it (or where it begins to turn,
    if he does not) and ends where the cornering force is gone. Corners are numbered from
    the start line; those without a stretch of full power between them share a complex.

    Returns
    -------
    Empty without a lap.
    """
    if not grid.laps:
        return ()
    size, step = circuit.s.size, circuit.step_m
    speed = np.median(grid.speed, axis=0)
    bend = smooth_closed(np.median(grid.curvature, axis=0), circuit.length_m, 30.0)
    lateral = speed**2 * bend
    road = smooth_closed(circuit.curvature, circuit.length_m, 30.0)
    bends = _merge(_find_bends(lateral, road), bend, step, size)
    bends = [b for b in bends if _turn(bend, b, step) > SMALLEST_TURN]
    bends.sort(key=lambda b: _apex(bend, b, size))
    apexes = [_apex(bend, b, size) for b in bends]
    starts = [_entry(speed, b, bends[i - 1], size) for i, b in enumerate(bends)]
    corners = [
        Corner(
            id=str(i + 1),
            name="",
            direction="left" if b.sign > 0 else "right",
            start_m=float(circuit.s[start % size]),
            apex_m=float(circuit.s[apex]),
            end_m=float(circuit.s[b.end % size]),
        )
        for i, (b, apex, start) in enumerate(zip(bends, apexes, starts, strict=True))
    ]
    return _name_complexes(corners, grid, circuit)


def ahead(circuit_length_m: float, from_m: float, to_m: float) -> float:
    """Distance from one place forwards to another on a closed road, m."""
    return (to_m - from_m) % circuit_length_m


def _find_bends(lateral: Array, road: Array) -> list[_Bend]:
    top = float(np.quantile(np.abs(lateral), 0.98))
    enter = float(np.clip(ENTER_SHARE * top, *ENTER_BOUNDS))
    leave = enter * LEAVE_SHARE / ENTER_SHARE
    calm = int(np.argmin(np.abs(lateral)))  # begin on a straight, so that no bend is cut in two
    out = []
    for sign in (1, -1):
        turned, shape = np.roll(sign * lateral, -calm), np.roll(sign * road, -calm)
        for a, b in find_runs(turned, enter, leave):
            for first, last in _split(turned[a : b + 1], shape[a : b + 1], enter):
                out.append(_Bend(a + first + calm, a + last + calm, sign))
    return sorted(out, key=lambda b: b.start)


def _split(lateral: Array, road: Array, enter: float) -> list[tuple[int, int]]:
    """Part a run of turning where the cornering force sinks far below that on both sides.

    Where the road itself runs straight between two bends, less of a valley is enough.
    """
    deep = lateral < VALLEY * _lower_side(lateral)
    straight = road < ROAD_VALLEY * _lower_side(np.maximum(road, 0.0))
    shallow = lateral < SHALLOW_VALLEY * _lower_side(lateral)
    return find_runs(np.where(deep | (straight & shallow), 0.0, lateral), enter, 0.0)


def _lower_side(values: Array) -> Array:
    """Lower of the highest values before and after each place."""
    before = np.maximum.accumulate(values)
    return np.minimum(before, np.maximum.accumulate(values[::-1])[::-1])


def _merge(bends: list[_Bend], bend: Array, step: float, size: int) -> list[_Bend]:
    """Join bends the same way that follow each other closely or between which the road turns on.

    They come in order from a straight on, wherever the start line lies.
    """
    out: list[_Bend] = []
    for b in bends:
        last = out[-1] if out else None
        gap = (b.start - last.end) * step if last else np.inf
        if last and last.sign == b.sign and gap < SAME_CORNER_M:
            between = b.sign * bend[np.arange(last.end, max(b.start, last.end + 1)) % size]
            peak = min(_peak(bend, last, size), _peak(bend, b, size))
            if between.min() > TURNS_ON * peak:
                out[-1] = _Bend(last.start, b.end, b.sign)
                continue
        out.append(b)
    return out


def _samples(b: _Bend, size: int) -> NDArray[np.int64]:
    return np.arange(b.start, b.end + 1) % size


def _peak(bend: Array, b: _Bend, size: int) -> float:
    return float((b.sign * bend[_samples(b, size)]).max())


def _turn(bend: Array, b: _Bend, step: float) -> float:
    return float(np.abs(bend[_samples(b, bend.size)].sum()) * step)


def _apex(bend: Array, b: _Bend, size: int) -> int:
    """Sample of the sharpest place: the middle of what exceeds nine tenths of the peak."""
    samples = _samples(b, size)
    curve = b.sign * bend[samples]
    sharp = np.flatnonzero(curve > 0.9 * curve.max())
    return int(samples[sharp[sharp.size // 2]])


def _entry(speed: Array, b: _Bend, before: _Bend, size: int) -> int:
    """Sample at which the driver begins to slow: the fastest place since the bend before."""
    straight = (b.start - before.end) % size
    back = b.start - (min(straight, size // 2) if straight < ALL_ROUND * size else 0)
    if back >= b.start:
        return b.start
    inside = speed[np.arange(b.start, b.end + 1) % size].min()
    way = speed[np.arange(back, b.start + 1) % size]
    fastest = int(back + way.size - 1 - np.argmax(way[::-1]))
    slowed = way.max() > (1 + SLOWED) * inside
    return max(back, fastest - 2) if slowed else b.start


def _name_complexes(corners: list[Corner], grid: RoadGrid, circuit: Circuit) -> tuple[Corner, ...]:
    if len(corners) < 2:
        return tuple(corners)
    linked = [
        not _full_power_between(corners[i], corners[(i + 1) % len(corners)], grid, circuit)
        for i in range(len(corners))
    ]
    names: list[str | None] = [None] * len(corners)
    i = 0
    while i < len(corners):
        j = i
        while j + 1 < len(corners) and linked[j]:
            j += 1
        if j > i:
            for k in range(i, j + 1):
                names[k] = f"{corners[i].id}–{corners[j].id}"
        i = j + 1
    return tuple(replace(c, complex=n) for c, n in zip(corners, names, strict=True))


def _full_power_between(one: Corner, two: Corner, grid: RoadGrid, circuit: Circuit) -> bool:
    """Whether at least half of the laps have a stretch of full power between two apexes.

    That is half a second of full throttle. Drivers who hardly ever reach it, and logs
    without the pedal, are judged by the speed that is gained instead.
    """
    parted = _full_throttle if _knows_full_throttle(grid.laps) else _gains_speed
    votes = [parted(lap, one, two, circuit.length_m) for lap in grid.laps]
    return float(np.mean(votes)) >= 0.5


def _knows_full_throttle(laps: Sequence[Lap]) -> bool:
    shares = [
        float(np.mean(lap.traces["throttle"].values >= FULL)) if "throttle" in lap.traces else 0.0
        for lap in laps
    ]
    return float(np.mean(shares)) >= RARE


def _full_throttle(lap: Lap, one: Corner, two: Corner, length: float) -> bool:
    track, throttle = lap.track, lap.traces.get("throttle")
    if track is None or throttle is None:
        return _gains_speed(lap, one, two, length)
    gap = ahead(length, one.apex_m, two.apex_m)
    place = (np.interp(throttle.time, track.time, track.s) - one.apex_m) % length
    full = (throttle.values >= FULL) & (place <= gap)
    return bool(full.sum() * np.median(np.diff(throttle.time)) >= FULL_S)


def _gains_speed(lap: Lap, one: Corner, two: Corner, length: float) -> bool:
    if lap.track is None:
        return True
    gap = ahead(length, one.apex_m, two.apex_m)
    speed = lap.track.speed[(lap.track.s - one.apex_m) % length <= gap]
    return bool(speed.size > 2 and speed.max() > GAIN * max(speed[0], 1.0))


def keep_corners(old: Sequence[Corner], new: Sequence[Corner]) -> tuple[Corner, ...]:
    """Return the corners kept with the circuit where there are some, else those found."""
    return tuple(old) if old else tuple(new)
