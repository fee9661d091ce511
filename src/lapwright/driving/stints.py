"""Several sessions and several drivers: who drove what, whose corner is best, what changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from lapwright.driving.consistency import MAD_TO_SD
from lapwright.driving.passes import CornerPass
from lapwright.model.lap import Lap

Array = NDArray[np.float64]

#: Laps that a stint needs to be held against another.
LEAST_LAPS = 3
#: The standard error of a median over that of a mean, of a normal distribution.
MEDIAN_SE = (np.pi / 2) ** 0.5
LEVEL = 0.90


@dataclass(frozen=True, slots=True)
class Stint:
    """The laps of one driver in one log that count.

    Times in s; ``spread_s`` is the robust standard deviation, None with fewer than three laps.
    """

    driver: str
    file: str
    date: str
    laps: tuple[str, ...]
    best_s: float
    median_s: float
    spread_s: float | None


@dataclass(frozen=True, slots=True)
class DriverInCorner:
    """One driver's passes of one corner: the best with its lap, and the median, s."""

    driver: str
    lap: str
    best_s: float
    median_s: float
    laps: int


@dataclass(frozen=True, slots=True)
class Change:
    """What changed from one stint of a driver to his next, s; negative is faster.

    Parameters
    ----------
    corner
        Its id; empty for the whole lap.
    low_s, high_s
        90 % interval of the change of the median.
    significant
        Whether it is more than the scatter of the laps, Holm's rule over all corners and
        stints of the guide, 10 %.
    """

    driver: str
    before: str
    after: str
    corner: str
    change_s: float
    low_s: float
    high_s: float
    significant: bool


@dataclass(frozen=True, slots=True)
class Stints:
    """All stints in order, the drivers in each corner (the quickest median first), changes."""

    stints: tuple[Stint, ...]
    corners: Mapping[str, tuple[DriverInCorner, ...]]
    changes: tuple[Change, ...]

    @property
    def drivers(self) -> tuple[str, ...]:
        """Their names in the order in which they drove."""
        return tuple(dict.fromkeys(stint.driver for stint in self.stints))


def compare_stints(
    laps: Sequence[Lap], passes: Sequence[CornerPass], dates: Mapping[str, str]
) -> Stints:
    """Compare drivers and sessions over the laps that count.

    Parameters
    ----------
    laps
        Of all drivers and logs.
    dates
        Of the logs, by file; stints are in this order where all are written as ISO 8601
        does, else in that of the laps: 04/05 is one day here and another there.
    """
    timed = [lap for lap in laps if lap.used and lap.time_s is not None]
    keys = list(dict.fromkeys((lap.driver, lap.file) for lap in timed))
    days = {file: _day(dates.get(file, "")) for _, file in keys}
    if all(days.values()):
        keys.sort(key=lambda key: days[key[1]] or date.max)
    stints = tuple(_stint(timed, *key, dates.get(key[1], "")) for key in keys)
    by_lap = {lap.id: lap for lap in timed}
    counted = [p for p in passes if p.lap in by_lap]
    corners = list(dict.fromkeys(p.corner for p in counted))
    return Stints(
        stints,
        {c: _rank([p for p in counted if p.corner == c], by_lap) for c in corners},
        _changes(stints, by_lap, counted, corners),
    )


def _day(written: str) -> date | None:
    try:
        return date.fromisoformat(written.strip()[:10])
    except ValueError:
        return None


def _stint(laps: Sequence[Lap], driver: str, file: str, date: str) -> Stint:
    own = [lap for lap in laps if (lap.driver, lap.file) == (driver, file)]
    times = np.array([lap.time_s for lap in own], dtype=float)
    spread = _spread(times) if times.size >= LEAST_LAPS else None
    return Stint(
        driver, file, date, tuple(lap.id for lap in own), float(times.min()),
        float(np.median(times)), spread,
    )  # fmt: skip


def _spread(values: Array) -> float:
    return float(MAD_TO_SD * np.median(np.abs(values - np.median(values))))


def _rank(passes: Sequence[CornerPass], laps: Mapping[str, Lap]) -> tuple[DriverInCorner, ...]:
    by_driver: dict[str, list[CornerPass]] = {}
    for one in passes:
        by_driver.setdefault(laps[one.lap].driver, []).append(one)
    found = [
        DriverInCorner(
            driver, best.lap, best.time_s, float(np.median([p.time_s for p in own])), len(own)
        )
        for driver, own in by_driver.items()
        for best in [min(own, key=lambda p: p.time_s)]
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda one: one.median_s))


def _changes(
    stints: Sequence[Stint], laps: Mapping[str, Lap], passes: Sequence[CornerPass],
    corners: Sequence[str],
) -> tuple[Change, ...]:  # fmt: skip
    """Hold each stint of a driver against his one before, lap and corners."""
    found: list[tuple[Change, float]] = []
    latest: dict[str, Stint] = {}
    for stint in stints:
        before = latest.get(stint.driver)
        latest[stint.driver] = stint
        if before is None or min(len(before.laps), len(stint.laps)) < LEAST_LAPS:
            continue
        for corner in ("", *corners):
            one, other = (_times(s, corner, laps, passes) for s in (before, stint))
            if min(one.size, other.size) >= LEAST_LAPS:
                found.append(_change(before, stint, corner, one, other))
    return _told_apart(found)


def _times(
    stint: Stint, corner: str, laps: Mapping[str, Lap], passes: Sequence[CornerPass]
) -> Array:
    if not corner:
        return np.array([laps[lap].time_s for lap in stint.laps], dtype=float)
    own = set(stint.laps)
    return np.array([p.time_s for p in passes if p.corner == corner and p.lap in own])


def _change(
    before: Stint, after: Stint, corner: str, one: Array, other: Array
) -> tuple[Change, float]:
    """Difference of the medians with Welch's interval, and the chance of it by scatter alone."""
    change = float(np.median(other) - np.median(one))
    parts = [max(_spread(x), float(np.std(x, ddof=1)), 1e-3) ** 2 / x.size for x in (one, other)]
    error = float(MEDIAN_SE * sum(parts) ** 0.5)
    free = sum(parts) ** 2 / sum(
        p**2 / (x.size - 1) for p, x in zip(parts, (one, other), strict=True)
    )
    half = float(student.ppf(0.5 + LEVEL / 2, free)) * error
    chance = float(2 * student.sf(abs(change) / error, free))
    made = Change(
        after.driver, before.file, after.file, corner, change, change - half, change + half, False
    )
    return made, chance


def _told_apart(found: Sequence[tuple[Change, float]]) -> tuple[Change, ...]:
    """Tell which changes are more than scatter (Holm 1979, Scandinavian J. of Statistics 6)."""
    order = sorted(range(len(found)), key=lambda i: found[i][1])
    told: set[int] = set()
    for rank, i in enumerate(order):
        if found[i][1] > (1 - LEVEL) / (len(found) - rank):
            break
        told.add(i)
    return tuple(replace(change, significant=i in told) for i, (change, _) in enumerate(found))
