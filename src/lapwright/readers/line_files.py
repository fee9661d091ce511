"""A driven or drawn line from a file: x and y in the circuit's plane."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.readers.sheets import read_number, read_rows

Array = NDArray[np.float64]
_FEWEST: Final = 8
_DONE: Final = "No line was read"
_TO_DO: Final = "Give a CSV with columns x and y in the circuit's plane, in metres"


def read_line(path: str | Path) -> tuple[Array, Array]:
    """Read the points of a line from a CSV: columns x and y (by name, or the first two).

    Raises
    ------
    InputError
        When the file cannot be read, or a row holds no two numbers.
    """
    path = Path(path)
    columns, names = (0, 1), 0
    points: list[tuple[float, float]] = []
    for number, cells in read_rows(path, _DONE, _TO_DO):
        found = _numbers(cells, columns)
        if found is not None and (points or not 0 < names < len(cells)):
            points.append(found)
        elif found is not None:
            raise _refused(path, f"{len(cells)} cells under {names} names", f"line {number}")
        elif points:
            text = ", ".join(cells)
            raise _refused(path, f"no two numbers in {text[:40]!r}", f"line {number}")
        elif (named := _named(cells)) is not None:
            columns, names = named, len(cells)
    if len(points) < _FEWEST:
        raise _refused(path, f"{len(points)} points; needed: {_FEWEST} or more around the lap")
    x, y = np.array(points).T
    return x, y


def _numbers(cells: list[str], columns: tuple[int, int]) -> tuple[float, float] | None:
    x, y = (read_number(cells[c]) if c < len(cells) else None for c in columns)
    return None if x is None or y is None else (x, y)


def _named(cells: list[str]) -> tuple[int, int] | None:
    """Columns whose names are x and y, with or without a unit."""
    names = [c.lower().split("_")[0].split("[")[0].split("(")[0].strip() for c in cells]
    return (names.index("x"), names.index("y")) if "x" in names and "y" in names else None


def _refused(path: Path, found: str, place: str = "") -> InputError:
    return InputError([Message("refused", path.name, found, _DONE, _TO_DO, place)])
