"""The bytes that a reader gets."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from lapwright.errors import InputError
from lapwright.messages import Message


@dataclass(frozen=True, slots=True)
class Source:
    """A file's name without its folder, its bytes, their SHA-256, and when it was written (s)."""

    path: Path
    file: str
    data: bytes
    sha256: str
    written: float | None = None


def read_source(path: Path) -> Source:
    """Read a file's bytes.

    Raises
    ------
    InputError
        When it cannot be opened or is empty.
    """
    file = path.name
    try:
        data = path.read_bytes()
        written = path.stat().st_mtime
    except OSError as error:
        found = f"the file cannot be opened ({error.strerror})"
        raise InputError([Message("refused", file, found, "Nothing was imported")]) from error
    if not data:
        raise InputError(
            [
                Message(
                    "refused",
                    file,
                    "the file is empty",
                    "Nothing was imported",
                    "Copy it again from the logger",
                    place="byte 0",
                    byte=0,
                )
            ]
        )
    return Source(path, file, data, hashlib.sha256(data).hexdigest(), written)
