"""XML by events, hardened: no DOCTYPE, no entities, limits on depth and length."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final
from xml.parsers import expat

from lapwright.errors import InputError
from lapwright.messages import Message

#: Elements inside elements.
DEPTH_LIMIT: Final = 256
#: Bytes of one tag, comment or other piece of markup, and signs of one text.
PIECE_LIMIT: Final = 1_048_576
TEXT_LIMIT: Final = 65_536

_ENCLOSED: Final = ((b"<!--", b"-->"), (b"<![CDATA[", b"]]>"), (b"<?", b"?>"))
_AT_END: Final = (3, 5, 6, 20)  # expat's codes of a document that ends too early


@dataclass(frozen=True, slots=True)
class Sinks:
    """Whom the parser tells: element begun, element ended with its own text.

    ``start`` gets name, attributes and what tells the line; ``end`` gets name, text and whether
    elements stood inside. Names come without their prefix.
    """

    start: Callable[[str, Mapping[str, str], Callable[[], int]], None]
    end: Callable[[str, str, bool], None]


@dataclass(frozen=True, slots=True)
class Broken:
    """Where a document cannot be read on, and why; ``at_end`` when it was cut.

    ``inside`` names the elements that are open there, the outermost first.
    """

    byte: int
    line: int
    why: str
    at_end: bool
    inside: tuple[str, ...] = ()


def parse_events(
    data: bytes, file: str, sinks: Sinks, *, first_line: int = 1, inside: tuple[str, ...] = ()
) -> Broken | None:
    """Parse a document and tell its events; None when it is whole.

    Parameters
    ----------
    data
        The document, or its rest from a tag on.
    inside
        Elements taken as open before ``data`` begins.

    Raises
    ------
    InputError
        For a DOCTYPE or entity, and beyond a limit.
    """
    _refuse_long_piece(data, file)
    encoding = "utf-8" if inside or data.startswith(codecs.BOM_UTF8) else None
    parser = expat.ParserCreate(encoding)
    parser.buffer_text = True
    parser.buffer_size = TEXT_LIMIT
    walk = _Walk(file, sinks, parser, first_line - 1)
    parser.Parse("".join(f"<{name}>" for name in inside).encode(), False)
    walk.open = list(inside)
    parser.StartElementHandler = walk.start
    parser.EndElementHandler = walk.end
    parser.CharacterDataHandler = walk.text
    parser.StartDoctypeDeclHandler = walk.doctype
    parser.EntityDeclHandler = walk.entity
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        before = sum(len(name) + 2 for name in inside)
        why = expat.ErrorString(error.code) or "not XML"
        byte = max(parser.ErrorByteIndex - before, 0)
        line, at_end = first_line + error.lineno - 1, error.code in _AT_END
        return Broken(byte, line, why, at_end, tuple(walk.open))
    except (LookupError, ValueError) as error:  # an encoding that Python does not know
        return Broken(0, first_line, f"unknown encoding ({str(error)[:60]})", False)
    return None


class _Walk:
    """Handlers of one parse; they only count, cut prefixes off and pass on."""

    def __init__(self, file: str, sinks: Sinks, parser: expat.XMLParserType, skipped: int) -> None:
        self.file, self.sinks, self.parser, self.skipped = file, sinks, parser, skipped
        self.open: list[str] = []
        self.pieces: list[str] = []
        self.length = 0
        self.has_inner = False

    def line(self) -> int:
        return self.parser.CurrentLineNumber + self.skipped

    def start(self, name: str, attributes: dict[str, str]) -> None:
        name = name.rpartition(":")[2]
        self.open.append(name)
        if len(self.open) > DEPTH_LIMIT:
            self.refuse(f"elements nested deeper than {DEPTH_LIMIT}")
        self.pieces.clear()
        self.has_inner = False
        self.sinks.start(name, attributes, self.line)

    def end(self, name: str) -> None:
        self.open.pop()
        text = "" if self.has_inner else "".join(self.pieces).strip()
        self.pieces.clear()
        self.sinks.end(name.rpartition(":")[2], text, self.has_inner)
        self.has_inner = True

    def text(self, text: str) -> None:
        if self.has_inner or text.isspace():
            return
        self.length = len(text) + (self.length if self.pieces else 0)
        self.pieces.append(text)
        if self.length > TEXT_LIMIT:
            self.refuse(f"a text longer than {TEXT_LIMIT:,} signs".replace(",", " "))

    def doctype(self, *_: object) -> None:
        self.refuse("a DOCTYPE, which a log never needs and which can harm")

    def entity(self, *_: object) -> None:
        self.refuse("an entity declaration, which a log never needs and which can harm")

    def refuse(self, found: str) -> None:
        raise InputError([refuse_markup(self.file, found, self.line())])


def refuse_markup(
    file: str, found: str, line: int = 1, to_do: str = "Export again without it"
) -> Message:
    """Compose the refusal of a document because of what stands in a line."""
    return Message(
        "refused", file, found, "Nothing was imported", to_do, place=f"line {line}", line=line
    )


def _refuse_long_piece(data: bytes, file: str) -> None:
    """Refuse markup whose single pieces are so long that reading them costs more than the rest."""
    at = _find_long_piece(data)
    if at is not None:
        limit = f"{PIECE_LIMIT:,}".replace(",", " ")
        line = data.count(b"\n", 0, at) + 1
        found = f"a piece of markup of more than {limit} bytes"
        raise InputError([refuse_markup(file, found, line)])


def _find_long_piece(data: bytes) -> int | None:
    """Byte at which a piece over the limit begins; every byte is looked at a few times only."""
    for sign in (b"<", b">"):
        at = -1
        while at < len(data):
            near = data.rfind(sign, at + 1, at + 1 + PIECE_LIMIT)
            if near < 0:
                if len(data) - at > PIECE_LIMIT:
                    return max(at, 0)
                break
            at = near
    for opening, closing in _ENCLOSED:
        at = data.find(opening)
        while at >= 0:
            end = data.find(closing, at, at + PIECE_LIMIT)
            if end < 0:
                return at if len(data) - at > PIECE_LIMIT else None
            at = data.find(opening, end)
    return None


def read_utf8(data: bytes) -> bytes:
    """Turn UTF-16 with its mark into UTF-8; leave everything else as it is."""
    if not data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data
    return codecs.BOM_UTF8 + data.decode("utf-16", errors="replace").encode()
