"""Landmarks as a coach writes them: "mill chimney: at 1240 m, left, 6 m off, 2 m high"."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.circuit import Circuit, Landmark
from lapwright.numerics.curves import at_places

# Runs of blanks are single ones before these see a line: so none of them takes longer than
# the line is long.
_NUMBER = r"(-?\d{1,9}(?:[.,]\d{1,9})?) ?(m|yd|ft)?\b"
_AT = re.compile(rf"\bat {_NUMBER}", re.IGNORECASE)
_OFF = re.compile(rf"{_NUMBER} (?:off|from the edge|beside)", re.IGNORECASE)
_HIGH = re.compile(rf"{_NUMBER} (?:high|tall|up)", re.IGNORECASE)
_SIDE = re.compile(r"\b(left|right)\b", re.IGNORECASE)
_METRES = {"m": 1.0, "": 1.0, "yd": 0.9144, "ft": 0.3048}
#: Further away or higher than this is a slip of the pen, m.
FARTHEST_M, HIGHEST_M = 2000.0, 300.0


def read_landmark_lines(
    lines: Sequence[str], circuit: Circuit, file: str = "notes"
) -> tuple[Landmark, ...]:
    """Read landmarks, one a line; empty lines and those that begin with # are skipped.

    A line says where along the road (``at 1240 m``), on which side in driving direction,
    how far beyond the road's edge (``6 m off``; on the edge without) and, where known, how
    high (``2 m high``). What stands before a colon is the name.

    Parameters
    ----------
    circuit
        Its edges: ``off`` is counted from them.

    Raises
    ------
    InputError
        With one message for each line that cannot be understood.
    """
    found: list[Landmark] = []
    wrong: list[Message] = []
    for number, line in enumerate(lines, 1):
        text = " ".join(line.split())
        if not text or text.startswith("#"):
            continue
        values = _values(text)
        try:
            found.append(place_landmark_beside(circuit, **values, number=len(found) + 1))
        except ValueError as error:
            wrong.append(_refused(file, f"line {number}", text, str(error)))
    if wrong:
        raise InputError(wrong)
    return tuple(found)


def read_landmark_tables(
    tables: Sequence[Mapping[str, Any]], circuit: Circuit, file: str = "notes"
) -> tuple[Landmark, ...]:
    """Read landmarks from tables ``{name, at_m, side, off_m, height_m}`` of the notes.

    Raises
    ------
    InputError
        With one message for each table that is wrong.
    """
    found: list[Landmark] = []
    wrong: list[Message] = []
    for number, table in enumerate(tables, 1):
        known = {k: table.get(k) for k in ("name", "at_m", "side", "off_m", "height_m")}
        try:
            found.append(place_landmark_beside(circuit, **known, number=number))
        except (ValueError, TypeError) as error:
            wrong.append(_refused(file, f"landmark {number}", str(dict(table)), str(error)))
    if wrong:
        raise InputError(wrong)
    return tuple(found)


def place_landmark_beside(
    circuit: Circuit, name: Any = "", at_m: Any = None, side: Any = None, off_m: Any = 0.0,
    height_m: Any = 0.0, *, number: int = 1,
) -> Landmark:  # fmt: skip
    """Put a landmark beside the road, ``off_m`` beyond its edge.

    Raises
    ------
    ValueError
        Saying what is missing or impossible.
    """
    if at_m is None:
        raise ValueError("where along the road is missing (at … m)")
    if side not in ("left", "right"):
        raise ValueError("the side is missing (left or right)")
    at, off, height = (float(v or 0.0) for v in (at_m, off_m, height_m))
    if not all(math.isfinite(v) for v in (at, off, height)):
        raise ValueError("a number is not finite")
    if not 0.0 <= at <= circuit.length_m:
        raise ValueError(f"the lap has 0 to {circuit.length_m:.0f} m")
    if not -30.0 <= off <= FARTHEST_M or not 0.0 <= height <= HIGHEST_M:
        raise ValueError("nothing stands so far off, or so high")
    edges = circuit.left if side == "left" else circuit.right
    edge = float(at_places(circuit.length_m, edges, np.array([at]))[0])
    away = (edge + off) * (1.0 if side == "left" else -1.0)
    return Landmark(str(name).strip() or f"landmark {number}", at % circuit.length_m, away, height)


def _values(text: str) -> dict[str, Any]:
    name, colon, rest = text.partition(":")
    if not colon:
        name, rest = "", text
    side = _SIDE.search(rest)
    return {
        "name": name,
        "at_m": _length(_AT, rest),
        "side": side[1].lower() if side else None,
        "off_m": _length(_OFF, rest) or 0.0,
        "height_m": _length(_HIGH, rest) or 0.0,
    }


def _length(pattern: re.Pattern[str], text: str) -> float | None:
    match = pattern.search(text)
    if match is None:
        return None
    return float(match[1].replace(",", ".")) * _METRES[(match[2] or "").lower()]


def _refused(file: str, place: str, text: str, why: str) -> Message:
    to_do = "Write it as: mill chimney: at 1240 m, left, 6 m off, 2 m high"
    return Message("refused", file, f"“{text:.60}”: {why}", "No landmark was placed", to_do, place)
