"""How a text table is laid out: delimiter, decimal sign, preamble, header, units row."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from lapwright.readers.header import (
    Label,
    clean_unit_cell,
    find_label_channel,
    is_unit_cell,
    split_label,
)

_DELIMITERS = (";", "\t", ",", "|", " ")
_SAMPLE_LINES = 400
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_CLOCK = re.compile(
    r"(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[T ]?)?(\d{1,3}:\d{1,2}(:\d{1,2})?([.,]\d+)?)?"
    r"( ?(Z|UTC|[+-]\d{2}(:?\d{2})?))?"
)
_COMMENT = ("#", "%", "//")


@dataclass(frozen=True, slots=True)
class Layout:
    """The shape of a text table.

    Parameters
    ----------
    delimiter
        One sign; a blank stands for any run of blanks.
    decimal
        ``.`` or ``,``.
    labels
        One for each named column; empty when the file has no header.
    header_line, first_data_line
        Line numbers, counted from 1; ``header_line`` is 0 without a header.
    cells
        Cells of a typical data row.
    info
        Name-value lines that stood before the header.
    """

    delimiter: str
    decimal: str
    labels: tuple[Label, ...]
    header_line: int
    first_data_line: int
    cells: int
    info: dict[str, str]


def split_cells(line: str, delimiter: str) -> list[str]:
    """Split one line at a delimiter, minding double quotes as RFC 4180 writes them."""
    if '"' not in line:
        cells = line.split() if delimiter == " " else line.split(delimiter)
        return [c.strip() for c in cells]
    try:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
    except csv.Error:  # a cell beyond all measure
        cells = line.split(delimiter)
    return [c.strip() for c in cells if delimiter != " " or c]


def find_layout(lines: Sequence[str]) -> Layout | None:
    """Find the layout from the first lines of a file.

    Parameters
    ----------
    lines
        The first few hundred to thousand lines, without line ends.

    Returns
    -------
    Layout or None
        None when no line looks like a row of numbers.
    """
    tail = _pick_sample(lines)
    delimiter, decimal, cells = _find_delimiter(tail)
    mask = _numeric_columns(tail, delimiter, cells)
    if not any(mask):
        return None
    start = _find_first_row(lines, delimiter, cells, mask)
    if start is None:
        return None
    labels, header = _find_labels(lines, start, delimiter, cells)
    info = _read_preamble(lines[: max(header - 1, 0)], delimiter)
    return Layout(delimiter, decimal, labels, header, start + 1, cells, info)


def find_header_only(lines: Sequence[str]) -> int | None:
    """Find the line of a header without data rows, counted from 1; None if there is none."""
    for index, line in enumerate(lines):
        for delimiter in _DELIMITERS[:-1]:
            labels = [split_label(c) for c in split_cells(_uncomment(line), delimiter)]
            known = sum(find_label_channel(label) is not None for label in labels)
            if len(labels) > 1 and known >= max(2, len(labels) // 3):
                return index + 1
    return None


def is_number(cell: str) -> bool:
    """Whether a cell holds a plain number, with a decimal point or comma."""
    return _NUMBER.fullmatch(cell) is not None


def _is_value(cell: str) -> bool:
    return bool(cell) and (is_number(cell) or _CLOCK.fullmatch(cell) is not None)


def _uncomment(line: str) -> str:
    stripped = line.strip()
    for mark in _COMMENT:
        if stripped.startswith(mark):
            return stripped.lstrip(mark[0]).strip()
    return line


def _pick_sample(lines: Sequence[str]) -> list[str]:
    """Keep the later part of the lines, where data rows are sure to be."""
    filled = [line for line in lines if line.strip()]
    return filled[len(filled) // 2 :][:_SAMPLE_LINES]


def _find_delimiter(tail: Sequence[str]) -> tuple[str, str, int]:
    """Take the delimiter under which most cells of most lines are numbers."""
    best: tuple[float, str, str, int] = (-1.0, ",", ".", 1)
    for delimiter in _DELIMITERS:
        rows = [split_cells(line, delimiter) for line in tail]
        cells, same = Counter(len(r) for r in rows).most_common(1)[0] if rows else (1, 0)
        filled = [c for r in rows if len(r) == cells for c in r if c]
        share = sum(map(_is_value, filled)) / max(len(filled), 1)
        score = share * same / max(len(tail), 1) + (0.1 if cells > 1 else -0.5)
        if score > best[0] + 1e-9:
            best = (score, delimiter, _find_decimal(filled, delimiter), cells)
    return best[1], best[2], best[3]


def _find_decimal(cells: Sequence[str], delimiter: str) -> str:
    """Take the commoner of point and comma; commas may also part thousands where they delimit."""
    numbers = [c for c in cells if is_number(c)]
    commas = [c for c in numbers if "," in c]
    points = sum("." in c for c in numbers)
    if delimiter == "," and sum(map(bool, map(_THOUSANDS.fullmatch, commas))) == len(commas):
        return "."
    return "," if len(commas) > points else "."


def _numeric_columns(tail: Sequence[str], delimiter: str, cells: int) -> list[bool]:
    rows = [r for r in (split_cells(line, delimiter) for line in tail) if len(r) == cells]
    mask = []
    for column in range(cells):
        filled = [r[column] for r in rows if r[column]]
        mask.append(bool(filled) and sum(map(_is_value, filled)) > 0.5 * len(filled))
    return mask


def _is_row(line: str, delimiter: str, cells: int, mask: Sequence[bool]) -> bool:
    row = split_cells(line, delimiter)
    if abs(len(row) - cells) > 0:
        return False
    judged = [c for c, numeric in zip(row, mask, strict=True) if numeric and c]
    return bool(judged) and sum(map(_is_value, judged)) >= 0.7 * len(judged)


def _find_first_row(
    lines: Sequence[str], delimiter: str, cells: int, mask: Sequence[bool]
) -> int | None:
    filled = (i for i, line in enumerate(lines) if line.strip())
    return next((i for i in filled if _is_row(lines[i], delimiter, cells, mask)), None)


def _find_labels(
    lines: Sequence[str], start: int, delimiter: str, cells: int
) -> tuple[tuple[Label, ...], int]:
    """Read the names above the first data row, with the units row if there is one."""
    # A remark between the names and the first row is no row of names.
    filled = [i for i in range(start) if lines[i].strip()]
    above = [i for i in filled if cells == 1 or len(split_cells(lines[i], delimiter)) > 1][-3:]
    if not above:
        return (), 0
    last = split_cells(_uncomment(lines[above[-1]]), delimiter)
    if len(above) > 1 and _is_units_row(last):
        names = split_cells(_uncomment(lines[above[-2]]), delimiter)
        if len(names) > 1 or cells == 1:
            return _with_units(names, last), above[-2] + 1
    if len(last) < 2 <= cells or all(map(is_number, last)):
        return (), 0
    return tuple(split_label(c) for c in _drop_trailing(last, cells)), above[-1] + 1


def _is_units_row(row: Sequence[str]) -> bool:
    filled = [c for c in row if c]
    units = sum(map(is_unit_cell, filled))
    names = sum(find_label_channel(split_label(c)) is not None for c in filled)
    return units > 0 and units >= 0.6 * len(filled) and units > names


def _with_units(names: Sequence[str], units: Sequence[str]) -> tuple[Label, ...]:
    labels = []
    for index, cell in enumerate(names):
        label = split_label(cell)
        unit = clean_unit_cell(units[index]) if index < len(units) else None
        labels.append(Label(label.name, unit or label.unit, label.cell))
    return tuple(labels)


def _drop_trailing(row: list[str], cells: int) -> list[str]:
    while len(row) > cells and not row[-1]:
        row = row[:-1]
    return row


def _read_preamble(lines: Sequence[str], delimiter: str) -> dict[str, str]:
    """Read name-value lines such as ``Driver;A. Example`` or ``# date: 2026-05-09``."""
    info: dict[str, str] = {}
    for line in lines:
        text = _uncomment(line).strip()
        if not text:
            continue
        cells = [c for c in split_cells(text, delimiter) if c] if delimiter != " " else [text]
        if len(cells) < 2:
            name, mark, value = text.partition(":" if ":" in text else "=")
            cells = [name.strip(), value.strip()] if mark else [text, ""]
        info[cells[0].rstrip(":= ")] = " ".join(cells[1:])
    return info
