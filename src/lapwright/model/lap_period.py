"""Laps of a motion without positions: where the bends of the road come again."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lapwright.numerics.series import Motion

Array = NDArray[np.float64]

SPACING_M = 5.0
#: A circuit is at least this long, m.
SHORTEST_M = 300.0
#: Two laps of one road have bends that correlate at least so well.
ALIKE = 0.6
#: Of all periods that fit nearly as well as the best, the shortest is one lap.
NEARLY = 0.93
#: How far laps may differ in driven length, share.
SLACK = 0.02


def find_crossings(motion: Motion) -> tuple[float, ...]:
    """Find times at which the car passes one place of a closed road, from its bends alone.

    The curvature driven, over distance, repeats with every lap: its autocorrelation
    gives the length of a lap, and each lap is then aligned with the one before.

    Returns
    -------
    Times in s, increasing; empty where nothing repeats.
    """
    bend, time = _over_distance(motion)
    lag = _period(bend)
    if lag == 0:
        return ()
    start = _first_fast(motion, time, lag)
    marks = [start]
    while marks[-1] + lag * (1 + SLACK) < bend.size:
        following = _align(bend, marks[-1], lag)
        if following is None:
            break
        marks.append(following)
    while marks[0] - lag * (1 + SLACK) > 0:
        before = _align(bend, marks[0], -lag)
        if before is None:
            break
        marks.insert(0, before)
    return tuple(float(time[m]) for m in marks) if len(marks) > 1 else ()


def _over_distance(motion: Motion) -> tuple[Array, Array]:
    """Curvature smoothed over 25 m, and time, at equal distances driven."""
    step = np.diff(motion.time, prepend=motion.time[0])
    driven = np.cumsum(np.where(motion.speed > 1.0, motion.speed, 0.0) * step)
    places = np.arange(0.0, driven[-1], SPACING_M)
    rising = np.concatenate([[True], np.diff(driven) > 0])
    heading = np.interp(places, driven[rising], np.unwrap(motion.heading)[rising])
    turn = np.gradient(heading, SPACING_M) if places.size > 2 else np.zeros(places.size)
    width = 5
    bend = np.convolve(turn, np.ones(width) / width, mode="same")
    limit = 0.1  # a car turns no tighter than on a 10 m radius; a standing one turns on the spot
    return np.clip(bend, -limit, limit), np.interp(places, driven[rising], motion.time[rising])


def _period(bend: Array) -> int:
    """Lag in samples at which the bends repeat; 0 where they do not."""
    first, last = int(SHORTEST_M / SPACING_M), int(bend.size / 1.15)
    if last <= first + 2:
        return 0
    score = np.array([_alike(bend[:-lag], bend[lag:]) for lag in range(first, last)])
    if score.max() < ALIKE:
        return 0
    good = np.flatnonzero(score >= max(ALIKE, NEARLY * score.max()))
    group = good[: np.flatnonzero(np.diff(np.append(good, good[-1] + 99)) > 1)[0] + 1]
    return first + int(group[np.argmax(score[group])])


def _alike(one: Array, two: Array) -> float:
    size = np.sqrt(float(one @ one) * float(two @ two))
    return float(one @ two) / size if size > 0 else 0.0


def _first_fast(motion: Motion, time: Array, lag: int) -> int:
    """Choose the fastest place of the first lap."""
    speed = np.interp(time, motion.time, motion.speed)
    return int(np.argmax(speed[: max(lag, 2)]))


def _align(bend: Array, mark: int, lag: int) -> int | None:
    """Sample one lap on (or back) at which the bends about a mark come again."""
    half = abs(lag) // 3
    a, b = max(0, mark - half), min(bend.size, mark + half)
    best, at = ALIKE, None
    slack = max(3, int(SLACK * abs(lag)))
    for shift in range(lag - slack, lag + slack + 1):
        c, d = a + shift, b + shift
        if c < 0 or d > bend.size:
            continue
        score = _alike(bend[a:b], bend[c:d])
        if score > best:
            best, at = score, mark + shift
    return at
