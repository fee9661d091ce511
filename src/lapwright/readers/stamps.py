"""Time stamps of every usual shape as seconds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lapwright.readers.table import Column
from lapwright.units import Unit

Array = NDArray[np.float64]
Kind = Literal["relative", "epoch", "of_day", "none"]

#: A number beyond this is no session's running time but a Unix time stamp.
_EPOCH_S = 3e8
#: And one beyond this is no date that a logger can have: 2100-01-01.
LAST_S: Final = 4_102_444_800.0
#: Upper bounds of Unix time stamps in s, ms, us and ns, with what one tick is in seconds.
_TICKS = ((1e11, 1.0), (1e14, 1e-3), (1e17, 1e-6), (1e20, 1e-9))
#: What stands east of UTC behind a time of day; a date alone ends in "-09" as well.
_OFFSET: Final = r"(:\d{2}(?:\.\d+)?)\s*([+-]\d{2}(?::?\d{2})?)$"
_DATE_FORMATS = (
    "%Y-%m-%d %H:%M:%S%.f", "%Y/%m/%d %H:%M:%S%.f", "%d.%m.%Y %H:%M:%S%.f",
    "%d/%m/%Y %H:%M:%S%.f", "%m/%d/%Y %H:%M:%S%.f", "%Y%m%d %H%M%S%.f",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Stamps:
    """Seconds of each row, shape (n,), NaN where unreadable, and what they count from.

    ``tick_s`` is what one tick must be where the unit given would lead beyond `LAST_S`.
    """

    seconds: Array
    kind: Kind
    tick_s: float | None = None


def read_stamps(column: Column, unit: Unit | None, date: Column | None = None) -> Stamps:
    """Read a column of time stamps.

    Parameters
    ----------
    column
        Numbers, clock times (``mm:ss.f``, ``hh:mm:ss.f``) or dates with times.
    unit
        Unit of numbers; None takes seconds, or the tick of a Unix time stamp.
    date
        A column of dates that belongs to clock times.
    """
    if _mostly_known(column.values):
        return _read_numbers(column.values, unit)
    if column.text is None:
        return Stamps(column.values, "none")
    text = column.text.str.strip_chars()
    if date is not None and date.text is not None:
        text = date.text.str.strip_chars() + " " + text
    seconds = _read_dates(text)
    if _mostly_known(seconds):
        return Stamps(seconds, "epoch")
    seconds = _read_clock(column.text.str.strip_chars())
    if _mostly_known(seconds):
        return Stamps(_unwrap_midnight(seconds), "of_day")
    return Stamps(seconds, "none")


def _mostly_known(values: Array) -> bool:
    return bool(np.count_nonzero(np.isfinite(values)) > 0.5 * values.size)


def _read_numbers(values: Array, unit: Unit | None) -> Stamps:
    size = float(np.nanmedian(np.abs(values), overwrite_input=True))
    # Most of the file must be far from 0, so that a clock that once fell to 0 is still seen.
    factor = 1.0 if unit is None else unit.factor
    if unit is not None and size * factor <= LAST_S:
        return Stamps(values * factor, "epoch" if size * factor > _EPOCH_S else "relative")
    if size < _EPOCH_S:
        return Stamps(values, "relative")
    tick = next((tick for bound, tick in _TICKS if size < bound), 0.0)
    if not 0.0 < size * tick <= LAST_S:
        return Stamps(values, "none")
    wrong = None if unit is None or tick == factor else tick
    return Stamps(values * tick, "epoch", wrong)


def reckon_back(utc: Array, time: Array | None) -> tuple[Array, int]:
    """Reckon stamps of a receiver without a date back from the first that has one.

    Parameters
    ----------
    utc
        Seconds since 1970, shape (n,).
    time
        The logger's own clock in seconds, same shape, or None.

    Returns
    -------
    array, int
        The stamps, and how many at the start were replaced.
    """
    dated = np.flatnonzero(utc > _EPOCH_S)
    if not dated.size or dated[0] == 0 or (utc[dated[0] :] < _EPOCH_S).any():
        return utc, 0
    first = int(dated[0])
    if time is not None and np.isfinite(time[: first + 1]).all():
        back = time[first] - time[:first]
    else:
        step = float(np.median(np.diff(utc[first:]))) if utc.size > first + 1 else 1.0
        back = step * np.arange(first, 0, -1)
    return np.concatenate([utc[first] - back, utc[first:]]), first


def _read_dates(text: pl.Series) -> Array:
    cell = pl.col("").str.replace("T", " ", literal=True).str.replace(r"\s*(Z|UTC)$", "")
    parts = text.to_frame("").select(
        offset=cell.str.extract(_OFFSET, 2), plain=cell.str.replace(_OFFSET, "$1")
    )
    offset, plain = parts["offset"], parts["plain"]
    head = plain.drop_nulls().head(200)
    for pattern in _DATE_FORMATS:
        if head.str.to_datetime(pattern, strict=False, time_unit="us").null_count() * 2 < len(head):
            stamps = plain.str.to_datetime(pattern, strict=False, time_unit="us")
            ticks = stamps.cast(pl.Int64).cast(pl.Float64).to_numpy(writable=True)
            return np.asarray(ticks / 1e6 - _read_offset(offset))
    return np.full(len(text), np.nan)


def _read_offset(offset: pl.Series) -> Array:
    """Seconds east of UTC; 0 where none is written."""
    if offset.null_count() == len(offset):
        return np.zeros(len(offset))
    digits = offset.str.replace(":", "", literal=True)
    hours = digits.str.slice(1, 2).cast(pl.Float64, strict=False).fill_null(0.0).to_numpy()
    minutes = digits.str.slice(3, 2).cast(pl.Float64, strict=False).fill_null(0.0).to_numpy()
    sign = np.where(digits.str.starts_with("-").fill_null(value=False).to_numpy(), -1.0, 1.0)
    return np.asarray(sign * (hours * 3600.0 + minutes * 60.0))


def _read_clock(text: pl.Series) -> Array:
    cell = pl.col("").str.replace(",", ".", literal=True)
    parts = text.to_frame("").select(
        cell.str.extract(r"^(?:(\d+):)?(\d{1,2}):(\d{1,2}(?:\.\d+)?)$", group)
        .cast(pl.Float64, strict=False)
        .alias(str(group))
        for group in (1, 2, 3)
    )
    hours, minutes, seconds = (p.to_numpy(writable=True) for p in parts)
    return np.asarray(np.nan_to_num(hours) * 3600.0 + minutes * 60.0 + seconds)


def _unwrap_midnight(seconds: Array) -> Array:
    falls = np.diff(seconds, prepend=seconds[:1]) < -80_000.0
    return np.asarray(seconds + 86_400.0 * np.cumsum(falls))
