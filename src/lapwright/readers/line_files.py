"""A driven or drawn line from a file: x and y in the circuit's plane."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.messages import Message

Array = NDArray[np.float64]
LARGEST_BYTES = 64_000_000
_FEWEST = 8


def read_line(path: str | Path) -> tuple[Array, Array]:
    """Read the points of a line from a CSV: columns x and y (by name, or the first two).

    Raises
    ------
    InputError
        When the file cannot be read, or a row holds no two numbers.
    """
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise _refused(path, f"larger than {LARGEST_BYTES // 1_000_000} MB")
        lines = path.read_text(encoding="utf-8-sig", errors="replace").splitlines()
    except OSError as error:
        raise _refused(path, f"cannot be read ({error.strerror})") from error
    rows = [(i, line.strip()) for i, line in enumerate(lines, 1) if line.strip()]
    cut = max((",", ";", "\t"), key=rows[-1][1].count) if rows else ","
    columns, points = (0, 1), []
    for number, text in rows:
        cells = [c.strip() for c in text.lstrip("# ").split(cut)]
        found = _numbers(cells, columns)
        if found is not None:
            points.append(found)
        elif not points:
            columns = _named(cells) or columns
        else:
            raise _refused(path, f"no two numbers in {text[:40]!r}", f"line {number}")
    if len(points) < _FEWEST:
        raise _refused(path, f"{len(points)} points; needed: {_FEWEST} or more around the lap")
    x, y = np.array(points).T
    return x, y


def _numbers(cells: list[str], columns: tuple[int, int]) -> tuple[float, float] | None:
    try:
        x, y = (float(cells[c]) for c in columns)
    except (ValueError, IndexError):
        return None
    return (x, y) if np.isfinite(x) and np.isfinite(y) else None


def _named(cells: list[str]) -> tuple[int, int] | None:
    """Columns whose names are x and y, with or without a unit."""
    names = [c.lower().split("_")[0].split("[")[0].split("(")[0].strip() for c in cells]
    return (names.index("x"), names.index("y")) if "x" in names and "y" in names else None


def _refused(path: Path, found: str, place: str = "") -> InputError:
    to_do = "Give a CSV with columns x and y in the circuit's plane, in metres"
    return InputError([Message("refused", path.name, found, to_do=to_do, place=place)])
