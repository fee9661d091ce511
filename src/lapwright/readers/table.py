"""What every reader hands over: columns that share rows, before names and units are settled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lapwright.messages import Message
from lapwright.readers.header import Label

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


#: Names of columns that hold dates.
DATE_NAMES: Final = ("date", "datum", "day", "utc date", "gps date", "utcdate", "gpsdate")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its label, its numbers, and its text where the file holds text.

    ``values`` has shape (n,), NaN where a cell holds no number; ``text`` is
    None where the format stores numbers; ``words`` counts cells that are no number, and
    ``listed`` says what stands in them.
    A column without a channel holds only the rows from ``first_row`` on that are
    enough for its rate where the file is large.
    """

    label: Label
    values: Array
    text: pl.Series | None = None
    words: int = 0
    first_row: int = 0
    listed: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Columns of equal length that share one clock.

    Parameters
    ----------
    columns
        In the file's order.
    place_of_row
        Line or row number in the file of each row, counted from 1.
    place_word
        "line" for text, "row" for binary formats.
    row_word
        What a row is called in sentences: "row", or "point" of a track.
    header_place
        Where the names stand, in words; may be empty.
    info, messages
        Name-value lines, and what had to be said so far.
    written
        When the file was written, seconds since 1970; None where that is not known.
    breaks
        Rows at which another recording begins.
    """

    file: str
    sha256: str
    columns: Sequence[Column]
    place_of_row: IntArray
    place_word: str = "line"
    header_place: str = ""
    info: Mapping[str, str] = field(default_factory=dict)
    messages: tuple[Message, ...] = ()
    breaks: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    row_word: str = "row"
    written: float | None = None

    @property
    def whole_columns(self) -> list[Column]:
        """Columns that hold every row."""
        return [c for c in self.columns if c.values.size == self.place_of_row.size]

    def say_rows(self, rows: IntArray, shown: int = 4) -> str:
        """Say where rows are, such as "lines 812, 1790" or "lines 2201–2240"."""
        return say_places(self.place_of_row[rows], self.place_word, shown)

    def first_line(self, rows: IntArray) -> int | None:
        """Line number of the first of these rows; None for binary formats."""
        if self.place_word != "line" or not rows.size:
            return None
        return int(self.place_of_row[rows[0]])


def say_places(places: IntArray, word: str, shown: int = 4) -> str:
    """Say places in words: one, a short list, a run or a range.

    Examples
    --------
    >>> say_places(np.array([812, 1790, 3011]), "line")
    'lines 812, 1790, 3011'
    """
    if places.size == 1:
        return f"{word} {int(places[0])}"
    is_run = int(places[-1]) - int(places[0]) == places.size - 1
    if is_run or places.size > shown:
        return f"{word}s {int(places[0])}–{int(places[-1])}"
    return f"{word}s " + ", ".join(str(int(p)) for p in places)


def count(n: int, one: str, many: str = "") -> str:
    """Say a count with its noun: "1 row", "3 rows", "1 730 rows".

    Examples
    --------
    >>> count(1730, "row")
    '1 730 rows'
    """
    noun = one if n == 1 else (many or one + "s")
    return f"{n:,} {noun}".replace(",", " ")
