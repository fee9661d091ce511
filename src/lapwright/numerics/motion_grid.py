"""Measurements brought onto one uniform grid without losing their exact times."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.numerics.series import Series

Array = NDArray[np.float64]

#: No finer grid is needed for a car; faster sources are averaged within a step.
FASTEST_HZ = 100.0
#: A coarser grid would bend the path too much within a step.
SLOWEST_HZ = 10.0
#: A car that leaves equal positions faster than this on average (m/s) did not stand.
STANDING = 0.5


@dataclass(frozen=True, slots=True)
class Grid:
    """Uniform times ``start + k · step`` for k below ``count``, in seconds."""

    start: float
    step: float
    count: int

    @property
    def time(self) -> Array:
        """All times, shape (count,)."""
        return self.start + self.step * np.arange(self.count, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Binned:
    """A source on a grid.

    Parameters
    ----------
    values
        Mean of the samples nearest to each grid time, shape (count,); NaN where there is none.
    offsets
        Mean time of those samples less the grid time, s.
    each
        Median number of samples in a value.
    """

    values: Array
    offsets: Array
    each: float


def native_rate(series: Series) -> float:
    """Median sampling rate in Hz of the finite samples; 0 with fewer than two."""
    time = series.time[np.isfinite(series.values)]
    return float(1.0 / np.median(np.diff(time))) if time.size > 1 else 0.0


def choose_grid(
    series: Mapping[str, Series], anchors: Iterable[str], fastest_hz: float = FASTEST_HZ
) -> Grid:
    """Grid over the span of the anchor sources.

    Parameters
    ----------
    series
        All sources in use.
    anchors
        Those whose span counts: without them nothing is known of the motion.
    fastest_hz
        The rate is the highest native one, but no more than this.
    """
    rates = {name: native_rate(s) for name, s in series.items()}
    finest = max(rates, key=lambda name: rates[name])
    rate = min(rates[finest], fastest_hz)
    step = 1.0 / rate
    if abs(rates[finest] * step - 1.0) < 0.02:
        known = np.isfinite(series[finest].values)
        step = _true_step(series[finest].time[known], 1.0 / rates[finest])
    ends = [series[name].time[np.isfinite(series[name].values)][[0, -1]] for name in anchors]
    first, last = min(e[0] for e in ends), max(e[1] for e in ends)
    # grid times fall on the finest source's stamps, so that offsets stay small
    lead = series[finest].time[np.isfinite(series[finest].values)][0]
    start = lead + step * np.ceil((first - lead) / step - 1e-6)
    return Grid(float(start), float(step), max(int(np.floor((last - start) / step + 1e-6)) + 1, 2))


def _true_step(time: Array, guess: float) -> float:
    """Mean step of the regular part of a time base, better than the median of rounded stamps."""
    steps = np.diff(time)
    regular = np.abs(steps / guess - 1.0) < 0.5
    return float(steps[regular].mean())


def bin_series(series: Series, grid: Grid) -> Binned:
    """Average the samples that fall nearest to each grid time."""
    place = (series.time - grid.start) / grid.step
    index = np.rint(place).astype(np.int64)
    good = np.isfinite(series.values) & (index >= 0) & (index < grid.count)
    index = index[good]
    count = np.bincount(index, minlength=grid.count)
    with np.errstate(invalid="ignore"):
        values = np.bincount(index, series.values[good], grid.count) / count
        offset = np.bincount(index, place[good] - index, grid.count) / count * grid.step
    return Binned(values, offset, float(np.median(count[count > 0])) if index.size else 1.0)


def refine(grid: Grid) -> tuple[Grid, int]:
    """Grid fine enough to integrate on, and how many of its steps make one of the given."""
    parts = max(int(np.ceil(SLOWEST_HZ * grid.step - 1e-6)), 1)
    return Grid(grid.start, grid.step / parts, (grid.count - 1) * parts + 1), parts


def drop_held(x: Series, y: Series) -> tuple[Series, Series]:
    """Blank repeated positions of a moving car.

    A slow receiver in a fast file holds its last position, and a frozen one does so for
    seconds: the first of equal positions counts, the others do not, unless the car stood.
    """
    if x.time.size != y.time.size or not np.array_equal(x.time, y.time):
        return x, y
    known = np.flatnonzero(np.isfinite(x.values) & np.isfinite(y.values))
    px, py, time = x.values[known], y.values[known], x.time[known]
    same = (np.diff(px) == 0.0) & (np.diff(py) == 0.0)
    if not same.any():
        return x, y
    # for each sample the next one that differs, and the first of its equals
    start = np.concatenate([[True], ~same])
    run = np.cumsum(start) - 1
    firsts = np.flatnonzero(start)
    after = np.append(firsts[1:], known.size - 1)
    far = np.hypot(px[after] - px[firsts], py[after] - py[firsts])
    moved = far > STANDING * np.maximum(time[after] - time[firsts], 1e-9)
    if moved.size > 1:
        moved[-1] = moved[-2]  # nothing follows the last run
    held = known[~start & moved[run]]
    values = [s.values.copy() for s in (x, y)]
    for v in values:
        v[held] = np.nan
    return Series(x.time, values[0], x.sd), Series(y.time, values[1], y.sd)
