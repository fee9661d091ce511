"""From the bytes of a text log to UTF-8 with one kind of line end."""

from __future__ import annotations

import codecs
from collections.abc import Mapping

from lapwright.messages import Message

_UTF16_SAMPLE = 4096


def find_encoding(data: bytes) -> str:
    """Tell UTF-16, with or without its mark, from everything that is a byte a sign."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    sample = data[:_UTF16_SAMPLE]
    half = max(len(sample) // 2, 1)
    if len(sample) >= 4 and sample[1::2].count(0) > 0.4 * half and sample[0::2].count(0) == 0:
        return "utf-16-le"
    if len(sample) >= 4 and sample[0::2].count(0) > 0.4 * half and sample[1::2].count(0) == 0:
        return "utf-16-be"
    return "utf-8"


def first_bad_byte(data: bytes) -> int | None:
    """Offset of the first byte that is no UTF-8; None when all is."""
    if data.isascii():
        return None
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        return error.start
    return None


def say_latin(block: bytes, file: str, at: int, first_byte: int, first_line: int) -> Message:
    """Say where a log is not UTF-8.

    Parameters
    ----------
    block
        Lines around the place.
    at
        Offset in it of the first byte that is no UTF-8.
    first_byte, first_line
        Where the block begins in the file.
    """
    line = first_line + block.count(b"\n", 0, at)
    start = block.rfind(b"\n", 0, at) + 1
    end = block.find(b"\n", at)
    shown = block[start : end if end >= 0 else len(block)].decode("cp1252", errors="replace")
    cells = [c.strip() for c in shown.replace(";", ",").replace("\t", ",").split(",")]
    odd = [c for c in cells if not c.isascii()][:4]
    return Message(
        "repaired",
        file,
        f"not UTF-8 at byte {first_byte + at}",
        "Read as Latin-1",
        f"Check the names: {', '.join(odd)}" if odd else "Check the names",
        place=f"line {line}",
        line=line,
        byte=first_byte + at,
    )


def unify_line_ends(data: bytes) -> bytes:
    """Turn CRLF and CR into LF."""
    if b"\r" not in data:
        return data
    return data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")


def say_line_ends(counts: Mapping[str, int], file: str) -> tuple[Message, ...]:
    """Say that a file has more than one kind of line end."""
    kinds = {kind: n for kind, n in counts.items() if n}
    if len(kinds) < 2:
        return ()
    listed = ", ".join(f"{kind} {n}" for kind, n in kinds.items())
    found = f"{len(kinds)} kinds of line end ({listed})"
    return (Message("repaired", file, found, "All taken as line ends"),)
