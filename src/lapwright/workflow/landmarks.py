"""Landmarks from files of their own: lines, a table, GeoJSON, or the log of a mapping lap."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.circuit import Circuit, Landmark, RoadSpan
from lapwright.model.landmark_stops import find_landmark_stops
from lapwright.model.note_circuit import put_landmarks, put_spans
from lapwright.model.recording import Recording
from lapwright.model.small_files import read_small_file, split_lines
from lapwright.readers.geojson import read_beside_geojson
from lapwright.readers.landmark_lines import read_landmark_lines, read_landmark_tables
from lapwright.workflow.log_options import LogOptions
from lapwright.workflow.session import build_drives, find_info, read_recordings

#: So much of a file's beginning decides what it is.
_HEAD_BYTES: Final = 65_536
_LINE: Final = re.compile(r"\bat\s{1,9}-?\d", re.IGNORECASE)
_DONE: Final = "No landmark was placed"
_TO_DO: Final = (
    "Give lines such as: mill chimney: at 1240 m, left, 6 m off, 2 m high; "
    "a table with name, at_m, side, off_m, height_m; GeoJSON; or the log of a mapping lap"
)


@dataclass(frozen=True, slots=True)
class LandmarkFile:
    """What one file held, not yet placed: one of lines, tables, a document or recordings."""

    file: str
    lines: tuple[str, ...] = ()
    tables: tuple[Mapping[str, Any], ...] = ()
    document: Mapping[str, Any] = field(default_factory=dict)
    recordings: tuple[Recording, ...] = ()


def read_landmark_files(paths: Sequence[Path], options: LogOptions) -> tuple[LandmarkFile, ...]:
    """Read files of landmarks; each file's content decides what it is.

    Raises
    ------
    InputError
        With what is wrong with each of them.
    """
    files: list[LandmarkFile] = []
    wrong: list[Message] = []
    for path in paths:
        try:
            files.append(_read(path, options))
        except InputError as error:
            wrong.extend(error.messages)
    if wrong:
        raise InputError(wrong)
    return tuple(files)


def place_landmarks(circuit: Circuit, files: Sequence[LandmarkFile]) -> Circuit:
    """Put what the files hold on a circuit; a landmark of the same name is replaced.

    Raises
    ------
    InputError
        If something cannot be placed.
    """
    for one in files:
        marks, spans = _place(circuit, one)
        circuit = put_spans(put_landmarks(circuit, marks), spans)
    return circuit


def _read(path: Path, options: LogOptions) -> LandmarkFile:
    try:
        with path.open("rb") as stream:
            head = stream.read(_HEAD_BYTES)
    except OSError as error:
        raise _refuse(path.name, f"cannot be opened ({error.strerror})") from error
    text = head.decode("utf-8-sig", errors="replace").lstrip()
    if not text:
        raise _refuse(path.name, "the file is empty")
    table = {"name", "at_m"} <= {c.strip().lower() for c in split_lines(text)[0].split(",")}
    if not (text.startswith("{") or table or _LINE.search(text)):
        return LandmarkFile(path.name, recordings=read_recordings([path], options))
    whole = read_small_file(path, _DONE, _TO_DO).decode("utf-8-sig", errors="replace")
    if text.startswith("{"):
        return LandmarkFile(path.name, document=_read_json(path.name, whole))
    lines = tuple(split_lines(whole))
    return (
        LandmarkFile(path.name, tables=_read_tables(path.name, lines))
        if table
        else LandmarkFile(path.name, lines=lines)
    )


def _read_json(file: str, text: str) -> Mapping[str, Any]:
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _refuse(file, f"not JSON ({error})") from error
    if document.get("type") not in ("FeatureCollection", "Feature"):
        raise _refuse(file, "JSON, but no GeoJSON features")
    return dict(document)


def _read_tables(file: str, lines: Sequence[str]) -> tuple[Mapping[str, Any], ...]:
    """Rows of a table; what stands in no column that is known is left alone."""
    try:
        rows = csv.DictReader([line for line in lines if line.strip()], restkey="more")
        rows.fieldnames = [name.strip().lower() for name in rows.fieldnames or ()]
        held = [{k: (v.strip() or None) if isinstance(v, str) else None for k, v in row.items()}
                for row in rows]  # fmt: skip
    except csv.Error as error:
        raise _refuse(file, f"no table ({error})") from error
    if not held:
        raise _refuse(file, "a header and no landmark")
    return tuple(held)


def _place(
    circuit: Circuit, one: LandmarkFile
) -> tuple[tuple[Landmark, ...], tuple[RoadSpan, ...]]:
    if one.document:
        return read_beside_geojson(one.document, one.file, circuit)
    if one.recordings:
        return _place_stops(circuit, one), ()
    marks = (
        *read_landmark_tables(one.tables, circuit, one.file),
        *read_landmark_lines(one.lines, circuit, one.file),
    )
    if not marks:
        raise _refuse(one.file, "no landmark in it")
    return marks, ()


def _place_stops(circuit: Circuit, one: LandmarkFile) -> tuple[Landmark, ...]:
    """Place the stops of a mapping lap; a line ``Landmarks,mill;oak`` before its data names them.

    Names are taken in the order of the stops.
    """
    drives = build_drives(one.recordings, circuit.origin)
    marks = [mark for drive in drives for mark in find_landmark_stops(drive, circuit)]
    if not marks:
        raise _refuse(one.file, "the car stands nowhere for 3 s on the lap")
    said = find_info(one.recordings[0], "landmarks", "landmark")
    names = [name.strip() for name in said.split(";") if name.strip()]
    if names and len(names) != len(marks):
        raise _refuse(one.file, f"{len(names)} names of landmarks and {len(marks)} stops")
    return tuple(replace(m, name=n) for m, n in zip(marks, names or _numbers(marks), strict=True))


def _numbers(marks: Sequence[Landmark]) -> list[str]:
    return [f"landmark {k}" for k in range(1, len(marks) + 1)]


def _refuse(file: str, found: str) -> InputError:
    return InputError([Message("refused", file, found, _DONE, _TO_DO)])
