"""Binary containers are read by a process of its own, with limits on memory and time.

The libraries for them can crash, hang or ask for hundreds of gigabytes on a
damaged file of under a kilobyte; the main process only sees the result.
"""

from __future__ import annotations

import contextlib
import io
import json
import struct
import subprocess
import sys
from dataclasses import dataclass
from typing import Any, Final

import polars as pl

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.readers.containers import Contents, Damaged
from lapwright.readers.source import Source

#: Bytes of memory beyond what the process has when it begins to read.
MEMORY_LIMIT = int(1.5 * 2**30)
#: Seconds for any file, and for each byte.
TIME_LIMIT_S = 20.0
TIME_PER_BYTE_S = 1.0 / 10e6
#: Exit code of a process that says by name what is wrong with the file.
_NAMED: Final = 3
#: And of one that could not have the memory it asked for.
_NO_MEMORY: Final = 4
#: How libraries begin a line when they end for want of memory.
_MEMORY_WORDS: Final = (
    "MemoryError",
    "memory allocation of",
    "terminate called after throwing an instance of 'std::bad_alloc'",
)
_LENGTH = struct.Struct("<Q")


@dataclass(frozen=True, slots=True)
class Unpacked:
    """What the process hands over: tables, and what is known about them."""

    about: dict[str, Any]
    frames: tuple[pl.DataFrame, ...]


def read_in_sandbox(source: Source, kind: str) -> Unpacked:
    """Read a binary container in a process of its own.

    Parameters
    ----------
    source
        The file; its bytes go to the process, which never opens a path.
    kind
        Which reader the process uses: "parquet", "mdf" or "zip".

    Raises
    ------
    InputError
        When that process stops at a limit, fails, or finds the file damaged.
    """
    limit_s = TIME_LIMIT_S + TIME_PER_BYTE_S * len(source.data)
    # -P: a file beside the user's logs must not be taken for a module of ours
    command = [sys.executable, "-P", "-m", "lapwright.readers.sandbox", kind]
    try:
        done = subprocess.run(  # the command is our own, without a shell
            command, input=source.data, capture_output=True, timeout=limit_s, check=False
        )
    except subprocess.TimeoutExpired as error:
        where = f"the time limit ({limit_s:.0f} s)"
        raise InputError([_refuse(source, where, is_damaged=False)]) from error
    if done.returncode == _NAMED:
        raise InputError([_say_damage(source, json.loads(done.stdout))])
    if done.returncode != 0:
        raise InputError([_refuse(source, _say_end(done.returncode, done.stderr))])
    return _read_parts(memoryview(done.stdout))


def _read_parts(data: memoryview) -> Unpacked:
    parts: list[memoryview] = []
    while len(data):
        (length,) = _LENGTH.unpack(data[: _LENGTH.size])
        parts.append(data[_LENGTH.size : _LENGTH.size + length])
        data = data[_LENGTH.size + length :]
    frames = tuple(pl.read_ipc(io.BytesIO(part)) for part in parts[1:])
    return Unpacked(json.loads(bytes(parts[0])), frames)


def _say_damage(source: Source, said: dict[str, Any]) -> Message:
    byte = said["byte"]
    return Message(
        "refused", source.file, said["found"], said["done"], said["to_do"],
        place="" if byte is None else f"byte {byte}", byte=byte,
    )  # fmt: skip


def _say_end(code: int, errors: bytes) -> str:
    """Say why the process ended; only how a line begins counts, a path may hold any word."""
    lines = errors.decode(errors="replace").split("\n")
    if code == _NO_MEMORY or any(line.startswith(_MEMORY_WORDS) for line in lines):
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


# --- in the process -----------------------------------------------------------------------------


def _limit_memory() -> None:
    """Bound the address space where the system can; polars' threads reserve some of it."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        with open("/proc/self/statm", encoding="ascii") as file:  # noqa: PTH123
            used = int(file.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (used + MEMORY_LIMIT, used + MEMORY_LIMIT))


def _unpack(kind: str, data: bytes) -> Contents:
    if kind == "zip":
        from lapwright.readers.containers import unpack_zip

        _limit_memory()
        return unpack_zip(data)
    if kind == "mdf":
        from lapwright.readers.containers import check_mdf, load_mdf, unpack_mdf

        check_mdf(data)
        load_mdf()
        _limit_memory()
        return unpack_mdf(data)
    from lapwright.readers.containers import unpack_parquet

    pl.DataFrame({"a": [1.0]}).lazy().collect()  # the thread pool exists before the limit
    _limit_memory()
    return unpack_parquet(data)


def main() -> int:
    """Read bytes from standard input, write what they hold to standard output."""
    out = sys.stdout.buffer
    sys.stdout = sys.stderr  # whatever a library prints must not mix with the result
    try:
        about, frames = _unpack(sys.argv[1], sys.stdin.buffer.read())
    except Damaged as damage:
        out.write(json.dumps(damage.document()).encode())
        return _NAMED
    except MemoryError:
        return _NO_MEMORY
    text = json.dumps(about).encode()
    out.write(_LENGTH.pack(len(text)) + text)
    for frame in frames:
        part = io.BytesIO()
        frame.write_ipc(part)
        out.write(_LENGTH.pack(part.tell()))
        out.write(part.getbuffer())
    out.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
