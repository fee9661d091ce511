"""The author's notes as TOML: read, with every finding about the file at once."""

from __future__ import annotations

import re
import sys
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.notes import (
    AdviceNote,
    CornerKey,
    CornerNote,
    MergeNote,
    Notes,
    Place,
    ReferenceNote,
    SpanNote,
    SplitNote,
)
from lapwright.model.small_files import read_small_file, read_toml, split_lines

_SESSION: Final = dict.fromkeys(("driver", "car", "date", "conditions"), "text")
_SPAN: Final = {
    "name": "text", "start_m": "number", "end_m": "number", "side": "side", "width_m": "number",
    "left_m": "number", "right_m": "number",
}  # fmt: skip
#: Fields of each table and what they hold; those that end in ! are needed.
TABLES: Final[Mapping[str, Mapping[str, str]]] = {
    "corners": {"corner": "key", "at_m": "number", "name": "text", "number": "key",
                "text": "texts", "caption": "text"},
    "merges": {"corners!": "keys"},
    "splits": {"corner!": "key", "at_m!": "number"},
    "advice": {"corner": "key", "at_m": "number", "about!": "text", "cause": "text",
               "reword": "text", "hide": "flag", "position": "count"},
    "references": {"corner": "key", "at_m": "number", "action!": "text", "reference!": "text"},
    "landmarks": {"name": "text", "at_m!": "number", "side!": "side", "off_m": "number",
                  "height_m": "number"},
    "kerbs": {**_SPAN, "start_m!": "number", "end_m!": "number"},
    "patches": {**_SPAN, "start_m!": "number", "end_m!": "number", "grip_factor": "number"},
}  # fmt: skip
_SINGLE: Final = ("session", "renumber", "landmark_lines")
_KINDS: Final = {
    "text": "a text", "number": "a number", "flag": "true or false", "key": "a corner's number",
    "keys": "a list of two or more corners' numbers", "texts": "a text or a list of texts",
    "side": 'a side, "left" or "right"', "count": "a whole number from 1",
}  # fmt: skip


def read_notes(path: str | Path) -> Notes:
    """Read the author's notes from a TOML file.

    Raises
    ------
    InputError
        With one message for each thing that is wrong, its line and its field.
    """
    path = Path(path)
    return read_notes_text(read_small_file(path), path.name)


def read_notes_text(data: bytes, file: str) -> Notes:
    """Read the author's notes from the bytes of a TOML file: see `read_notes`."""
    tables = read_toml(data, file)
    reading = _Reading(file, _index_lines(data.decode("utf-8-sig")))
    notes = _build(reading, tables)
    if reading.wrong:
        raise InputError(reading.wrong)
    return notes


_HEADER: Final = re.compile(r"\s*\[\[?\s*[\"']?([\w-]+)[\"']?\s*\]\]?")
_FIELD: Final = re.compile(r"\s*[\"']?([\w-]+)[\"']?\s*=")


#: Line of each table's header and fields: by table, its number and field; "" and 0 above all.
_Lines = dict[tuple[str, int, str], int]


@dataclass
class _Reading:
    """A file with every finding about it."""

    file: str
    lines: _Lines
    wrong: list[Message] = field(default_factory=list)

    def refuse(self, place: Place, found: str, to_do: str) -> None:
        self.wrong.append(
            Message("refused", self.file, found, "", to_do, place=str(place), line=place.line)
        )

    def find_line(self, table: str, number: int, key: str = "") -> int | None:
        """Find the line of a table's header, or of one of its fields."""
        header = self.lines.get((table, number, ""))
        if header is None:
            return self.lines.get(("", 0, table))
        return self.lines.get((table, number, key), header)


def _index_lines(text: str) -> _Lines:
    """Find where everything stands, looking at each line once."""
    lines: _Lines = {}
    met: Counter[str] = Counter()
    table, number = "", 0
    for at, line in enumerate(text.split("\n"), 1):
        if line.lstrip().startswith("["):
            header = _HEADER.match(line)
            table = header[1] if header else "["
            met[table] += 1
            number = met[table]
            lines.setdefault((table, number, ""), at)
        elif (found := _FIELD.match(line)) is not None:
            lines.setdefault((table, number, found[1]), at)
            lines.setdefault(("", 0, found[1]), at)
    return lines


def _build(reading: _Reading, tables: Mapping[str, Any]) -> Notes:
    for name in tables:
        if name not in TABLES and name not in _SINGLE:
            place = Place(f"[{name:.60}]", reading.find_line(name, 1))
            known = ", ".join([*_SINGLE, *TABLES])
            reading.refuse(place, "is not known in notes", f"Use one of {known}")
    rows = {name: _read_rows(reading, name, tables.get(name, [])) for name in TABLES}
    return Notes(
        reading.file,
        session=_read_session(reading, tables.get("session", {})),
        renumber=_read_flag(reading, tables.get("renumber", False)),
        corners=tuple(_corner(reading, *row) for row in rows["corners"]),
        merges=tuple(MergeNote(tuple(map(_key, r["corners"])), p) for r, p in rows["merges"]),
        splits=tuple(SplitNote(_key(r["corner"]), r["at_m"], p) for r, p in rows["splits"]),
        advice=tuple(_advice(reading, *row) for row in rows["advice"]),
        references=tuple(
            ReferenceNote(_which(reading, r, p), r["action"], r["reference"], p)
            for r, p in rows["references"]
        ),
        landmarks=tuple(r for r, _ in rows["landmarks"]),
        landmark_lines=_read_lines(reading, tables.get("landmark_lines", "")),
        spans=(
            *(_span(reading, "kerb", *row) for row in rows["kerbs"]),
            *(_span(reading, "patch", *row) for row in rows["patches"]),
        ),
    )


def _read_rows(reading: _Reading, name: str, rows: Any) -> list[tuple[dict[str, Any], Place]]:
    """Read a list of tables; a row that is wrong is left out, and the file is refused."""
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        place = Place(f"[{name}]", reading.find_line(name, 1))
        reading.refuse(place, "is no list of tables", f"Write [[{name}]] above each")
        return []
    read = []
    for number, row in enumerate(rows, 1):
        place = Place(f"[[{name}]] {number}", reading.find_line(name, number))
        before = len(reading.wrong)
        values = _read_fields(reading, TABLES[name], row, place, (name, number))
        if len(reading.wrong) == before:
            read.append((values, place))
    return read


def _read_fields(
    reading: _Reading, fields: Mapping[str, str], row: Mapping[str, Any], place: Place,
    at: tuple[str, int],
) -> dict[str, Any]:  # fmt: skip
    kinds = {key.rstrip("!"): kind for key, kind in fields.items()}
    needed = {key.rstrip("!") for key in fields if key.endswith("!")}
    for key in sorted(needed - set(row)):
        reading.refuse(place, f"{key} is missing", f"Give {_KINDS[kinds[key]]} as {key}")
    values = {}
    for key, value in row.items():
        there = Place(f"{place.words}, {key:.60}", reading.find_line(*at, key))
        if key not in kinds:
            reading.refuse(there, "is no field of this table", f"Use one of {', '.join(kinds)}")
        elif not _fits(kinds[key], value):
            reading.refuse(there, f"is {value!r:.60}", f"Give {_KINDS[kinds[key]]}")
        else:
            values[key] = value
    return values


def _fits(kind: str, value: Any) -> bool:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    number = number and abs(value) <= sys.float_info.max  # NaN fails as well
    named = isinstance(value, str) and bool(value.strip())
    tests = {
        "text": isinstance(value, str),
        "number": number,
        "flag": isinstance(value, bool),
        "key": named or (number and isinstance(value, int)),
        "keys": isinstance(value, list) and len(value) >= 2 and all(_fits("key", v) for v in value),
        "texts": isinstance(value, str)
        or (isinstance(value, list) and all(isinstance(v, str) for v in value)),
        "side": value in ("left", "right"),
        "count": number and isinstance(value, int) and value >= 1,
    }
    return bool(tests[kind])


def _key(value: Any) -> CornerKey:
    return CornerKey(str(value).strip())


def _which(reading: _Reading, row: Mapping[str, Any], place: Place) -> CornerKey:
    if ("corner" in row) == ("at_m" in row):
        reading.refuse(place, "does not say which corner", "Give either corner or at_m")
    if "at_m" in row:
        return CornerKey(at_m=float(row["at_m"]))
    return _key(row.get("corner", ""))


def _corner(reading: _Reading, row: Mapping[str, Any], place: Place) -> CornerNote:
    texts = row.get("text", ())
    number = row.get("number")
    return CornerNote(
        _which(reading, row, place), place, name=row.get("name"),
        number=None if number is None else str(number).strip(),
        texts=(texts,) if isinstance(texts, str) else tuple(texts), caption=row.get("caption"),
    )  # fmt: skip


def _advice(reading: _Reading, row: Mapping[str, Any], place: Place) -> AdviceNote:
    if not {"reword", "hide", "position"} & set(row):
        reading.refuse(place, "changes nothing", "Give reword, hide or position")
    return AdviceNote(
        _which(reading, row, place), row["about"].strip().lower(), place, row.get("cause"),
        row.get("reword"), bool(row.get("hide")), row.get("position"),
    )  # fmt: skip


def _span(
    reading: _Reading, kind: Literal["kerb", "patch"], row: Mapping[str, Any], place: Place
) -> SpanNote:
    left, right = row.get("left_m"), row.get("right_m")
    neither = left is None and right is None
    if not neither and (left is None or right is None or left <= right):
        reading.refuse(place, "needs left_m above right_m", "Give both, left positive")
    if kind == "kerb" and neither and "side" not in row:
        reading.refuse(place, "does not say on which side", 'Give side = "left" or "right"')
    if float(row.get("width_m", 1.0)) <= 0.0:
        reading.refuse(place, f"width_m is {row['width_m']}", "Give a width above 0")
    return SpanNote(
        kind, row.get("name", ""), float(row["start_m"]), float(row["end_m"]), place,
        row.get("side"), row.get("width_m"), left, right, row.get("grip_factor"),
    )  # fmt: skip


def _read_session(reading: _Reading, table: Any) -> dict[str, str]:
    place = Place("[session]", reading.find_line("session", 1))
    if not isinstance(table, dict):
        reading.refuse(place, "is no table", "Write [session] above its fields")
        return {}
    dated = {k: v.isoformat() if hasattr(v, "isoformat") else v for k, v in table.items()}
    return _read_fields(reading, _SESSION, dated, place, ("session", 1))


def _read_flag(reading: _Reading, value: Any) -> bool:
    if not isinstance(value, bool):
        reading.refuse(Place("renumber"), f"is {value!r:.60}", "Give true or false")
    return bool(value)


def _read_lines(reading: _Reading, value: Any) -> tuple[str, ...]:
    if not isinstance(value, str):
        reading.refuse(Place("landmark_lines"), f"is {value!r:.60}", "Give a text, a line each")
        return ()
    return tuple(split_lines(value))
