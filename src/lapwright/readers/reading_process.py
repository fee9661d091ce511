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
from typing import Any, Final

from lapwright.readers.damage import Damaged

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
        about, parts = _unpack(sys.argv[1], sys.stdin.buffer.read())
    except Damaged as damage:
        out.write(json.dumps(damage.document()).encode())
        return NAMED
    except MemoryError:
        return NO_MEMORY
    text = json.dumps(about).encode()
    text += b" " * (-len(text) % LENGTH.size)  # numbers that follow begin where numbers may
    for part in (text, *parts):
        out.write(LENGTH.pack(len(part)))
        out.write(part)
    out.flush()
    return 0


def _unpack(kind: str, data: bytes) -> tuple[dict[str, Any], Sequence[bytes | memoryview]]:
    """Return what is known about a file, and its parts: files, groups of channels, or a table."""
    if kind == "zip":
        from lapwright.readers.zip_members import unpack_zip

        _limit_memory()
        return unpack_zip(data)
    if kind == "mdf":
        from lapwright.readers import mdf_groups

        mdf_groups.check_mdf(data)
        mdf_groups.load_mdf()
        _limit_memory()
        return mdf_groups.unpack_mdf(data)
    return _unpack_parquet(data)


def _unpack_parquet(data: bytes) -> tuple[dict[str, Any], list[memoryview]]:
    """Read a Parquet file's plain columns into a table as Arrow's files hold it."""
    import polars as pl

    pl.DataFrame({"a": [1.0]}).lazy().collect()  # the thread pool exists before the limit
    _limit_memory()
    frame = pl.read_parquet(io.BytesIO(data))
    plain = [n for n, t in frame.schema.items() if not t.is_nested() and t != pl.Binary]
    table = io.BytesIO()
    frame.select(plain).write_ipc(table)
    return {"left_out": [n for n in frame.columns if n not in plain]}, [table.getbuffer()]


def _limit_memory() -> None:
    """Bound the address space where the system can; polars' threads reserve some of it."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        with open("/proc/self/statm", encoding="ascii") as file:  # noqa: PTH123
            used = int(file.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (used + MEMORY_LIMIT, used + MEMORY_LIMIT))


if __name__ == "__main__":
    sys.exit(main())
