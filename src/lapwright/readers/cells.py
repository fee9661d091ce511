"""From rows of text to columns of numbers, counting what is no number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: No sensor gives a number this large; the square of a larger one may be none.
LARGEST = 1e100


@dataclass(frozen=True, slots=True)
class NumberColumn:
    """A column read as numbers.

    Parameters
    ----------
    values
        Shape (n,), NaN where the cell is empty or no finite number.
    words
        Each text that is no number, with its count, the commonest first.
    word_rows, infinite_rows
        Row indices of those cells and of cells that are not finite.
    filled
        Cells that are not empty.
    """

    values: Array
    words: tuple[tuple[str, int], ...]
    word_rows: IntArray
    infinite_rows: IntArray
    filled: int


def read_cells(body: bytes, delimiter: str, decimal: str, cells: int) -> pl.DataFrame:
    """Split rows into cells, all as text.

    Parameters
    ----------
    body
        Rows of equal cell count, UTF-8, LF line ends.
    delimiter, decimal
        The dialect; a decimal comma is turned into a point.
    cells
        Number of cells in every row.
    """
    is_comma = decimal == ","
    if is_comma and delimiter != ",":
        body = body.replace(b",", b".")
    names = [str(i) for i in range(cells)]
    if not body:
        return pl.DataFrame({name: pl.Series([], dtype=pl.String) for name in names})
    frame = pl.read_csv(
        body,
        has_header=False,
        new_columns=names,
        separator=delimiter,
        infer_schema=False,
        quote_char='"' if b'"' in body else None,
    )
    if is_comma and delimiter == ",":  # the numbers stand in quotes
        frame = frame.select(pl.all().str.replace_all(",", ".", literal=True))
    return frame


def read_numbers(text: pl.Series) -> NumberColumn:
    """Cast a column of text to numbers; nothing that is no number gets through."""
    numbers = text.cast(pl.Float64, strict=False)
    filled = len(text) - text.null_count()
    words: tuple[tuple[str, int], ...] = ()
    word_rows = np.zeros(0, dtype=np.int64)
    if numbers.null_count() > text.null_count():
        text = text.str.strip_chars()
        numbers = text.cast(pl.Float64, strict=False)
        is_word = numbers.is_null() & (text != "")  # a filter takes null, an empty cell, as no
        words = _count(text.filter(is_word))
        word_rows = pl.Series(np.arange(len(text))).filter(is_word).to_numpy()
    values = numbers.to_numpy(writable=True)
    infinite = find_infinite(values)
    values[infinite] = np.nan
    return NumberColumn(values, words, word_rows, infinite, filled)


def find_infinite(values: Array) -> IntArray:
    """Find the values that are infinite, or so large that their squares may be."""
    return np.flatnonzero(np.abs(values) > LARGEST).astype(np.int64)


def _count(words: pl.Series) -> tuple[tuple[str, int], ...]:
    counts = words.value_counts(sort=True, name="n")
    return tuple((str(w)[:40], int(n)) for w, n in counts.head(50).iter_rows())
