"""The process in which binary containers are read: bytes in, their contents out.

Each kind loads no more than it needs: a process that loads a library takes longer for that than
for unpacking an archive.
"""

from __future__ import annotations

import contextlib
import io
import json
import struct
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from lapwright.readers.damage import Damaged

if TYPE_CHECKING:
    import polars as pl

#: Bytes of memory beyond what the process has when it begins to read.
MEMORY_LIMIT = int(1.5 * 2**30)
#: Exit code of a process that says by name what is wrong with the file.
NAMED: Final = 3
#: And of one that could not have the memory it asked for.
NO_MEMORY: Final = 4
#: Stands before each part of the output: how many bytes it has.
LENGTH: Final = struct.Struct("<Q")


def main() -> int:
    """Read bytes from standard input, write what they hold to standard output."""
    out = sys.stdout.buffer
    sys.stdout = sys.stderr  # whatever a library prints must not mix with the result
    try:
        about, contents = _unpack(sys.argv[1], sys.stdin.buffer.read())
    except Damaged as damage:
        out.write(json.dumps(damage.document()).encode())
        return NAMED
    except MemoryError:
        return NO_MEMORY
    for part in (json.dumps(about).encode(), *contents):
        written = part if isinstance(part, bytes) else _write_frame(part)
        out.write(LENGTH.pack(len(written)))
        out.write(written)
    out.flush()
    return 0


def _unpack(kind: str, data: bytes) -> tuple[dict[str, Any], Sequence[pl.DataFrame | bytes]]:
    """Return what is known about a file, and its tables or, of an archive, its files."""
    if kind == "zip":
        from lapwright.readers.zip_members import unpack_zip

        _limit_memory()
        return unpack_zip(data)
    from lapwright.readers import containers

    if kind == "mdf":
        containers.check_mdf(data)
        containers.load_mdf()
        _limit_memory()
        return containers.unpack_mdf(data)
    containers.load_parquet()
    _limit_memory()
    return containers.unpack_parquet(data)


def _limit_memory() -> None:
    """Bound the address space where the system can; polars' threads reserve some of it."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        with open("/proc/self/statm", encoding="ascii") as file:  # noqa: PTH123
            used = int(file.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (used + MEMORY_LIMIT, used + MEMORY_LIMIT))


def _write_frame(frame: pl.DataFrame) -> memoryview:
    written = io.BytesIO()
    frame.write_ipc(written)
    return written.getbuffer()


if __name__ == "__main__":
    sys.exit(main())
