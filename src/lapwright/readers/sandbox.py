"""Binary containers are read by a process of its own, with limits on memory and time.

The libraries for them can crash, hang or ask for hundreds of gigabytes on a
damaged file of under a kilobyte; the main process only sees the result.
"""

from __future__ import annotations

import contextlib
import io
import subprocess
import sys

import polars as pl

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.readers.source import Source

#: Bytes of memory beyond what the process has when it begins to read.
MEMORY_LIMIT = int(1.5 * 2**30)
#: Seconds for any file, and for each byte.
TIME_LIMIT_S = 20.0
TIME_PER_BYTE_S = 1.0 / 10e6


def read_in_sandbox(source: Source, kind: str) -> pl.DataFrame:
    """Read a binary container in a process of its own.

    Parameters
    ----------
    source
        The file; its bytes go to the process, which never opens a path.
    kind
        Which reader the process uses.

    Raises
    ------
    InputError
        When that process stops at a limit or fails.
    """
    limit_s = TIME_LIMIT_S + TIME_PER_BYTE_S * len(source.data)
    command = [sys.executable, "-m", "lapwright.readers.sandbox", kind]
    try:
        done = subprocess.run(  # the command is our own, without a shell
            command, input=source.data, capture_output=True, timeout=limit_s, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise InputError([_refuse(source, f"the time limit ({limit_s:.0f} s)")]) from error
    if done.returncode != 0:
        raise InputError([_refuse(source, _say_end(done.stderr))])
    return pl.read_ipc(io.BytesIO(done.stdout))


def _say_end(errors: bytes) -> str:
    text = errors.decode(errors="replace")
    if "memory" in text.lower() or "MemoryError" in text or "alloc" in text.lower():
        return "the memory limit (1.5 GiB)"
    return "a damaged part"


def _refuse(source: Source, where: str) -> Message:
    size = f"{len(source.data):,}".replace(",", " ")
    return Message(
        "refused",
        source.file,
        f"reading stopped at {where} for a file of {size} bytes",
        "The file is damaged. Nothing was imported",
        "Copy it again from the logger",
        place="byte 0",
        byte=0,
    )


def _limit_memory() -> None:
    """Bound the address space where the system can; polars' threads reserve some of it."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        with open("/proc/self/statm", encoding="ascii") as file:  # noqa: PTH123
            used = int(file.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (used + MEMORY_LIMIT, used + MEMORY_LIMIT))


def main() -> int:
    """Read bytes from standard input, write an Arrow file to standard output."""
    data = sys.stdin.buffer.read()
    pl.DataFrame({"a": [1.0]}).lazy().collect()  # the thread pool exists before the limit
    _limit_memory()
    frame = pl.read_parquet(io.BytesIO(data))
    plain = [n for n, t in frame.schema.items() if not t.is_nested() and t != pl.Binary]
    out = io.BytesIO()
    frame.select(plain).write_ipc(out)
    sys.stdout.buffer.write(out.getvalue())
    return 0


if __name__ == "__main__":
    sys.exit(main())
