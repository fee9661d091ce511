"""GPX: tracks of timed points, with whatever numbers their extensions hold."""

from __future__ import annotations

import codecs
import itertools
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.recording import Recording
from lapwright.readers.assemble import assemble_recording
from lapwright.readers.gather import gather_text
from lapwright.readers.gpx_points import Points, collect_points
from lapwright.readers.header import Label, split_label
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.source import Source
from lapwright.readers.stamps import read_stamps
from lapwright.readers.table import Column, Table, count, say_places
from lapwright.readers.xml_events import read_utf8, refuse_markup

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

#: Units that the standard and the usual extensions of it fix.
_UNITS = {"ele": "m", "speed": "m/s", "course": "deg", "bearing": "deg"}
#: Elements of a point that say nothing about driving.
_ASIDE: Final = (
    "time", "name", "cmt", "desc", "src", "link", "text", "type", "sym", "fix", "sat", "hdop",
    "vdop", "pdop", "ageofdgpsdata", "dgpsid", "magvar", "geoidheight",
)  # fmt: skip


def recognise(head: bytes) -> bool:
    """Whether the first elements open a GPX document."""
    text = read_utf8(head[: len(head) & ~1]).removeprefix(codecs.BOM_UTF8).lstrip().lower()
    is_page = b"<html" in text or b"<!doctype html" in text
    return text.startswith(b"<") and not is_page and bool(re.search(rb"<(\w{1,20}:)?gpx\b", text))


def read(source: Source, mapping: ChannelMapping) -> Recording:
    """Read the tracks of a GPX file into a recording.

    Raises
    ------
    InputError
        For a DOCTYPE, a document beyond the limits, or one without timed points.
    """
    points, said = collect_points(source)
    if not points.lines:
        found = "no track points"
        raise InputError([*said, refuse_markup(source.file, found, 1, "Export the track")])
    table, kept = _build_table(source, points, said)
    tracks = np.array(points.tracks, dtype=np.int64)[kept]
    return assemble_recording([_choose_track(table, tracks, points.names, mapping)], mapping)


def _build_table(source: Source, points: Points, said: Sequence[Message]) -> tuple[Table, Mask]:
    """Drop points without a place or time, and make columns of the rest."""
    lines = np.array(points.lines, dtype=np.int64)
    stamps = points.column("time")
    if stamps.null_count() == len(stamps):
        found = f"none of {count(lines.size, 'point')} has a time. No lap times can be had"
        raise InputError([refuse_markup(source.file, found, int(lines[0]), "Export with time")])
    nothing = np.full(lines.size, np.nan)
    timed = read_stamps(Column(split_label("time"), nothing, stamps), None)
    seconds = timed.seconds if timed.kind == "epoch" else nothing
    latitude, longitude = _numbers(points.latitudes), _numbers(points.longitudes)
    bad = {
        "time": ~np.isfinite(seconds),
        "lat": ~(np.abs(latitude) <= 90.0),
        "lon": ~(np.abs(longitude) <= 180.0),
    }
    texts = {
        "time": stamps,
        "lat": pl.Series(points.latitudes),
        "lon": pl.Series(points.longitudes),
    }
    dropped = np.any(list(bad.values()), axis=0)
    if dropped.all():
        to_do = "Export again with times as 2026-05-09T10:00:00Z"
        found = f"none of {count(lines.size, 'point')} has a time, latitude and longitude"
        raise InputError([refuse_markup(source.file, found, int(lines[0]), to_do)])
    names = [n for n in points.texts if n.lower() not in _ASIDE]
    built = [gather_text(source.file, _label(n), points.column(n), lines, "line") for n in names]
    columns = [
        Column(Label("time", "s", "time"), seconds),
        Column(Label("lat", "deg", "lat"), latitude),
        Column(Label("lon", "deg", "lon"), longitude),
        *(column for column, _ in built),
    ]
    said = (*said, *(m for _, messages in built for m in messages))
    messages = [_say_dropped(source.file, n, bad[n], texts[n], lines) for n in bad if bad[n].any()]
    info = {"dialect": "GPX"}
    table = Table(
        source.file, source.sha256, columns, lines, "line", "line 1", info, (*said, *messages),
        row_word="point",
        written=source.written,
    )  # fmt: skip
    return keep_rows(table, ~dropped), ~dropped


def _numbers(texts: Sequence[str]) -> Array:
    series = pl.Series(texts, dtype=pl.String)
    numbers = series.cast(pl.Float64, strict=False)
    if numbers.null_count():
        numbers = series.str.strip_chars().cast(pl.Float64, strict=False)
    return numbers.to_numpy(writable=True)


def _label(name: str) -> Label:
    unit = _UNITS.get(name.lower())
    return Label(name, unit, name) if unit else split_label(name)


def _say_dropped(file: str, name: str, bad: Mask, texts: pl.Series, lines: IntArray) -> Message:
    rows = np.flatnonzero(bad)
    text = texts[int(rows[0])]
    shown = "nothing" if not text else f'"{text[:40]}"'
    what = {"time": "is no time", "lat": "is outside ±90 deg", "lon": "is outside ±180 deg"}[name]
    if name != "time" and (not text or not np.isfinite(_numbers([text])[0])):
        what = "is no number"
    where = "" if rows.size == 1 else f" ({say_places(lines[rows], 'line')})"
    return Message(
        "repaired", file, f"{shown} {what}", f"{count(rows.size, 'point')} dropped{where}",
        place=f"line {int(lines[rows[0]])}", line=int(lines[rows[0]]), channel=name,
    )  # fmt: skip


def _choose_track(
    table: Table, tracks: IntArray, names: Sequence[str], mapping: ChannelMapping
) -> Table:
    """Take the track that was asked for; ask where two tracks hold the same time."""
    wanted = mapping.file.get("track")
    if wanted is not None:
        chosen = tracks == (int(wanted) - 1 if wanted.isdigit() else -1)
        if chosen.any():
            return keep_rows(table, chosen)
    time = table.columns[0].values
    held = np.unique(tracks)
    spans = sorted((time[tracks == k].min(), time[tracks == k].max(), int(k)) for k in held)
    both = next(((a, b) for a, b in itertools.pairwise(spans) if b[0] < a[1] - 1.0), None)
    if both is None:
        return table
    first, second = sorted((both[0][2], both[1][2]))
    apart = _distance(table, tracks == first, tracks == second)
    named = ", ".join(f'"{names[k]}"' if k < len(names) else f"{k + 1}" for k in (first, second))
    place = table.say_rows(np.flatnonzero(tracks == second)[:1])
    question = Message(
        "ask", table.file, f"{held.size} tracks overlap in time ({named}), {apart:.1f} m apart",
        "Nothing was imported", f"Take track {first + 1}?", place=place,
        answer=f"--set file.track={first + 1}",
    )  # fmt: skip
    table = replace(table, messages=(*table.messages, question))
    return keep_rows(table, tracks == first)


def _distance(table: Table, first: Mask, second: Mask) -> float:
    """Median distance in m between two tracks at the same times; a sphere is good enough."""
    time, latitude, longitude = (c.values for c in table.columns[:3])
    order = np.argsort(time[first])
    at = [
        np.interp(time[second], time[first][order], c[first][order]) for c in (latitude, longitude)
    ]
    north = latitude[second] - at[0]
    east = (longitude[second] - at[1]) * np.cos(np.radians(at[0]))
    return float(np.median(np.hypot(north, east)) * 111_195.0)


def keep_rows(table: Table, kept: Mask) -> Table:
    """Keep some rows of a table."""
    if kept.all():
        return table
    columns = [
        replace(c, values=c.values[kept], text=None if c.text is None else c.text.filter(kept))
        for c in table.columns
    ]
    return replace(table, columns=columns, place_of_row=table.place_of_row[kept])
