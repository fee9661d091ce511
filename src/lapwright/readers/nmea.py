"""NMEA 0183: RMC, GGA and VTG sentences of any talker, held against their checksums."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.recording import Recording
from lapwright.readers.assemble import assemble_recording
from lapwright.readers.header import Label
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.nmea_fields import (
    Field,
    read_date,
    read_number,
    read_place,
    read_time_of_day,
    split_cells,
)
from lapwright.readers.nmea_lines import Sentences, find_sentences
from lapwright.readers.source import Source
from lapwright.readers.table import Column, Table, count, say_places

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

_DAY_S: Final = 86_400.0
#: The kinds of sentences that are looked for, and how many cells are read of each.
_KINDS: Final = ("RMC", "GGA", "VTG", "ZDA")
_CELLS: Final = 10
_SIGN = re.compile(rb"\$[A-Z]{2}(?:RMC|GGA|VTG|GLL|GSA|GSV|ZDA|GNS|GST|TXT),")
_NO_FIX: Final = "receiver reports no fix"


def recognise(head: bytes) -> bool:
    """Whether a sentence of a positioning receiver stands in the first bytes."""
    return _SIGN.search(head) is not None


def read(source: Source, mapping: ChannelMapping) -> Recording:
    """Read the sentences of a receiver into a recording.

    Raises
    ------
    InputError
        When no sentence gives a time and a place.
    """
    found = find_sentences(source.data, source.file, mapping.file.get("checksums") == "none")
    table = _build_table(source, found, _split(found), mapping.file.get("date"))
    return assemble_recording([table], mapping)


@dataclass(frozen=True, slots=True)
class _Kind:
    """All sentences of one kind of one talker: row numbers among all, cells by place."""

    name: str
    at: IntArray
    lines: IntArray
    cells: pl.DataFrame
    talker: str = ""

    def cell(self, place: int) -> pl.Series:
        return self.cells[str(place)]


def _split(found: Sentences) -> dict[str, _Kind]:
    """Split the sentences of every kind into cells, all kinds together."""
    talkers = {kind: _find_talker(found, kind) for kind in _KINDS}
    of_kind = [
        np.flatnonzero((found.kinds == kind.encode()) & (found.talkers == talker))
        for kind, talker in talkers.items()
    ]
    cells = split_cells(found.texts(np.concatenate(of_kind)), _CELLS)
    kinds: dict[str, _Kind] = {}
    start = 0
    for (kind, talker), at in zip(talkers.items(), of_kind, strict=True):
        part = cells.slice(start, at.size)
        kinds[kind] = _Kind(kind, at, found.lines[at], part, talker.decode(errors="replace"))
        start += at.size
    return kinds


def _find_talker(found: Sentences, kind: str) -> bytes:
    """Find the talker that gives most sentences of a kind; empty without one."""
    own = found.talkers[found.kinds == kind.encode()]
    talkers, counts = np.unique(own, return_counts=True)
    # GN stands for all systems together; it wins where it gives as many.
    order = sorted(zip(-counts, talkers != b"GN", talkers, strict=True))
    return bytes(order[0][2]) if order else b""


@dataclass(frozen=True, slots=True)
class _Fixes:
    """What RMC or GGA sentences say, a row for each that has a readable time."""

    at: IntArray
    lines: IntArray
    of_day: Array
    columns: dict[str, Array]
    has_fix: Mask
    day: Array


def _read_fixes(kind: _Kind, file: str) -> tuple[_Fixes, list[Message]]:
    is_rmc = kind.name == "RMC"
    place = 3 if is_rmc else 2
    time = read_time_of_day(kind.cell(1))
    status = kind.cell(2 if is_rmc else 6)
    has_fix = (status == "A" if is_rmc else (status != "") & (status != "0")).to_numpy()
    latitude = read_place(kind.cell(place), kind.cell(place + 1), "N", "S", 90)
    longitude = read_place(kind.cell(place + 2), kind.cell(place + 3), "E", "W", 180)
    fields = [("time", time, np.ones(has_fix.size, dtype=bool)), ("latitude", latitude, has_fix)]
    fields.append(("longitude", longitude, has_fix))
    messages = [m for n, f, on in fields for m in _say_bad(file, kind, n, f, on)]
    columns = {"latitude": latitude.values, "longitude": longitude.values}
    if is_rmc:
        columns |= {"speed": read_number(kind.cell(7)), "course": read_number(kind.cell(8))}
        day = read_date(kind.cell(9))
    else:
        columns["altitude"] = read_number(kind.cell(9))
        day = np.full(has_fix.size, np.nan)
    usable = has_fix & np.isfinite(latitude.values) & np.isfinite(longitude.values)
    columns = {n: np.where(usable, v, np.nan) for n, v in columns.items()}
    kept = np.isfinite(time.values) & (usable | ~has_fix)
    fixes = _Fixes(
        kind.at[kept], kind.lines[kept], time.values[kept],
        {n: v[kept] for n, v in columns.items()}, has_fix[kept], day[kept],
    )  # fmt: skip
    return fixes, messages


def _say_bad(file: str, kind: _Kind, name: str, field: Field, on: Mask) -> Iterable[Message]:
    rows = np.flatnonzero(field.is_bad & on)
    if rows.size:
        places = kind.lines[rows]
        where = f" ({say_places(places, 'line')})" if rows.size > 1 else ""
        yield Message(
            "repaired", file, f"{kind.name} {name}: {field.say(int(rows[0]))}",
            f"{count(rows.size, 'sentence')} dropped{where}",
            place=f"line {int(places[0])}", line=int(places[0]),
        )  # fmt: skip


def _build_table(
    source: Source, found: Sentences, kinds: dict[str, _Kind], date_given: str | None
) -> Table:
    """Put the sentences of each moment into one row."""
    parts = [_read_fixes(kinds[name], source.file) for name in ("RMC", "GGA")]
    (rmc, _), (gga, _) = parts
    messages = [*found.messages, *(m for _, said in parts for m in said)]
    at = np.concatenate([rmc.at, gga.at])
    if not at.size:
        raise InputError([*messages, _refuse(source.file, kinds)])
    order = np.argsort(at, kind="stable")
    of_day = np.concatenate([rmc.of_day, gga.of_day])[order]
    lines = np.concatenate([rmc.lines, gga.lines])[order]
    row_of = np.cumsum(np.diff(of_day, prepend=np.nan) != 0) - 1
    first = np.unique(row_of, return_index=True)[1]
    rows = np.empty(at.size, dtype=np.int64)
    rows[order] = row_of
    split = rmc.at.size
    columns = _join(rmc, rows[:split], gga, rows[split:], first.size)
    columns |= _add_course_and_speed(kinds["VTG"], columns, at[order], row_of)
    day = np.full(first.size, np.nan)
    day[rows[:split][np.isfinite(rmc.day)]] = rmc.day[np.isfinite(rmc.day)]
    time, dated = _date_rows(source, of_day[first], day, lines[first], date_given)
    has_fix = np.zeros(first.size, dtype=bool)
    np.logical_or.at(has_fix, rows, np.concatenate([rmc.has_fix, gga.has_fix]))
    messages += [*dated, *_say_no_fix(source.file, time, has_fix, lines[first])]
    messages = [_add_gap(m, time, lines[first], found) for m in messages]
    talkers = sorted({k.talker for k in kinds.values() if k.talker})
    units = {"latitude": "deg", "longitude": "deg", "altitude": "m", "speed": "kn", "course": "deg"}
    made = [Column(Label(n, units[n], n), v) for n, v in columns.items() if np.isfinite(v).any()]
    clock = Column(Label("utc", "s", "utc"), time)
    return Table(
        source.file, source.sha256, [clock, *made], lines[first], "line", "line 1",
        {"dialect": f"NMEA 0183, talker {', '.join(talkers)}"}, tuple(messages),
        written=source.written,
    )  # fmt: skip


def _refuse(file: str, kinds: dict[str, _Kind]) -> Message:
    held = ", ".join(f"{k.at.size} {n}" for n, k in kinds.items())
    return Message(
        "refused", file, f"no sentence gives a time and a place (held: {held})",
        "Nothing was imported", "Log RMC or GGA sentences", place="line 1", line=1,
    )  # fmt: skip


def _join(
    rmc: _Fixes, rmc_rows: IntArray, gga: _Fixes, gga_rows: IntArray, n: int
) -> dict[str, Array]:
    """One column for each quantity; RMC's place counts where both give one."""
    columns: dict[str, Array] = {}
    for fixes, rows in ((rmc, rmc_rows), (gga, gga_rows)):
        for name, values in fixes.columns.items():
            column = columns.setdefault(name, np.full(n, np.nan))
            known = np.isfinite(values) & np.isnan(column[rows])
            column[rows[known]] = values[known]
    return columns


def _add_course_and_speed(
    vtg: _Kind, columns: dict[str, Array], at: IntArray, row_of: IntArray
) -> dict[str, Array]:
    """Speed and course of VTG where RMC gives none; VTG has no time of its own."""
    if np.isfinite(columns.get("speed", np.array([np.nan]))).any() or not vtg.at.size:
        return {}
    ahead = vtg.at[0] < at[0]
    near = np.searchsorted(at, vtg.at) - (0 if ahead else 1)
    inside = (near >= 0) & (near < at.size)
    rows = row_of[near[inside]]
    made: dict[str, Array] = {}
    for name, place in (("speed", 5), ("course", 1)):
        made[name] = np.full(int(row_of[-1]) + 1, np.nan)
        made[name][rows] = read_number(vtg.cell(place))[inside]
    return made


def _date_rows(
    source: Source, of_day: Array, day: Array, lines: IntArray, given: str | None
) -> tuple[Array, list[Message]]:
    """Seconds of each row since 1970; days that are missing come from the nearest known.

    Without any date they count from the one that was ``given``, else from the first row.
    """
    midnights = np.cumsum(np.diff(of_day, prepend=of_day[0]) < -0.5 * _DAY_S)
    known = np.flatnonzero(np.isfinite(day))
    if not known.size:
        time = of_day + _DAY_S * midnights
        if given is None or given == "none":
            return time - time[0], [] if given else [_ask_date(source, lines, int(midnights[-1]))]
        moment = datetime.fromisoformat(given).replace(tzinfo=UTC)
        return time + moment.timestamp(), []
    index = np.arange(of_day.size)
    after = np.minimum(np.searchsorted(known, index), known.size - 1)
    before = np.maximum(after - 1, 0)
    closer = np.abs(known[before] - index) <= np.abs(known[after] - index)
    near = known[np.where(closer, before, after)]
    filled = np.where(np.isfinite(day), day, day[near] + midnights - midnights[near])
    missing = np.flatnonzero(~np.isfinite(day))
    said: list[Message] = []
    early = missing[missing < known[0]]
    if early.size:
        dated = datetime.fromtimestamp(day[known[0]] * _DAY_S, UTC).date()
        said.append(
            Message(
                "repaired", source.file, "date 000000 or none",
                f"Taken from line {int(lines[known[0]])} ({dated})",
                place=say_places(lines[early], "line"), line=int(lines[early[0]]),
            )
        )  # fmt: skip
    return filled * _DAY_S + of_day, said


def _ask_date(source: Source, lines: IntArray, days: int) -> Message:
    """Ask for the date of the first sentence; offered is the day on which the file was written."""
    if source.written is None:
        offered, to_do = "none", "Read it without a date?"
    else:
        ended = datetime.fromtimestamp(source.written, UTC)
        offered = f"{ended - timedelta(days=days):%Y-%m-%d}"
        to_do = f"Take {offered}, by the day on which the file was written?"
    place = say_places(lines, "line", shown=1)
    return Message(
        "ask", source.file, "no sentence gives a date", "Lap times are the same with any date",
        to_do, place=place, line=int(lines[0]), answer=f"--set file.date={offered}",
    )  # fmt: skip


def _say_no_fix(file: str, time: Array, has_fix: Mask, lines: IntArray) -> Iterable[Message]:
    """Say each stretch in which the receiver knew no place; those at the ends are usual."""
    edges = np.flatnonzero(np.diff(np.concatenate([[True], has_fix, [True]])))
    for start, end in edges.reshape(-1, 2)[:20]:
        if start == 0 or end == has_fix.size:
            continue
        a, b = float(time[start] - time[0]), float(time[end - 1] - time[0])
        yield Message(
            "flagged", file, f"{_NO_FIX} (V)", "Marked; not read as 0, 0",
            place=f"t = {a:.1f}–{b:.1f} s", line=int(lines[start]), start_s=a, end_s=b,
        )  # fmt: skip


def _add_gap(message: Message, time: Array, lines: IntArray, found: Sentences) -> Message:
    """Say the longest gap that dropped sentences leave."""
    if message is not found.wrong_message:
        return message
    at = np.searchsorted(lines, found.wrong_lines)
    at = np.unique(at[(at > 0) & (at < time.size)])
    gap = float(np.max(np.diff(time)[at - 1])) if at.size else 0.0
    return replace(message, done=f"Dropped; longest gap {gap:.2f} s")
