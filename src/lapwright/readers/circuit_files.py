"""Circuits from files: our own JSON, GeoJSON, OpenDRIVE, a line with widths, two edges."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError, UsageError
from lapwright.messages import Message
from lapwright.model.build_circuit import (
    Edge,
    build_circuit_from_centre,
    build_circuit_from_edges,
    check_points,
)
from lapwright.model.circuit import Circuit
from lapwright.model.circuit_json import circuit_from_document
from lapwright.model.small_files import read_small_file
from lapwright.readers.geojson import read_circuit_geojson
from lapwright.readers.opendrive import read_circuit_opendrive
from lapwright.readers.sheets import read_numbers, read_rows

Array = NDArray[np.float64]

#: The name of a column of coordinates, with or without its unit.
_AXIS: Final = re.compile(r"(?:pos(?:ition)?[ _]?)?([xyz])(?:[ _]?[\[(]?m[\])]?)?")
_DONE: Final = "No circuit was made"
_TO_DO: Final = "Give x, y and widths or two edges as CSV, GeoJSON, OpenDRIVE, or circuit.json"
#: What a column's name must and must not hold, by meaning; the first that fits counts.
_SIDES: Final = {"right": ("right", "rechts"), "left": ("left", "links")}


@dataclass(frozen=True, slots=True)
class _Sheet:
    file: str
    names: tuple[str, ...]
    rows: Array


def read_circuit(paths: Sequence[str | Path]) -> Circuit:
    """Read a circuit from one file, or from two files with an edge each.

    Parameters
    ----------
    paths
        One file, told by its content: ``circuit.json``, GeoJSON, OpenDRIVE, a CSV with
        a line and widths, or a CSV with both edges in six (or four) columns. Two files:
        x, y[, z] of an edge each, with or without a header, in any order and either way
        round.

    Raises
    ------
    InputError
        If a file cannot be understood.
    """
    files = [Path(p) for p in paths]
    if len(files) == 1:
        data = read_small_file(files[0], _DONE, _TO_DO)
        head = data[:4096].removeprefix(b"\xef\xbb\xbf").lstrip()
        if head.startswith(b"{"):
            return _read_json(files[0].name, data)
        if head.startswith(b"<"):
            return read_circuit_opendrive(data, files[0].name)
    sheets = [_read_sheet(p) for p in files]
    try:
        if len(sheets) == 2:
            return build_circuit_from_edges(*(_edge(s) for s in sheets))
        if len(sheets) == 1:
            return _from_sheet(sheets[0])
    except UsageError as error:
        raise _refuse(sheets[0].file, str(error).rstrip(".")) from error
    raise UsageError(f"--circuit: {len(files)} files; give one, or two for two edges.")


def _read_json(file: str, data: bytes) -> Circuit:
    try:
        document = json.loads(data)
        if document.get("type") in ("FeatureCollection", "Feature"):
            return read_circuit_geojson(document, file)
        return circuit_from_document(document)
    except (ValueError, UsageError, RecursionError, AttributeError) as error:
        raise _refuse(file, f"not a circuit document ({error})") from error


def _read_sheet(path: Path) -> _Sheet:
    cells = read_rows(path, _DONE, _TO_DO)
    if not cells:
        raise _refuse(path.name, "the file is empty")
    first = next((k for k, (_, row) in enumerate(cells) if _is_numbers(row)), None)
    if first is None:
        raise _refuse(path.name, "no row of numbers")
    names = tuple(c.lower() for c in cells[first - 1][1]) if first else ()
    line, width = cells[first][0], len(cells[first][1])
    if len(names) != width:
        if any(map(_AXIS.fullmatch, names)):
            raise _refuse(path.name, f"{width} cells under {len(names)} names", f"line {line}")
        names = ()
    rows = []
    for line, row in cells[first:]:
        numbers = read_numbers(row)
        if numbers is None or len(numbers) != width:
            raise _refuse(path.name, f"not {width} numbers", f"line {line}")
        rows.append(numbers)
    return _Sheet(path.name, names, np.array(rows))


def _is_numbers(row: Sequence[str]) -> bool:
    return len(row) >= 2 and read_numbers(row) is not None


def _edge(sheet: _Sheet) -> Edge:
    columns = sheet.rows.T
    if len(columns) not in (2, 3):
        raise _refuse(sheet.file, f"{len(columns)} columns where an edge has x, y and maybe z")
    try:
        check_points(columns[0], columns[1])
    except UsageError as error:  # of two files this one is named
        raise _refuse(sheet.file, str(error).rstrip(".")) from error
    return Edge(columns[0], columns[1], columns[2] if len(columns) == 3 else None)


def _from_sheet(sheet: _Sheet) -> Circuit:
    columns = dict(zip(sheet.names, sheet.rows.T, strict=False))
    sides = {side: _side_columns(columns, words) for side, words in _SIDES.items()}
    if all(len(c) >= 2 for c in sides.values()):
        edges = {side: Edge(*(columns[n] for n in c[:3])) for side, c in sides.items()}
        left, right = edges["left"], edges["right"]
        return build_circuit_from_edges(right, left)
    if not sheet.names and len(sheet.rows.T) in (4, 6):
        half = len(sheet.rows.T) // 2
        return build_circuit_from_edges(Edge(*sheet.rows.T[:half]), Edge(*sheet.rows.T[half:]))
    if all(len(c) == 1 for c in sides.values()):
        line = [_column(columns, letter) for letter in "xyz"]
        if line[0] is not None and line[1] is not None:
            return build_circuit_from_centre(
                line[0],
                line[1],
                columns[sides["right"][0]],
                columns[sides["left"][0]],
                line[2],
            )
    raise _refuse(
        sheet.file,
        f"columns {', '.join(sheet.names) or 'without names'}; needed are x, y and the widths "
        "to the right and left, or two edges",
        "line 1",
    )


def _side_columns(columns: dict[str, Array], words: Sequence[str]) -> list[str]:
    return [n for n in columns if any(w in n for w in words)]


def _column(columns: dict[str, Array], letter: str) -> Array | None:
    found = ((_AXIS.fullmatch(name), values) for name, values in columns.items())
    return next((values for match, values in found if match and match[1] == letter), None)


def _refuse(file: str, found: str, place: str = "") -> InputError:
    return InputError([Message("refused", file, found, _DONE, _TO_DO, place)])
