"""Time and memory to read and repair a 53 MB CSV: 300 000 rows, 25 channels, 100 Hz.

The log is invented: an oval of two straights and two half circles, driven 30 times.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import polars as pl

ROWS, RATE_HZ, CHANNELS = 300_000, 100.0, 25
TARGET_S = 3.0


def make_log(path: Path) -> None:
    """Write an invented log of 25 columns with units in brackets."""
    rng = np.random.default_rng(20260509)
    t = np.arange(ROWS) / RATE_HZ
    speed = 45.0 + 12.0 * np.sin(2.0 * np.pi * t / 50.0)
    rate = 0.25 * (1.0 + np.sin(2.0 * np.pi * t / 25.0)) * (2.0 * np.pi / 25.0)
    heading = np.cumsum(rate) / RATE_HZ
    x = np.cumsum(speed * np.cos(heading)) / RATE_HZ
    y = np.cumsum(speed * np.sin(heading)) / RATE_HZ
    acceleration = np.gradient(speed, t)
    drive = np.clip(acceleration / 2.0, 0.0, 1.0)
    columns = {
        "time (s)": t,
        "x (m)": x + rng.normal(0.0, 0.02, ROWS),
        "y (m)": y + rng.normal(0.0, 0.02, ROWS),
        "z (m)": 2.0 * np.sin(heading),
        "speed (km/h)": 3.6 * speed,
        "acc long (g)": acceleration / 9.80665 + rng.normal(0.0, 0.02, ROWS),
        "acc lat (g)": speed * rate / 9.80665 + rng.normal(0.0, 0.02, ROWS),
        "acc vert (g)": 1.0 + rng.normal(0.0, 0.03, ROWS),
        "yaw rate (deg/s)": np.degrees(rate) + rng.normal(0.0, 0.1, ROWS),
        "throttle (%)": 100.0 * drive,
        "brake pressure (bar)": 40.0 * np.clip(-acceleration / 2.0, 0.0, 1.0),
        "steering (deg)": np.degrees(rate * 2.6 / speed * 15.0),
        "gear": np.clip(np.round(speed / 12.0), 1, 6),
        "rpm (1/min)": 1500.0 + 100.0 * speed,
        **{f"wheel speed {w} (km/h)": 3.6 * speed * 1.01 for w in ("fl", "fr", "rl", "rr")},
    }
    for index in range(CHANNELS - len(columns)):
        columns[f"sensor {index} (V)"] = 2.5 + rng.normal(0.0, 0.3, ROWS)
    pl.DataFrame(columns).write_csv(path, float_precision=3)


def main() -> int:
    """Print one line with size, time and memory."""
    from lapwright.model.repair import repair_recording
    from lapwright.readers import read_log

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.csv"
        make_log(path)
        size = path.stat().st_size / 1e6
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        started = time.perf_counter()
        recording = read_log(path)
        read = time.perf_counter() - started
        recording = repair_recording(recording)
        total = time.perf_counter() - started
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(
        f"reading {size:.0f} MB: read {read:.2f} s, with repair {total:.2f} s "
        f"(target {TARGET_S:g} s), peak memory {peak / 1e3:.0f} MB "
        f"(before reading {before / 1e3:.0f} MB), {len(recording.messages)} messages"
    )
    for message in recording.messages:
        print(" ", message.text)
    return 0 if total <= TARGET_S else 1


if __name__ == "__main__":
    sys.exit(main())
