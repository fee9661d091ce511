"""Text tables: any delimiter, decimal point or comma, preamble, units anywhere usual."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.recording import Recording
from lapwright.readers.assemble import assemble_recording
from lapwright.readers.cells import NumberColumn, read_cells, read_numbers
from lapwright.readers.faults import find_row_faults
from lapwright.readers.header import Label, find_label_channel, split_label
from lapwright.readers.layout import Layout, find_header_only, find_layout, is_number, split_cells
from lapwright.readers.lines import COLUMN_LIMIT, Rows, find_rows
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.source import Source
from lapwright.readers.table import Column, Table, count
from lapwright.readers.text import read_text

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

_HEAD_BYTES = (262_144, 4_194_304)
#: Text of a gear lever that stands for a number.
_GEAR_WORDS = {"n": 0.0, "neutral": 0.0, "r": -1.0, "reverse": -1.0}


def recognise(head: bytes) -> bool:
    """Whether the first bytes can be a text table: any text that is no markup."""
    return head[:4] not in (b"PAR1", b"PK\x03\x04") and not head.lstrip(
        b"\xef\xbb\xbf \t\r\n"
    ).startswith(b"<")


def read(source: Source, mapping: ChannelMapping) -> Recording:
    """Read a text table into a recording.

    Raises
    ------
    InputError
        When nothing can be read from it, or no column holds time.
    """
    return assemble_recording([read_table(source)], mapping)


def read_table(source: Source) -> Table:
    """Read a text table into columns.

    Raises
    ------
    InputError
        When there is no header, no data, or the cells do not fit the names.
    """
    file = source.file
    text = read_text(source.data, file)
    layout = _find_layout(text.data, file)
    body = text.data[_offset_of_line(text.data, layout.first_data_line) :]
    if layout.delimiter == " ":
        body = re.sub(rb"(?m)^ +| +$", b"", re.sub(rb"[ \t]+", b" ", body))
    again = _find_header_again(text.data, body, layout)
    rows = find_rows(body, layout.first_data_line, layout.delimiter, layout.cells, again)
    layout = _check_width(file, layout, body, rows)
    frame = read_cells(rows.body, layout.delimiter, layout.decimal, layout.cells)
    columns, said = _read_columns(file, layout, frame, rows.line_of_row)
    time = _find_time(columns)
    faults = find_row_faults(file, rows, again, layout, time)
    return Table(
        file,
        source.sha256,
        columns,
        rows.line_of_row,
        "line",
        f"line {layout.header_line}" if layout.header_line else "line 1",
        {**layout.info, **_say_dialect(text.encoding, layout)},
        (*text.messages, *faults, *said),
        np.searchsorted(rows.line_of_row, again),
        written=source.written,
    )


def _find_header_again(data: bytes, body: bytes, layout: Layout) -> IntArray:
    """Line numbers, in the body, of lines that stand above the first row as well."""
    found: list[int] = []
    head = data[: _offset_of_line(data, layout.first_data_line)].split(b"\n")
    names = [line for line in head[max(layout.header_line - 1, 0) :] if line.strip()]
    for line in names if layout.header_line else ():
        at = body.find(b"\n" + line)
        while at >= 0 and len(found) < 1000:
            found.append(layout.first_data_line + body.count(b"\n", 0, at + 1))
            at = body.find(b"\n" + line, at + 1)
    return np.unique(np.array(found, dtype=np.int64))


def _say_dialect(encoding: str, layout: Layout) -> dict[str, str]:
    names = {"\t": "tab", " ": "blanks"}
    delimiter = names.get(layout.delimiter, layout.delimiter)
    return {"dialect": f"{encoding}, delimiter {delimiter}, decimal sign {layout.decimal}"}


def _offset_of_line(data: bytes, line: int) -> int:
    offset = 0
    for _ in range(line - 1):
        offset = data.index(b"\n", offset) + 1
    return offset


def _find_layout(data: bytes, file: str) -> Layout:
    if not data.strip():
        raise InputError([_refuse(file, "line 1", "the file holds blank lines only")])
    for size in _HEAD_BYTES:
        head = data[:size].decode("utf-8", errors="replace").split("\n")
        layout = find_layout(head[:-1] if len(data) > size else head)
        if layout is not None:
            return layout
        if size >= len(data):
            break
    line = find_header_only(head)
    if line is not None:
        found = "a header and no data rows"
        to_do = "Record again or pick another file"
        raise InputError([_refuse(file, f"line {line}", found, to_do, line)])
    raise InputError([_refuse(file, "line 1", "no rows of numbers were found")])


def _refuse(
    file: str,
    place: str,
    found: str,
    to_do: str = "Pick the file that the logger wrote",
    line: int | None = 1,
) -> Message:
    return Message("refused", file, found, "Nothing was imported", to_do, place=place, line=line)


def _check_width(file: str, layout: Layout, body: bytes, rows: Rows) -> Layout:
    """Hold the number of cells against the number of names."""
    names, cells = len(layout.labels), layout.cells
    place, line = f"line {layout.first_data_line}", layout.first_data_line
    if max(names, cells) > COLUMN_LIMIT:
        n = f"{max(names, cells):,}".replace(",", " ")
        found = f"{n} columns (limit {COLUMN_LIMIT:,})".replace(",", " ")
        header_line = max(layout.header_line, 1)
        to_do = "Choose channels before export"
        raise InputError([_refuse(file, f"line {header_line}", found, to_do, header_line)])
    if names in (0, cells):
        return layout
    first = split_cells(body.split(b"\n", 1)[0].decode(errors="replace"), layout.delimiter)
    if _looks_like_decimals(layout, first):
        found = (
            f"{cells} cells under {names} names, and every second one looks like decimals. "
            "Commas serve as separator and as decimal sign"
        )
        to_do = "Export with semicolons or decimal points"
        raise InputError([_refuse(file, place, found, to_do, line)])
    if cells == names + 1 and _last_is_empty(rows, layout):
        return layout
    many = "more cells than names" if cells > names else "fewer cells than names"
    found = f"{cells} cells under {names} names in every row ({many}). "
    found += "Which column is meant cannot be told"
    to_do = f"Correct the names in line {max(layout.header_line, 1)}"
    raise InputError([_refuse(file, place, found, to_do, line)])


def _looks_like_decimals(layout: Layout, first: list[str]) -> bool:
    names, cells = len(layout.labels), layout.cells
    whole = sum(c.lstrip("+-").isdigit() for c in first)
    return (
        layout.delimiter == ","
        and 1.4 * names <= cells <= 2 * names
        and whole >= 0.9 * len(first)
        and all(is_number(c) for c in first if c)
    )


def _last_is_empty(rows: Rows, layout: Layout) -> bool:
    sample = rows.body[:100_000].split(b"\n")[:-1]
    return all(line.rstrip().endswith(layout.delimiter.encode()) for line in sample)


def _read_columns(
    file: str, layout: Layout, frame: pl.DataFrame, lines: IntArray
) -> tuple[list[Column], list[Message]]:
    columns: list[Column] = []
    messages: list[Message] = []
    for index in range(frame.width):
        if layout.labels and index >= len(layout.labels):
            break
        label = layout.labels[index] if layout.labels else split_label("")
        label = label if label.cell else split_label(f"column {index + 1}")
        text = frame[str(index)]
        numbers = read_numbers(text)
        channel = find_label_channel(label)
        if channel == "gear" and numbers.word_rows.size:
            numbers = _read_gear_words(text, numbers)
        keeps_text = numbers.word_rows.size > 0.5 * max(numbers.filled, 1)
        if not keeps_text:
            messages += _say_bad_cells(file, label, numbers, lines)
        shown = text if keeps_text or channel in ("time", "utc") else None
        columns.append(Column(label, numbers.values, shown, numbers.word_rows.size))
    return columns, messages


def _read_gear_words(text: pl.Series, numbers: NumberColumn) -> NumberColumn:
    values = numbers.values.copy()
    words = text.gather(numbers.word_rows).str.strip_chars().str.to_lowercase().to_list()
    known = np.array([w in _GEAR_WORDS for w in words], dtype=bool)
    values[numbers.word_rows[known]] = [_GEAR_WORDS[w] for w in words if w in _GEAR_WORDS]
    left = tuple((w, n) for w, n in numbers.words if w.strip().lower() not in _GEAR_WORDS)
    return NumberColumn(
        values, left, numbers.word_rows[~known], numbers.infinite_rows, numbers.filled
    )


def _say_bad_cells(
    file: str, label: Label, numbers: NumberColumn, lines: IntArray
) -> Iterator[Message]:
    """Say which cells hold words, odd numbers, or no finite number."""
    rows = numbers.word_rows
    if rows.size:
        places = lines[rows]
        yield Message(
            "repaired",
            file,
            f"{count(rows.size, 'cell')} {'holds a word' if rows.size == 1 else 'hold words'} "
            f"({_list_words(numbers)})",
            f"{count(rows.size, 'cell')} set to missing",
            place=_span_of_lines(places),
            line=int(places[0]),
            channel=label.name,
        )
    rows = numbers.infinite_rows
    if rows.size:
        places = lines[rows]
        yield Message(
            "repaired",
            file,
            f"{count(rows.size, 'cell')} {'is' if rows.size == 1 else 'are'} not finite",
            "Set to missing",
            place=_span_of_lines(places),
            line=int(places[0]),
            channel=label.name,
        )


def _list_words(numbers: NumberColumn, shown: int = 6) -> str:
    listed = [f'"{w}" {n}' if w[:1].isdigit() else f"{w} {n}" for w, n in numbers.words[:shown]]
    return ", ".join(listed) + (" …" if len(numbers.words) > shown else "")


def _span_of_lines(places: IntArray) -> str:
    if places.size == 1:
        return f"line {int(places[0])}"
    return f"lines {int(places[0])}–{int(places[-1])}"


def _find_time(columns: list[Column]) -> Array | None:
    found = (c for c in columns if find_label_channel(c.label) == "time")
    column = next(found, None)
    return None if column is None or not np.isfinite(column.values).any() else column.values
