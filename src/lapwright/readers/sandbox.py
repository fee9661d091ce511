"""Binary containers are read by a process of its own, with limits on memory and time.

The libraries for them can crash, hang or ask for hundreds of gigabytes on a
damaged file of under a kilobyte; the main process only sees the result.
"""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from tempfile import TemporaryFile
from typing import Any, Final

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.readers.reading_process import LENGTH, NAMED, NO_MEMORY
from lapwright.readers.source import Source

#: Seconds for any file, and for each byte.
TIME_LIMIT_S = 20.0
TIME_PER_BYTE_S = 1.0 / 10e6
#: How libraries begin a line when they end for want of memory.
_MEMORY_WORDS: Final = (
    "MemoryError",
    "memory allocation of",
    "terminate called after throwing an instance of 'std::bad_alloc'",
)


@dataclass(frozen=True, slots=True)
class Unpacked:
    """What the process hands over: what is known about a file, and its parts as bytes."""

    about: dict[str, Any]
    parts: tuple[memoryview, ...]


def unpack_in_sandbox(source: Source, kind: str) -> Unpacked:
    """Unpack a binary container in a process of its own.

    Parameters
    ----------
    source
        The file; its bytes go to the process, which never opens a path.
    kind
        Which reader the process uses: "parquet" (one part, a table), "mdf" (a part for each
        group of channels) or "zip" (one for each file).

    Raises
    ------
    InputError
        When that process stops at a limit, fails, or finds the file damaged.
    """
    limit_s = TIME_LIMIT_S + TIME_PER_BYTE_S * len(source.data)
    # -P: a file beside the user's logs must not be taken for a module of ours
    command = [sys.executable, "-P", "-m", "lapwright.readers.reading_process", kind]
    # files, as pipes take a hundred megabytes in pieces of some kilobytes
    with TemporaryFile() as given, TemporaryFile() as got:
        given.write(source.data)
        given.seek(0)
        try:
            done = subprocess.run(  # the command is our own, without a shell
                command, stdin=given, stdout=got, stderr=subprocess.PIPE, timeout=limit_s,
                check=False,
            )  # fmt: skip
        except subprocess.TimeoutExpired as error:
            where = f"the time limit ({limit_s:.0f} s)"
            raise InputError([_refuse(source, where, is_damaged=False)]) from error
        got.seek(0)
        written = got.read()
    if done.returncode == NAMED:
        raise InputError([_say_damage(source, json.loads(written))])
    if done.returncode != 0:
        raise InputError([_refuse(source, _say_end(done.returncode, done.stderr))])
    about, *parts = _split_parts(memoryview(written))
    return Unpacked(json.loads(bytes(about)), tuple(parts))


def _split_parts(data: memoryview) -> list[memoryview]:
    parts: list[memoryview] = []
    while len(data):
        (length,) = LENGTH.unpack(data[: LENGTH.size])
        parts.append(data[LENGTH.size : LENGTH.size + length])
        data = data[LENGTH.size + length :]
    return parts


def _say_damage(source: Source, said: dict[str, Any]) -> Message:
    byte = said["byte"]
    return Message(
        "refused", source.file, said["found"], said["done"], said["to_do"],
        place="" if byte is None else f"byte {byte}", byte=byte,
    )  # fmt: skip


def _say_end(code: int, errors: bytes) -> str:
    """Say why the process ended; only how a line begins counts, a path may hold any word."""
    lines = errors.decode(errors="replace").split("\n")
    if code == NO_MEMORY or any(line.startswith(_MEMORY_WORDS) for line in lines):
        return "the memory limit (1.5 GiB)"
    return "a damaged part"


def _refuse(source: Source, where: str, is_damaged: bool = True) -> Message:
    size = f"{len(source.data):,}".replace(",", " ")
    return Message(
        "refused",
        source.file,
        f"reading stopped at {where} for a file of {size} bytes",
        "The file is damaged. Nothing was imported" if is_damaged else "Nothing was imported",
        "Copy it again from the logger",
        place="byte 0",
        byte=0,
    )
