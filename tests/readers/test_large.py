"""Large text tables: read in blocks as in one piece, in little memory, with progress, stoppable."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from lapwright.readers.csv import read_table
from lapwright.readers.source import leave_source, read_source

#: The project's own bar: 700 MB for a file of 1 GB, which grows by less than the file does.
MOST_PER_BYTE = 3.0
PEAK = """
import resource, sys
from lapwright.readers import read_log
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
read_log(sys.argv[1])
print(1024 * (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before))
"""


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Invented numbers: 80 MB, a clock and 24 further columns."""
    path = tmp_path_factory.mktemp("large") / "s.csv"
    cells = ",".join(f"{k * 1.2345:.4f}" for k in range(20, 42))
    with path.open("w", encoding="ascii") as file:
        names = ",".join(f"sensor {k} (V)" for k in range(22))
        file.write(f"time (s),speed (m/s),gear,{names}\n")
        for i in range(400_000):
            file.write(f"{i / 100:.2f},{30 + i % 90 / 9:.3f},{i % 5 + 1},{cells}\n")
    return path


SPOILED: dict[str, Callable[[list[str]], bytes]] = {
    "clean": lambda lines: "\n".join(lines).encode(),
    "cr": lambda lines: "\r".join(lines).encode(),
    "crlf": lambda lines: "\r\n".join(lines).encode(),
    "latin": lambda lines: "\n".join([*lines[:700], "é" + lines[700], *lines[701:]]).encode(
        "cp1252"
    ),
    "words": lambda lines: "\n".join(r.replace(",31.", ",ERR ") for r in lines).encode(),
    "again": lambda lines: "\n".join([*lines[:600], *lines[:600]]).encode(),
    "cut": lambda lines: "\n".join(lines).encode()[:-9],
    "short": lambda lines: "\n".join(
        r[:9] if i % 99 == 98 else r for i, r in enumerate(lines)
    ).encode(),
}


@pytest.mark.parametrize("how", SPOILED)
def test_blocks_read_as_one_piece_does(tmp_path: Path, how: str) -> None:
    rows = [f"{i / 20:.2f},{30 + i % 90 / 9:.3f},{i % 7}.5" for i in range(1500)]
    path = tmp_path / "s.csv"
    path.write_bytes(SPOILED[how](["time (s),speed (m/s),sensor (V)", *rows]))
    whole = read_table(read_source(path))
    parts = read_table(leave_source(path), block_bytes=1000)
    assert [m.text for m in parts.messages] == [m.text for m in whole.messages]
    assert parts.sha256 == whole.sha256
    np.testing.assert_array_equal(parts.place_of_row, whole.place_of_row)
    np.testing.assert_array_equal(parts.breaks, whole.breaks)
    for a, b in zip(parts.columns, whole.columns, strict=True):
        np.testing.assert_array_equal(a.values, b.values)


def test_memory_stays_below_a_multiple_of_the_file(large: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", PEAK, large], capture_output=True, text=True, check=True
    )
    assert int(done.stdout) < MOST_PER_BYTE * large.stat().st_size


@pytest.mark.skipif(os.name == "nt", reason="signals to one process are POSIX")
def test_interrupting_leaves_nothing_and_progress_is_told(large: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "lapwright.cli", "inspect", str(large), "--json"]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "TMPDIR": str(tmp_path)},
    )  # fmt: skip
    assert process.stderr is not None
    lines = []
    end = time.monotonic() + 60.0
    while time.monotonic() < end and not any("10 %" in line for line in lines):
        lines.append(process.stderr.readline())
    assert any("10 % of" in line for line in lines)
    process.send_signal(signal.SIGINT)
    out, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert out == ""
    assert "Interrupted" in said
    assert list(tmp_path.iterdir()) == []
    assert [p.name for p in large.parent.iterdir()] == [large.name]
