"""Cells of NMEA 0183 sentences: times, dates, places in degrees and minutes, numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lapwright.readers.cells import find_infinite

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: Days since 1970 before which a receiver's date means that it knows none.
_FIRST_DAY = 7305.0  # 1990-01-01


@dataclass(frozen=True, slots=True)
class Field:
    """Values of a cell, shape (n,), NaN where it cannot be read; which are bad, and why."""

    values: Array
    is_bad: Mask
    say: Callable[[int], str]


def split_cells(sentences: Sequence[str], n: int) -> pl.DataFrame:
    """First ``n`` cells of each sentence, by place, without blanks; empty where there is none."""
    text = pl.Series(sentences, dtype=pl.String)
    cells = text.str.split_exact(",", n - 1).struct.unnest()
    cells.columns = [str(i) for i in range(n)]
    return cells.select(pl.all().fill_null("").str.strip_chars())


def read_number(text: pl.Series) -> Array:
    """Numbers of a cell, NaN where it holds none that is finite."""
    numbers = text.cast(pl.Float64, strict=False).to_numpy(writable=True)
    numbers[find_infinite(numbers)] = np.nan
    return numbers


def read_time_of_day(text: pl.Series) -> Field:
    """Seconds of the day out of ``hhmmss.ss``."""
    values = read_number(text)
    hours, rest = np.divmod(values, 10_000.0)
    minutes, seconds = np.divmod(rest, 100.0)
    is_good = (values >= 0) & (hours < 24) & (minutes < 60) & (seconds < 61)
    total = np.where(is_good, np.round(hours * 3600.0 + minutes * 60.0 + seconds, 6), np.nan)
    return Field(total, ~is_good, lambda i: f"{_show(text, i)} is no time of day")


def read_place(text: pl.Series, side: pl.Series, plus: str, minus: str, limit: int) -> Field:
    """Degrees out of ``ddmm.mmmm`` and its hemisphere; empty cells are missing, not bad."""
    values = read_number(text)
    degrees, minutes = np.divmod(values, 100.0)
    sign = np.where((side == plus).to_numpy(), 1.0, np.nan)
    sign = np.where((side == minus).to_numpy(), -1.0, sign)
    is_good = (values >= 0) & (minutes < 60.0) & (degrees + minutes / 60.0 <= limit)
    is_good &= np.isfinite(sign)
    result = np.where(is_good, sign * (degrees + minutes / 60.0), np.nan)

    def say(i: int) -> str:
        if not np.isfinite(values[i]):
            return f"{_show(text, i)} is no number"
        if minutes[i] >= 60.0:
            return f"{minutes[i]:.5f} minutes (0 to 59.99)"
        if not np.isfinite(sign[i]):
            return f"hemisphere {_show(side, i)} is neither {plus} nor {minus}"
        return f"{_show(text, i)} is outside ±{limit} deg"

    return Field(result, ~is_good, say)


def read_date(text: pl.Series) -> Array:
    """Days since 1970 out of ``ddmmyy``; NaN for 000000 and before 1990, when none is known."""
    dates = text.str.to_date("%d%m%y", strict=False)
    days = dates.cast(pl.Int32).cast(pl.Float64).to_numpy(writable=True)
    days[days < _FIRST_DAY] = np.nan
    return days


def _show(text: pl.Series, i: int) -> str:
    return f'"{text[i][:20]}"'
