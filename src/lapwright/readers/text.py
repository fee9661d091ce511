"""From the bytes of a text log to UTF-8 with one kind of line end."""

from __future__ import annotations

import codecs
from dataclasses import dataclass

from lapwright.messages import Message

_UTF16_SAMPLE = 4096


@dataclass(frozen=True, slots=True)
class PlainText:
    """A log's text.

    Parameters
    ----------
    data
        UTF-8 without a byte order mark; every line ends in LF.
    encoding
        What the bytes were read as.
    messages
        What had to be said about encoding and line ends.
    """

    data: bytes
    encoding: str
    messages: tuple[Message, ...]


def read_text(data: bytes, file: str) -> PlainText:
    """Decode a log and unify its line ends.

    Parameters
    ----------
    data
        All bytes of the file.
    file
        Its name, for the messages.
    """
    encoding = _find_encoding(data)
    messages: list[Message] = []
    if encoding.startswith("utf-16"):
        data = data.decode(encoding, errors="replace").encode()
        messages.append(Message("accepted", file, "read as UTF-16", "Nothing was changed"))
    data = data.removeprefix(codecs.BOM_UTF8)
    if encoding == "utf-8" and (bad := _first_bad_byte(data)) is not None:
        encoding = "latin-1"
        line = data.count(b"\n", 0, bad) + 1
        messages.append(_latin_message(data, file, bad, line))
        data = data.decode("cp1252", errors="replace").encode()
    data, ends = _unify_line_ends(data, file)
    return PlainText(data, encoding, (*messages, *ends))


def _find_encoding(data: bytes) -> str:
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


def _first_bad_byte(data: bytes) -> int | None:
    if data.isascii():
        return None
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        return error.start
    return None


def _latin_message(data: bytes, file: str, bad: int, line: int) -> Message:
    start = data.rfind(b"\n", 0, bad) + 1
    end = data.find(b"\n", bad)
    shown = data[start : end if end >= 0 else len(data)].decode("cp1252", errors="replace")
    cells = [c.strip() for c in shown.replace(";", ",").replace("\t", ",").split(",")]
    odd = [c for c in cells if not c.isascii()][:4]
    return Message(
        "repaired",
        file,
        f"not UTF-8 at byte {bad}",
        "Read as Latin-1",
        f"Check the names: {', '.join(odd)}" if odd else "Check the names",
        place=f"line {line}",
        line=line,
        byte=bad,
    )


def _unify_line_ends(data: bytes, file: str) -> tuple[bytes, tuple[Message, ...]]:
    """Turn CRLF and CR into LF; a file with more than one kind gets a message."""
    if b"\r" not in data:
        return data, ()
    both = data.count(b"\r\n")
    counts = {
        "LF": data.count(b"\n") - both,
        "CRLF": both,
        "CR": data.count(b"\r") - both,
    }
    data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    kinds = {kind: n for kind, n in counts.items() if n}
    if len(kinds) < 2:
        return data, ()
    listed = ", ".join(f"{kind} {n}" for kind, n in kinds.items())
    found = f"{len(kinds)} kinds of line end ({listed})"
    return data, (Message("repaired", file, found, "All taken as line ends"),)
