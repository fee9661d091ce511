"""A recording that goes on at another place: two sessions that were joined into one file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lapwright.messages import Message
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.table import Column, Table
from lapwright.readers.timebase import Timed

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: No car gets this far this fast: m, m/s.
_FAR_M, _FAST_MPS = 2_000.0, 300.0
#: Samples on both sides that show that the position stays there.
_ENOUGH: Final = 20
_M_PER_DEG: Final = 111_195.0
#: Rows looked at together.
_PIECE_ROWS: Final = 262_144


def part_places(
    table: Table, columns: Mapping[str, Column], timed: Timed, mapping: ChannelMapping
) -> Timed:
    """Keep the part of a recording that was asked for; ask where there are two places.

    Parameters
    ----------
    columns
        Those of the table by canonical channel.
    timed
        Rows and times; what comes back holds fewer rows, or a question.
    mapping
        ``file.part`` says which part, from 1.
    """
    if not _may_move_far(columns, timed.rows):
        return timed
    place = _read_place(columns, timed.rows)
    if place is None:
        return timed
    rows, x, y = place
    cuts = _find_cuts(timed.time[rows], x, y)
    if not cuts:
        return timed
    wanted = mapping.file.get("part", "")
    edges = [0, *(int(rows[c]) for c in cuts), timed.rows.size]
    parts = list(pairwise(edges))
    first, last = parts[0]
    if wanted.isdigit() and 1 <= int(wanted) <= len(parts):
        first, last = parts[int(wanted) - 1]
        return _keep(timed, first, last)
    question = _ask(table, timed, int(rows[cuts[0]]), _far(x, y, cuts[0]), len(parts))
    return replace(_keep(timed, first, last), messages=(*timed.messages, question))


def _may_move_far(columns: Mapping[str, Column], rows: IntArray) -> bool:
    """Whether some step can be far; piece by piece, since most long files hold none."""
    for a, b, metres in (("latitude", "longitude", _M_PER_DEG), ("x", "y", 1.0)):
        if a not in columns or b not in columns:
            continue
        last = np.zeros((2, 0))
        for start in range(0, rows.size, _PIECE_ROWS):
            piece = rows[start : start + _PIECE_ROWS]
            both = np.stack([columns[a].values[piece], columns[b].values[piece]])
            both = both[:, np.isfinite(both).all(axis=0) & (both != 0.0).any(axis=0)]
            both = np.concatenate([last, both], axis=1)
            if (metres * np.hypot(*np.diff(both)) > _FAR_M).any():
                return True
            last = both[:, -1:]
        return False
    return False


def _read_place(
    columns: Mapping[str, Column], rows: IntArray
) -> tuple[IntArray, Array, Array] | None:
    """Rows with a position, and it in a plane in m; degrees and minutes are left alone."""
    for a, b in (("latitude", "longitude"), ("x", "y")):
        if a not in columns or b not in columns:
            continue
        y, x = columns[a].values[rows], columns[b].values[rows]
        known = np.flatnonzero(np.isfinite(x) & np.isfinite(y) & ((x != 0.0) | (y != 0.0)))
        if known.size < 2 * _ENOUGH:
            return None
        x, y = x[known], y[known]
        if a == "x":
            return known, x, y
        if np.abs(y).max() > 90.0 or np.abs(x).max() > 180.0:
            return None
        return known, x * _M_PER_DEG * np.cos(np.radians(np.median(y))), y * _M_PER_DEG
    return None


def _far(x: Array, y: Array, at: int) -> float:
    return float(np.hypot(x[at] - x[at - 1], y[at] - y[at - 1]))


def _find_cuts(time: Array, x: Array, y: Array) -> list[int]:
    """Find samples at which the position moves too far and then stays for good."""
    far = np.hypot(np.diff(x), np.diff(y))
    steps = np.diff(time)
    at = np.flatnonzero((far > _FAR_M) & (far > _FAST_MPS * steps)) + 1
    if not at.size or at.size > 20:
        return []
    edges = [0, *at.tolist(), x.size]
    if any(b - a < _ENOUGH for a, b in pairwise(edges)):
        return []
    middles = [(np.median(x[a:b]), np.median(y[a:b])) for a, b in pairwise(edges)]
    apart = [np.hypot(p[0] - q[0], p[1] - q[1]) for p, q in pairwise(middles)]
    return at.tolist() if min(apart) > 0.5 * _FAR_M else []


def _keep(timed: Timed, first: int, last: int) -> Timed:
    utc = None if timed.utc is None else timed.utc[first:last]
    return replace(timed, rows=timed.rows[first:last], time=timed.time[first:last], utc=utc)


def _ask(table: Table, timed: Timed, at: int, far: float, parts: int) -> Message:
    row = timed.rows[at : at + 1]
    step = float(timed.time[at] - timed.time[at - 1])
    found = f"position moves {far / 1000.0:.1f} km in {step:.2f} s and stays there"
    return Message(
        "ask", table.file, found, "Nothing was imported",
        f"Read only part 1 of {parts} sessions?", place=table.say_rows(row),
        line=table.first_line(row), answer="--set file.part=1",
    )  # fmt: skip
