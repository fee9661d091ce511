"""Damaged binaries: the main process lives, hardly grows, and the next file reads.

The files are invented; B01 … B08 are numbers of the project's list of faults. That a process may
grow by at most 10 MB is the project's own bar.
"""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import polars as pl
import pytest

#: Reads every file of a folder in one process; prints outcomes and how far memory grew.
PROGRAM = """
import resource, sys, json
from pathlib import Path
from lapwright.workflow.inspect import inspect_log
folder = Path(sys.argv[1])
def look(path):
    inspection = inspect_log(path)
    return [inspection.outcome, [m.text for m in inspection.messages]]
sound = look(folder / "sound.csv")
look(folder / "first.bin")  # what is loaded once counts for no single file
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
ends = {p.name: look(p) for p in sorted(folder.glob("bad-*"))}
after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
again = look(folder / "sound.csv")
print(json.dumps([sound, ends, after - before, again]))
"""


def spoilt_parquet(columns):
    out = io.BytesIO()
    pl.DataFrame({k: v[:400] for k, v in columns.items()}).write_parquet(out)
    whole = out.getvalue()
    rng = np.random.default_rng(6)
    yield whole[: len(whole) // 2]
    yield b"PAR1" + bytes(959) + b"PAR1"
    for _ in range(3):
        data = bytearray(whole)
        for at in rng.integers(len(whole) - 300, len(whole) - 8, 40):
            data[at] = rng.integers(0, 256)
        yield bytes(data)


def spoilt_zip(text):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.csv", text)
    whole = out.getvalue()
    yield whole[:-30]
    data = bytearray(whole)
    data[200:260] = bytes(60)
    yield bytes(data)
    yield b"PK\x03\x04" + bytes(300)


def spoilt_mdf():
    head = b"MDF     4.10    invented" + bytes(40)
    circle = b"##HD" + bytes(4) + (104).to_bytes(8, "little") + (6).to_bytes(8, "little")
    circle += (168).to_bytes(8, "little") + bytes(72)
    group = b"##DG" + bytes(4) + (64).to_bytes(8, "little") + (4).to_bytes(8, "little")
    yield head + circle + group + (168).to_bytes(8, "little") + bytes(32)  # next is itself
    yield head + circle + group[:10]
    yield head[:40]


@pytest.mark.skipif(sys.platform != "linux", reason="memory is counted in kB on Linux only")
def test_b01_to_b08_one_named_error_each_and_the_next_file_reads(columns, render, tmp_path):
    pytest.importorskip("asammdf", reason="the optional extra mdf is not installed")
    text = "\n".join(render(columns)) + "\n"
    (tmp_path / "sound.csv").write_text(text)
    (tmp_path / "first.bin").write_bytes(b"PAR1" + bytes(100) + b"PAR1")
    kinds = {"parquet": spoilt_parquet(columns), "zip": spoilt_zip(text), "mf4": spoilt_mdf()}
    written = {
        f"bad-{i}.{kind}": data for kind, files in kinds.items() for i, data in enumerate(files)
    }
    for name, data in written.items():
        (tmp_path / name).write_bytes(data)
    program = tmp_path / "program.py"
    program.write_text(PROGRAM)
    done = subprocess.run(
        [sys.executable, program, tmp_path], capture_output=True, check=True, cwd=Path.cwd()
    )
    sound, ends, grown_kb, again = json.loads(done.stdout)
    assert sound == again == ["accepted", []]
    assert set(ends) == set(written)
    for name, (outcome, texts) in ends.items():
        assert outcome == "refused", name
        assert len(texts) == 1
        assert texts[0].startswith(f"{name}, byte ")
        assert "Nothing was" in texts[0]
        assert "Error" not in texts[0]
    assert grown_kb <= 10_000, f"{grown_kb} kB"
