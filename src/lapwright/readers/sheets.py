"""Small tables of points: rows of cells with their lines, and cells as numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from lapwright.model.small_files import read_small_file, split_lines

#: A row: its line number, counted from 1, and its cells without blanks around them.
Row = tuple[int, list[str]]


def read_rows(path: Path, done: str, to_do: str) -> list[Row]:
    """Read the rows of a small text table that hold anything.

    The delimiter is a semicolon or tab where the last row has one, and a comma then is a decimal
    sign; else it is the comma. A mark of a comment in front of a header is taken off.

    Parameters
    ----------
    done, to_do
        What became of the file and what to do, for the message.

    Raises
    ------
    InputError
        When the file cannot be opened or is too large.
    """
    text = read_small_file(path, done, to_do).decode("utf-8-sig", errors="replace")
    lines = [(i, line) for i, line in enumerate(split_lines(text), 1) if line.strip()]
    last = lines[-1][1] if lines else ""
    cut = next((c for c in (";", "\t") if c in last), ",")
    return [(i, _split(line, cut)) for i, line in lines]


def _split(line: str, cut: str) -> list[str]:
    cells = [c.strip() for c in line.lstrip("# ").split(cut)]
    cells = cells if cells[-1] else cells[:-1]
    return cells if cut == "," else [_with_point(c) for c in cells]


def _with_point(cell: str) -> str:
    changed = cell.replace(",", ".")
    return cell if cell == changed or read_number(changed) is None else changed


def read_number(cell: str) -> float | None:
    """Read a cell as a finite number; None for what only a programming language takes as one.

    Examples
    --------
    >>> read_number("1.5e2"), read_number("1_0"), read_number("nan")
    (150.0, None, None)
    """
    if not cell.isascii() or "_" in cell:
        return None
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def read_numbers(cells: Sequence[str]) -> list[float] | None:
    """Read cells as numbers; None where one is none."""
    values = [read_number(c) for c in cells]
    return [v for v in values if v is not None] if None not in values else None
