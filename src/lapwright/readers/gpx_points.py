"""Track points out of a GPX document, and the places where its markup is broken."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import polars as pl

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.readers.gpx_alike import find_alike
from lapwright.readers.source import Source
from lapwright.readers.table import count, say_places
from lapwright.readers.xml_events import Broken, Sinks, parse_events, read_utf8

#: Kinds of numbers in one file.
_NAME_LIMIT: Final = 200
#: How often reading begins again behind a broken place.
_RESTART_LIMIT: Final = 50
#: Broken places that are said one by one.
_SHOWN: Final = 10
_POINT: Final = re.compile(rb"<(?:\w{1,20}:)?trkpt\b")


@dataclass(slots=True)
class Points:
    """What has been read so far: a row for each point, texts by name with their rows."""

    lines: list[int] = field(default_factory=list)
    latitudes: list[str] = field(default_factory=list)
    longitudes: list[str] = field(default_factory=list)
    tracks: list[int] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    texts: dict[str, tuple[list[int], list[str]]] = field(default_factory=dict)
    is_open: bool = False
    is_crowded: bool = False
    whole: int = 0

    def start(self, name: str, attributes: Mapping[str, str], line: Callable[[], int]) -> None:
        """Take the beginning of an element."""
        if name == "trkpt":
            self.is_open = True
            self.lines.append(line())
            self.latitudes.append(attributes.get("lat", ""))
            self.longitudes.append(attributes.get("lon", ""))
            self.tracks.append(max(len(self.names) - 1, 0))
        elif name == "trk":
            self.names.append("")

    def end(self, name: str, text: str, has_inner: bool) -> None:
        """Take the end of an element with its own text."""
        if not self.is_open:
            if name == "name" and self.names and not self.names[-1]:
                self.names[-1] = text[:60]
        elif name == "trkpt":
            self.is_open = False
            self.whole += 1
        elif not has_inner and text:
            self._put(name, text)

    def _put(self, name: str, text: str) -> None:
        held = self.texts.get(name)
        if held is None:
            if len(self.texts) >= _NAME_LIMIT:
                self.is_crowded = True
                return
            held = self.texts[name] = ([], [])
        row = len(self.lines) - 1
        if not held[0] or held[0][-1] != row:
            held[0].append(row)
            held[1].append(text)

    def drop_open(self) -> None:
        """Forget a point that was begun and not ended."""
        if not self.is_open:
            return
        self.is_open = False
        row = len(self.lines) - 1
        for held in (self.lines, self.latitudes, self.longitudes, self.tracks):
            held.pop()
        for rows, texts in self.texts.values():
            if rows and rows[-1] == row:
                rows.pop()
                texts.pop()

    def column(self, name: str) -> pl.Series:
        """Texts of one name by row, null where a point has none."""
        rows, texts = self.texts.get(name, ([], []))
        if len(rows) == len(self.lines):
            return pl.Series(name, texts, dtype=pl.String)
        cells = np.full(len(self.lines), None, dtype=object)
        cells[rows] = texts
        return pl.Series(name, cells.tolist(), dtype=pl.String)


@dataclass(frozen=True, slots=True)
class _Place:
    """A broken place: its byte in the file, whether in a point, what follows, how much unread."""

    broken: Broken
    byte: int
    in_point: bool
    goes_on: bool
    left: int

    @property
    def is_end(self) -> bool:
        """Whether the file just ends here."""
        return self.broken.at_end and not self.goes_on


def collect_points(source: Source) -> tuple[Points, list[Message]]:
    """Parse a file; go on behind places where the markup is broken, and say them.

    Raises
    ------
    InputError
        For a DOCTYPE, or a document beyond the limits.
    """
    data = read_utf8(source.data)
    alike = _take_alike(data, source.file)
    if alike is not None:
        return alike, []
    points = Points()
    sinks = Sinks(points.start, points.end)
    broken, offset, line = parse_events(data, source.file, sinks), 0, 1
    places: list[_Place] = []
    while broken is not None:
        points.drop_open()
        place = _judge(data, broken, offset + broken.byte, len(places))
        places.append(place)
        following = _POINT.search(data, place.byte + 1)
        if following is None or place.left:
            break
        line += data.count(b"\n", offset, following.start())
        offset = following.start()
        inside = ("gpx", "trk", "trkseg")
        broken = parse_events(data[offset:], source.file, sinks, first_line=line, inside=inside)
    said = [*_say_places(source.file, places, points.whole)]
    if points.is_crowded:
        found = f"points hold more than {_NAME_LIMIT} kinds of values"
        done = f"The first {_NAME_LIMIT} were kept"
        said.append(Message("flagged", source.file, found, done, place="line 1", line=1))
    return points, said


def _take_alike(data: bytes, file: str) -> Points | None:
    """Take the points of a whole document in which all are written alike."""
    alike, seen = find_alike(data), Points()
    if alike is None or len(alike.texts) > _NAME_LIMIT:
        return None
    try:
        broken = parse_events(alike.rest, file, Sinks(seen.start, seen.end))
    except InputError:  # events on the whole document tell the right line
        return None
    number = alike.starts.size
    if broken is not None or len(seen.lines) != alike.runs.size:
        return None
    ends_of_lines = np.flatnonzero(np.frombuffer(data, np.uint8) == ord("\n"))
    nothing = [""] * number
    points = Points(
        lines=(np.searchsorted(ends_of_lines, alike.starts) + 1).tolist(),
        latitudes=list(alike.texts.get("@lat", nothing)),
        longitudes=list(alike.texts.get("@lon", nothing)),
        tracks=np.repeat(seen.tracks, np.diff([*alike.runs, number])).tolist(),
        names=seen.names,
        whole=number,
    )
    for name in (n for n in alike.texts if not n.startswith("@")):
        texts = list(alike.texts[name])
        if " " in "".join(texts):
            texts = list(map(str.strip, texts))
        if all(texts):
            points.texts[name] = (list(range(number)), texts)
        elif rows := [row for row, text in enumerate(texts) if text]:
            points.texts[name] = (rows, [texts[row] for row in rows])
    return points


def _judge(data: bytes, broken: Broken, at: int, before: int) -> _Place:
    left = 0
    if before >= _RESTART_LIMIT:
        left = sum(1 for _ in _POINT.finditer(data, at + 1))
    in_point = "trkpt" in broken.inside or _POINT.match(data, at) is not None
    return _Place(broken, at, in_point, _POINT.search(data, at + 1) is not None, left)


def _say_places(file: str, places: Sequence[_Place], whole: int) -> Iterator[Message]:
    """Say the first places one by one, the rest together, and where reading ended."""
    rest = places[_SHOWN:]
    passed = [p.broken.line for p in rest if p.goes_on and not p.left]
    yield from (_say_place(file, p, whole) for p in places[:_SHOWN])
    if passed:
        found = f"the markup is broken at {count(len(passed), 'more place')}"
        where = say_places(np.array(passed, dtype=np.int64), "line")
        done = "Read on at the next point"
        yield Message("flagged", file, found, done, place=where, line=passed[0])
    yield from (_say_place(file, p, whole) for p in rest if p.left or not p.goes_on)


def _say_place(file: str, place: _Place, whole: int) -> Message:
    broken = place.broken
    innermost = f"<{broken.inside[-1]}>" if broken.inside else "the document"
    done = f"{count(whole, 'point')} kept"
    if place.is_end:
        found = f"the file ends inside {'a point' if place.in_point else innermost}"
        to_do = "Copy it again from the logger if more was driven"
    else:
        found = f"the markup is broken here, inside {innermost} ({broken.why})"
        to_do = "Copy the file again from the logger"
        done += ", read on at the next point" if place.goes_on and not place.left else ""
    if place.left:
        done += f"; {count(place.left, 'point')} from here on not read"
        done += f" (limit {_RESTART_LIMIT} broken places)"
    return Message(
        "repaired" if place.is_end else "flagged", file, found, done, to_do,
        place=f"line {broken.line}", line=broken.line, byte=place.byte,
    )  # fmt: skip
