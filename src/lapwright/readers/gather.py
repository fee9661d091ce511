"""Columns of a text table, gathered block by block, and what their cells hold that is no number."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lapwright.messages import Message
from lapwright.readers.cells import NumberColumn, find_infinite, read_numbers
from lapwright.readers.header import Label, find_label_channel
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.table import DATE_NAMES, Column, count

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Rows of a column without a channel that are kept of a large file: enough for its rate.
WINDOW_ROWS: Final = 262_144
#: Text of a gear lever that stands for a number.
_GEAR_WORDS = {"n": 0.0, "neutral": 0.0, "r": -1.0, "reverse": -1.0}
_CLOCKS: Final = ("time", "utc")


@dataclass(slots=True)
class _Odd:
    """How many cells are odd, and the first and last row of them."""

    n: int = 0
    first: int = 0
    last: int = 0

    def add(self, rows: IntArray, before: int) -> None:
        if rows.size:
            self.first = self.first if self.n else before + int(rows[0])
            self.last = before + int(rows[-1])
            self.n += rows.size


@dataclass(slots=True)
class GatheredColumn:
    """One column so far.

    Parameters
    ----------
    window
        Rows to keep from the first filled block on; None keeps all.
    needs_text
        Whether its text may be wanted: it can hold time or dates.
    is_wanted
        Whether its numbers are those of a channel.
    """

    label: Label
    channel: str | None
    window: int | None
    needs_text: bool
    is_wanted: bool = True
    values: Array = field(default_factory=lambda: np.empty(0))
    texts: list[pl.Series | int] = field(default_factory=list)
    listed: Counter[str] = field(default_factory=Counter)
    words: _Odd = field(default_factory=_Odd)
    infinite: _Odd = field(default_factory=_Odd)
    filled: int = 0
    rows: int = 0
    kept: int = 0
    first_row: int = 0

    def add(self, text: pl.Series) -> None:
        """Read the next block's cells."""
        numbers = read_numbers(text)
        if self.channel == "gear" and numbers.word_rows.size:
            numbers = _read_gear_words(text, numbers)
        self.words.add(numbers.word_rows, self.rows)
        self.infinite.add(numbers.infinite_rows, self.rows)
        self.listed.update(dict(numbers.words))
        self.filled += numbers.filled
        if self.needs_text:
            self.texts.append(_worth_keeping(text, numbers))
        if self.window is None:
            self._keep(numbers.values)
        elif self.kept < self.window and (self.kept or np.isfinite(numbers.values).any()):
            self.first_row = self.first_row if self.kept else self.rows
            self._keep(numbers.values)
        self.rows += len(text)

    def _keep(self, values: Array) -> None:
        """Append; room beyond what is written takes no memory, many small arrays would."""
        end = self.kept + values.size
        if end > self.values.size:
            room = np.empty(2 * end)
            room[: self.kept] = self.values[: self.kept]
            self.values = room
        self.values[self.kept : end] = values
        self.kept = end

    def end(self) -> Column:
        """Join what was read; the blocks are let go."""
        is_text = self.keeps_text
        text = None
        if self.needs_text and (is_text or self.is_clock):
            text = _join_text(self.texts)
        values, self.values, self.texts = self.values[: self.kept], np.empty(0), []
        listed = _list_words(self.listed.most_common())
        return Column(self.label, values, text, self.words.n, self.first_row, listed)

    @property
    def keeps_text(self) -> bool:
        """Whether most of its cells are words."""
        return self.words.n > 0.5 * max(self.filled, 1)

    @property
    def is_text(self) -> bool:
        """Whether its words are no fault: a text, or a clock written as text."""
        numbers = self.filled - self.words.n - self.infinite.n
        return self.keeps_text and (self.is_clock or not self.is_wanted or numbers <= 0)

    @property
    def is_clock(self) -> bool:
        """Whether its name is that of a clock."""
        return self.channel in _CLOCKS


def start_columns(
    labels: Sequence[Label], mapping: ChannelMapping, large: bool
) -> list[GatheredColumn]:
    """Begin a table; of a large one only columns with a channel keep all their values."""
    named = {r.column.strip().casefold() for r in mapping.rules.values() if r.column is not None}
    columns = []
    for index, label in enumerate(labels):
        channel = find_label_channel(label)
        asked = bool(named & {f"#{index + 1}", label.name.casefold(), label.cell.casefold()})
        is_date = label.name.casefold() in DATE_NAMES
        known = channel is not None or asked or is_date
        window = WINDOW_ROWS if large and not known else None
        needs_text = channel in _CLOCKS or is_date or asked
        is_wanted = channel is not None or asked
        columns.append(GatheredColumn(label, channel, window, needs_text, is_wanted))
    return columns


def gather_text(
    file: str, label: Label, text: pl.Series, places: IntArray, word: str
) -> tuple[Column, list[Message]]:
    """Read a whole column of text, and say its odd cells.

    Parameters
    ----------
    places, word
        Where each cell stands, shape (n,), and what that is: "line", "row" or "sample".
    """
    channel = find_label_channel(label)
    column = GatheredColumn(label, channel, None, needs_text=True, is_wanted=channel is not None)
    column.add(text)
    said = [*say_bad_cells(file, column, places, word)]
    return column.end(), said


def gather_numbers(
    file: str, label: Label, values: Array, places: IntArray, word: str
) -> tuple[Column, list[Message]]:
    """Take a whole column of numbers, and say those that are not finite; see `gather_text`."""
    infinite = find_infinite(values)
    if not infinite.size:
        return Column(label, values), []
    column = GatheredColumn(label, None, None, needs_text=False)
    column.infinite.add(infinite, 0)
    said = [*say_bad_cells(file, column, places, word)]
    values = values.copy()
    values[infinite] = np.nan
    return Column(label, values), said


def _worth_keeping(text: pl.Series, numbers: NumberColumn) -> pl.Series | int:
    """Keep only the length of a block of numbers: stamps are then read from the numbers."""
    readable = np.count_nonzero(np.isfinite(numbers.values))
    if numbers.word_rows.size <= 0.5 * numbers.filled and readable > 0.5 * numbers.values.size:
        return len(text)
    return text


def _join_text(texts: Sequence[pl.Series | int]) -> pl.Series | None:
    """Join the text of all blocks, empty where only its length is known; None without any."""
    if all(isinstance(t, int) for t in texts):
        return None
    nothing = pl.Series([None], dtype=pl.String)
    parts = [nothing.new_from_index(0, t) if isinstance(t, int) else t for t in texts]
    return pl.concat([p.alias("") for p in parts])


def _read_gear_words(text: pl.Series, numbers: NumberColumn) -> NumberColumn:
    values = numbers.values.copy()
    words = text.gather(numbers.word_rows).str.strip_chars().str.to_lowercase().to_list()
    known = np.array([w in _GEAR_WORDS for w in words], dtype=bool)
    values[numbers.word_rows[known]] = [_GEAR_WORDS[w] for w in words if w in _GEAR_WORDS]
    left = tuple((w, n) for w, n in numbers.words if w.strip().lower() not in _GEAR_WORDS)
    return replace(numbers, values=values, words=left, word_rows=numbers.word_rows[~known])


def say_left_out(file: str, names: Sequence[str], shown: int = 6) -> list[Message]:
    """Say which columns hold nothing that a reading over time is made of."""
    if not names:
        return []
    listed = ", ".join(n[:40] for n in names[:shown]) + (" …" if len(names) > shown else "")
    hold = "holds" if len(names) == 1 else "hold"
    found = f"{count(len(names), 'column')} {hold} no numbers over time ({listed})"
    return [Message("accepted", file, found, "Left out")]


def say_bad_cells(
    file: str, column: GatheredColumn, places: IntArray, word: str = "line"
) -> Iterator[Message]:
    """Say which cells hold words, odd numbers, or no finite number."""
    if column.is_text:
        return

    def say(odd: _Odd, found: str, done: str) -> Message:
        first, last = int(places[odd.first]), int(places[odd.last])
        place = f"{word} {first}" if odd.n == 1 else f"{word}s {first}–{last}"
        line = first if word == "line" else None
        return Message(
            "repaired", file, found, done, place=place, line=line, channel=column.label.name
        )

    n = column.words.n
    if n:
        found = f"{count(n, 'cell')} {'holds a word' if n == 1 else 'hold words'} "
        found += f"({_list_words(column.listed.most_common())})"
        yield say(column.words, found, f"{count(n, 'cell')} set to missing")
    n = column.infinite.n
    if n:
        found = f"{count(n, 'cell')} {'is' if n == 1 else 'are'} not finite"
        yield say(column.infinite, found, "Set to missing")


def _list_words(words: Sequence[tuple[str, int]], shown: int = 6) -> str:
    listed = [f'"{w}" {n}' if w[:1].isdigit() else f"{w} {n}" for w, n in words[:shown]]
    return ", ".join(listed) + (" …" if len(words) > shown else "")
