"""A text log in blocks cut at line ends, so that a large file is never held whole."""

from __future__ import annotations

import codecs
import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import BinaryIO, Final

from lapwright.messages import Message
from lapwright.readers.source import Source
from lapwright.readers.text import (
    find_encoding,
    first_bad_byte,
    say_latin,
    say_line_ends,
    unify_line_ends,
)

#: Bytes read at a time.
BLOCK_BYTES: Final = 4 * 2**20


@dataclass(frozen=True, slots=True)
class TextBlocks:
    """A log's text, to be read block by block as often as needed.

    Parameters
    ----------
    source
        The log; UTF-16 is turned into UTF-8 beforehand.
    encoding
        What the bytes are read as.
    blank
        Whether the file holds blank lines only.
    messages
        What has to be said about encoding and line ends.
    block_bytes
        Bytes read at a time.
    """

    source: Source
    encoding: str
    blank: bool
    messages: tuple[Message, ...]
    block_bytes: int = BLOCK_BYTES

    def head(self, size: int) -> bytes:
        """First ``size`` bytes of the text, or all of it, as UTF-8 with LF line ends."""
        with _open(self.source) as file:
            # CR LF becomes one byte of two, so twice the size is enough.
            raw = file.read(2 * size + len(codecs.BOM_UTF8)).removeprefix(codecs.BOM_UTF8)
        return self._plain(raw)[:size]

    def __iter__(self) -> Iterator[bytes]:
        """Blocks as UTF-8, each but the last ending in LF."""
        return (self._plain(block) for block in _cut_blocks(self.source, self.block_bytes))

    def _plain(self, block: bytes) -> bytes:
        if self.encoding == "latin-1":
            block = block.decode("cp1252", errors="replace").encode()
        return unify_line_ends(block)


def scan_text(source: Source, block_bytes: int = BLOCK_BYTES) -> TextBlocks:
    """Look through a log for its encoding and its line ends."""
    messages: list[Message] = []
    encoding = find_encoding(source.head(4096))
    if encoding.startswith("utf-16"):
        data = source.whole().decode(encoding, errors="replace").encode()
        source = replace(source, data=data or b"\n")  # a mark alone is a blank file
        messages.append(Message("accepted", source.file, "read as UTF-16", "Nothing was changed"))
    bad: Message | None = None
    blank, byte, line = True, 0, 1
    ends = {"LF": 0, "CRLF": 0, "CR": 0}
    for block in _cut_blocks(source, block_bytes):
        blank = blank and not block.strip()
        if bad is None and encoding == "utf-8" and (at := first_bad_byte(block)) is not None:
            bad = say_latin(block, source.file, at, byte, line)
        both = block.count(b"\r\n")
        feeds = block.count(b"\n")
        ends["LF"] += feeds - both
        ends["CRLF"] += both
        ends["CR"] += block.count(b"\r") - both
        byte, line = byte + len(block), line + feeds
    if bad is not None:
        encoding = "latin-1"
        messages.append(bad)
    messages += say_line_ends(ends, source.file)
    return TextBlocks(source, encoding, blank, tuple(messages), block_bytes)


def _open(source: Source) -> BinaryIO:
    return io.BytesIO(source.data) if source.data else source.path.open("rb")


def _cut_blocks(source: Source, size: int) -> Iterator[bytes]:
    """Read blocks that end at line ends, without the byte order mark; the last is never small."""
    left = source.size
    kept: list[bytes] = []
    with _open(source) as file:
        first = True
        while left > 0:
            # What is read grows with a line that does not end, so that joining stays linear.
            wanted = max(size, sum(map(len, kept)))
            raw = file.read(left if left < 1.5 * wanted else wanted)
            left = left - len(raw) if raw else 0
            block = b"".join([*kept, raw])
            if first:
                block, first = block.removeprefix(codecs.BOM_UTF8), False
            end = len(block) if left <= 0 else _last_end(block)
            kept = [block[end:]]
            if end:
                yield block[:end]


def _last_end(block: bytes) -> int:
    """Offset behind the last line end that is certainly whole; 0 when there is none."""
    return (block.rfind(b"\n") + 1) or (block.rfind(b"\r", 0, -1) + 1)
