"""Text tables: any delimiter, decimal point or comma, preamble, units anywhere usual."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.recording import Recording
from lapwright.readers.assemble import assemble_recording
from lapwright.readers.blocks import BLOCK_BYTES, TextBlocks, scan_text
from lapwright.readers.cells import read_cells
from lapwright.readers.faults import find_row_faults
from lapwright.readers.gather import GatheredColumn, say_bad_cells, start_columns
from lapwright.readers.header import Label, find_label_channel, split_label
from lapwright.readers.layout import Layout, find_header_only, find_layout, is_number, split_cells
from lapwright.readers.lines import COLUMN_LIMIT, Rows, find_rows, join_rows
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.source import Source
from lapwright.readers.table import Column, Table

Array = NDArray[np.float64]

_HEAD_BYTES = (262_144, 4_194_304)
#: Lines that repeat the header which are looked for.
_AGAIN_LIMIT = 1000
#: Of the lines from the header to the first row so many are looked for: names and units.
_ABOVE = 3
#: Of a file beyond this, columns without a channel are not kept whole.
LARGE_BYTES: Final = 64_000_000


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
    return assemble_recording([read_table(source, mapping)], mapping)


def read_table(
    source: Source, mapping: ChannelMapping | None = None, block_bytes: int = BLOCK_BYTES
) -> Table:
    """Read a text table into columns, block by block.

    Parameters
    ----------
    mapping
        Names columns that are kept whole however large the file is.
    block_bytes
        Bytes read at a time.

    Raises
    ------
    InputError
        When there is no header, no data, or the cells do not fit the names.
    """
    text = scan_text(source, block_bytes)
    layout, above = _find_layout(text)
    large = source.size > LARGE_BYTES
    columns = start_columns(_complete_labels(layout), mapping or ChannelMapping(), large)
    parts: list[Rows] = []
    again: list[int] = []
    for body, line in _read_bodies(text, layout):
        again += _find_header_again(above, body, line, len(again))
        rows = find_rows(
            body, line, layout.delimiter, layout.cells, np.array(again, dtype=np.int64)
        )
        if not parts:
            _check_width(source.file, layout, body, rows)
        frame = read_cells(rows.body, layout.delimiter, layout.decimal, layout.cells)
        for index, column in enumerate(columns):
            column.add(frame[str(index)])
        parts.append(replace(rows, body=b""))
    return _build_table(source, text, layout, columns, join_rows(parts), again)


def _build_table(
    source: Source,
    text: TextBlocks,
    layout: Layout,
    gathered: list[GatheredColumn],
    rows: Rows,
    again: list[int],
) -> Table:
    lines, file = rows.line_of_row, source.file
    repeated = np.unique(np.array(again, dtype=np.int64))
    said = [m for g in gathered for m in say_bad_cells(file, g, lines)]
    columns = [g.end() for g in gathered]
    faults = find_row_faults(file, rows, repeated, layout, _find_time(columns))
    return Table(
        file,
        source.sha256,
        columns,
        lines,
        "line",
        f"line {layout.header_line}" if layout.header_line else "line 1",
        {**layout.info, **_say_dialect(text.encoding, layout)},
        (*text.messages, *faults, *said),
        np.searchsorted(lines, repeated),
        written=source.written,
    )


def _complete_labels(layout: Layout) -> list[Label]:
    """Give every column its own label, or its number."""
    given = layout.labels or (split_label(""),) * layout.cells
    labels = [g if g.cell else split_label(f"column {i + 1}") for i, g in enumerate(given)]
    return labels[: layout.cells]


def _read_bodies(text: TextBlocks, layout: Layout) -> Iterator[tuple[bytes, int]]:
    """Blocks of data rows with the number of their first line; tells how far reading is."""
    line, done, said = 1, 0, 0
    source = text.source
    for block in text:
        start = 0
        while line < layout.first_data_line and start < len(block):
            start = block.index(b"\n", start) + 1
            line += 1
        body = block[start:] if start else block
        if layout.delimiter == " ":
            body = re.sub(rb"(?m)^ | $", b"", re.sub(rb"[ \t]+", b" ", body))
        if body:
            yield body, line
        line += block.count(b"\n", start)
        done += len(block)
        share = min(10 * done // source.size, 10)
        if share > said:
            said = share
            size = f"{source.size / 1e6:,.0f} MB".replace(",", " ")
            source.report(f"reading {source.file}: {10 * share} % of {size}", 0, 1)


def _find_header_again(above: Sequence[bytes], body: bytes, line: int, known: int) -> list[int]:
    """Line numbers, in a block, of lines that stand above the first row as well."""
    found: list[int] = []
    for name in above:
        if line > 1 and body.startswith(name + b"\n"):
            found.append(line)
        wanted, start, number = b"\n" + name + b"\n", 0, line
        at = body.find(wanted)
        while at >= 0 and known + len(found) < _AGAIN_LIMIT:
            number += body.count(b"\n", start, at + 1)
            start = at + 1
            found.append(number)
            at = body.find(wanted, start)
    return found


def _say_dialect(encoding: str, layout: Layout) -> dict[str, str]:
    names = {"\t": "tab", " ": "blanks"}
    delimiter = names.get(layout.delimiter, layout.delimiter)
    return {"dialect": f"{encoding}, delimiter {delimiter}, decimal sign {layout.decimal}"}


def _find_layout(text: TextBlocks) -> tuple[Layout, list[bytes]]:
    """Find the layout, and the lines from the header to the first row."""
    file = text.source.file
    if text.blank:
        raise InputError([_refuse(file, "line 1", "the file holds blank lines only")])
    for size in _HEAD_BYTES:
        data = text.head(size + 1)
        head = data[:size].decode("utf-8", errors="replace").split("\n")
        layout = find_layout(head[:-1] if len(data) > size else head)
        if layout is not None:
            rows = data.split(b"\n", layout.first_data_line - 1)[: layout.first_data_line - 1]
            names = rows[layout.header_line - 1 :] if layout.header_line else []
            return layout, [n for n in names if n.strip()][:_ABOVE]
        if len(data) <= size:
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


def _check_width(file: str, layout: Layout, body: bytes, rows: Rows) -> None:
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
        return
    first = split_cells(body.split(b"\n", 1)[0].decode(errors="replace"), layout.delimiter)
    if _looks_like_decimals(layout, first):
        found = (
            f"{cells} cells under {names} names, and every second one looks like decimals. "
            "Commas serve as separator and as decimal sign"
        )
        to_do = "Export with semicolons or decimal points"
        raise InputError([_refuse(file, place, found, to_do, line)])
    if cells == names + 1 and _last_is_empty(rows, layout):
        return
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


def _find_time(columns: list[Column]) -> Array | None:
    found = (c for c in columns if find_label_channel(c.label) == "time")
    column = next(found, None)
    return None if column is None or not np.isfinite(column.values).any() else column.values
