"""Time and memory of `lapwright inspect`, start-up and laps included, on 50 MB of each kind.

The logs are invented: a session of 30 laps with 25 channels as CSV, Parquet, ASAM MDF 4 and in a
zip; a circle driven again and again as GPX and NMEA 0183. The second of two runs counts, as the
first one compiles loops and fills the disk's cache.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
import zipfile
from pathlib import Path

import numpy as np
import polars as pl
from bench_formats import write_gpx, write_nmea
from bench_reading import make_log

TARGET_S = 4.0
INSPECT = "from lapwright.cli import main; main()"


def write_kinds(folder: Path) -> list[Path]:
    """Write one log of each kind."""
    table = folder / "s.csv"
    make_log(table)
    frame = pl.read_csv(table)
    frame.write_parquet(folder / "s.parquet", compression="uncompressed")
    with zipfile.ZipFile(folder / "s.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.write(table, "s.csv")
    write_gpx(folder / "s.gpx", 50e6)
    write_nmea(folder / "s.nmea", 50e6)
    _write_mdf(folder / "s.mf4", frame)
    return sorted(folder.iterdir())


def _write_mdf(path: Path, frame: pl.DataFrame) -> None:
    try:
        import asammdf
    except ImportError:  # an optional extra
        print("mf4: not measured, asammdf is not installed")
        return
    time_s = frame["time (s)"].to_numpy()
    signals = []
    for name in frame.columns[1:]:
        short, _, unit = name.removesuffix(")").partition(" (")
        values = frame[name].cast(pl.Float64).to_numpy()
        signals.append(asammdf.Signal(np.asarray(values), time_s, unit=unit, name=short))
    with asammdf.MDF(version="4.10") as mdf:
        mdf.append(signals)
        mdf.save(path, overwrite=True)


def run(path: Path) -> tuple[float, float]:
    """Seconds and peak MB of one inspection in a process of its own."""
    began = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, "-c", INSPECT, "inspect", str(path)],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        raise SystemExit(f"{path.name}: ended with {child.returncode}")
    return time.perf_counter() - began, usage.ru_maxrss / 1e3


def main() -> int:
    """Print a line for each kind; fail above the target."""
    missed = False
    with tempfile.TemporaryDirectory() as folder:
        for path in write_kinds(Path(folder)):
            run(path)
            seconds, peak = run(path)
            size = path.stat().st_size / 1e6
            print(
                f"{path.suffix[1:]} {size:.0f} MB: {seconds:.2f} s, peak {peak:.0f} MB", flush=True
            )
            missed |= seconds > TARGET_S
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
