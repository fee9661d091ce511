"""Small files that people write or draw: opened within one limit, as text, lines, or TOML."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, Final

from lapwright.errors import InputError
from lapwright.messages import Message

#: Bytes of the largest file of settings, notes, landmarks, a line or a circuit that is read.
LARGEST_BYTES: Final = 16_000_000
#: Parts of a dotted key of TOML: the time that the parser takes grows with their square.
KEY_PARTS: Final = 64

#: A quoted string, closed or not, so that no byte is looked at twice.
_QUOTED: Final = re.compile(r'"(?:[^"\\]|\\.)*+"?' + r"|'[^']*+'?")
_BARE: Final = re.compile(r"[ \t]*[\w-]+[ \t]*")


def read_small_file(path: Path, done: str = "", to_do: str = "") -> bytes:
    """Read a file whole.

    Parameters
    ----------
    done, to_do
        What became of it and what to do, for the message.

    Raises
    ------
    InputError
        When it cannot be opened or holds more than `LARGEST_BYTES`.
    """
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        found = f"the file cannot be opened ({error.strerror})"
        raise InputError([Message("refused", path.name, found, done, to_do)]) from error
    check_size(data, path.name, done, to_do)
    return data


def check_size(data: bytes, file: str, done: str = "", to_do: str = "") -> None:
    """Refuse what is too large for a small file; parameters as for `read_small_file`.

    Raises
    ------
    InputError
        When there are more than `LARGEST_BYTES`.
    """
    if len(data) > LARGEST_BYTES:
        found = f"the file holds more than {LARGEST_BYTES // 1_000_000} MB, the most that is read"
        found += " of settings, notes, lines and circuits"
        raise InputError([Message("refused", file, found, done, to_do)])


def split_lines(text: str) -> list[str]:
    """Split at LF, CR LF and CR, and at no other sign that Unicode calls a line end."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return lines if lines[-1] else lines[:-1]


def read_toml(data: bytes, file: str, done: str = "", to_do: str = "") -> dict[str, Any]:
    """Parse TOML in UTF-8, with or without its mark; parameters as for `read_small_file`.

    Raises
    ------
    InputError
        When it is too large or no TOML, with the line.
    """
    check_size(data, file, done, to_do)
    to_do = to_do or "Correct the file, or save it as UTF-8"
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found, place = "is no text in UTF-8", f"byte {error.start}"
        message = Message("refused", file, found, done, to_do, place, byte=error.start)
        raise InputError([message]) from error
    try:
        _check_keys(text)
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        line = re.search(r"line (\d{1,9})", str(error))
        number = int(line[1]) if line else None
        place = "" if number is None else f"line {number}"
        message = Message(
            "refused", file, f"is no TOML: {error!s:.200}", done, to_do, place, number
        )
        raise InputError([message]) from error


def _check_keys(text: str) -> None:
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") < KEY_PARTS:
            continue
        run = 0
        for part in _QUOTED.sub("q", line).split("."):
            run = run + 1 if _BARE.fullmatch(part) else 0
            if run >= KEY_PARTS:
                raise ValueError(f"a key of more than {KEY_PARTS} parts (at line {number})")
