"""The bytes that a reader gets."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from lapwright.errors import InputError
from lapwright.messages import Message

#: What long reading tells: what is done, how much of it, of how much.
Report = Callable[[str, int, int], None]
#: Bytes read at a time to take the hash of a file that is not held.
_PIECE: Final = 2**20


def say_nothing(_what: str, _done: int, _total: int) -> None:
    """Take a report and keep it to oneself."""


@dataclass(frozen=True, slots=True)
class Source:
    """A file as a reader gets it.

    Parameters
    ----------
    path, file
        Where it is, and its name without its folder.
    data
        Its bytes; empty where a large text stays on the disk and is read in blocks.
    sha256
        Of the bytes of the file, lower-case hexadecimal.
    written
        When it was written, s; None where that is not known.
    bytes_on_disk
        Size where ``data`` is empty.
    report
        Whom reading tells how far it is.
    """

    path: Path
    file: str
    data: bytes
    sha256: str
    written: float | None = None
    bytes_on_disk: int = 0
    report: Report = say_nothing

    @property
    def size(self) -> int:
        """Number of bytes."""
        return len(self.data) or self.bytes_on_disk

    def head(self, size: int) -> bytes:
        """First bytes of the file."""
        if self.data:
            return self.data[:size]
        with self.path.open("rb") as file:
            return file.read(size)

    def whole(self) -> bytes:
        """All bytes of the file."""
        return self.data or self.path.read_bytes()


def read_source(path: Path) -> Source:
    """Read a file's bytes.

    Raises
    ------
    InputError
        When it cannot be opened or is empty.
    """
    try:
        data = path.read_bytes()
        written = path.stat().st_mtime
    except OSError as error:
        raise InputError([_refuse_unopened(path.name, error)]) from error
    if not data:
        raise InputError([_refuse_empty(path.name)])
    return Source(path, path.name, data, hashlib.sha256(data).hexdigest(), written)


def leave_source(path: Path, report: Report = say_nothing) -> Source:
    """Take a file's hash and leave its bytes on the disk; parameters as for `Source`.

    Raises
    ------
    InputError
        When it cannot be opened or is empty.
    """
    sha256 = hashlib.sha256()
    size = 0
    try:
        with path.open("rb") as file:
            while piece := file.read(_PIECE):
                sha256.update(piece)
                size += len(piece)
        written = path.stat().st_mtime
    except OSError as error:
        raise InputError([_refuse_unopened(path.name, error)]) from error
    if not size:
        raise InputError([_refuse_empty(path.name)])
    return Source(path, path.name, b"", sha256.hexdigest(), written, size, report)


def _refuse_unopened(file: str, error: OSError) -> Message:
    found = f"the file cannot be opened ({error.strerror})"
    return Message("refused", file, found, "Nothing was imported")


def _refuse_empty(file: str) -> Message:
    return Message(
        "refused",
        file,
        "the file is empty",
        "Nothing was imported",
        "Copy it again from the logger",
        place="byte 0",
        byte=0,
    )
