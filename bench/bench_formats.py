"""Time and memory to read each format: 50 MB of GPX and NMEA 0183, and a large CSV.

The logs are invented: a circle driven again and again. ``--csv-mb`` sets the size of the CSV.
"""

from __future__ import annotations

import datetime
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from functools import reduce
from operator import xor
from pathlib import Path

TARGET_S, MOST_MB = 4.0, 700.0
LAT, LON, START = 46.5, 9.25, 1_778_320_000.0
READ = """
import resource, sys, time
from lapwright.readers import read_log
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
began = time.perf_counter()
recording = read_log(sys.argv[1])
seconds = time.perf_counter() - began
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(f"{seconds:.2f} {before / 1e3:.0f} {peak / 1e3:.0f} {len(recording.messages)}")
"""


def places(rate_hz: float) -> Iterator[tuple[float, float, float]]:
    """Time, latitude and longitude on a circle of 300 m, by a recurrence."""
    cos, sin, x, y = 1.0, 40.0 / 300.0 / rate_hz, 300.0, 0.0
    for i in range(10**9):
        yield START + i / rate_hz, LAT + y / 111_150.0, LON + x / 76_740.0
        x, y = x - sin * y, y + sin * (x - sin * y) * cos


def write_gpx(path: Path, size: float) -> None:
    with path.open("w", encoding="utf-8") as file:
        file.write('<?xml version="1.0"?>\n<gpx version="1.1"><trk><trkseg>\n')
        for t, lat, lon in places(10.0):
            stamp = datetime.datetime.fromtimestamp(round(t, 1), datetime.UTC).isoformat()
            stamp = stamp.replace("+00:00", "Z")
            file.write(
                f'<trkpt lat="{lat:.8f}" lon="{lon:.8f}"><ele>400.0</ele><time>{stamp}</time>'
                "<extensions><speed>40.00</speed></extensions></trkpt>\n"
            )
            if file.tell() > size:
                break
        file.write("</trkseg></trk></gpx>\n")


def write_nmea(path: Path, size: float) -> None:
    with path.open("w", encoding="ascii", newline="") as file:
        for t, lat, lon in places(10.0):
            moment = datetime.datetime.fromtimestamp(round(t, 1), datetime.UTC)
            of_day = moment.strftime("%H%M%S.") + f"{moment.microsecond // 100_000}0"
            place = f"46{(lat - 46) * 60:08.5f},N,009{(lon - 9) * 60:08.5f},E"
            for body in (
                f"GNRMC,{of_day},A,{place},77.75,12.50,{moment:%d%m%y},,,A",
                f"GNGGA,{of_day},{place},1,12,0.7,400.0,M,,M,,",
            ):
                file.write(f"${body}*{reduce(xor, body.encode()):02X}\r\n")
            if file.tell() > size:
                break


def write_csv(path: Path, size: float) -> None:
    """25 columns at 100 Hz, numbers of about seven signs."""
    names = [f"sensor {i} (V)" for i in range(19)]
    head = ["time (s)", "lat (deg)", "lon (deg)", "speed (km/h)", "throttle (%)", "gear", *names]
    with path.open("w", encoding="ascii") as file:
        file.write(",".join(head) + "\n")
        for i, (t, lat, lon) in enumerate(places(100.0)):
            v = [f"{(i * k) % 997 / 7:.4f}" for k in range(3, 22)]
            row = f"{t - START:.2f},{lat:.8f},{lon:.8f},144.00,{i % 100:.2f},4,"
            file.write(row + ",".join(v) + "\n")
            if file.tell() > size:
                break


def main() -> int:
    """Print a line for each format with time and peak memory of a process that reads it."""
    large = next((float(a.split("=")[1]) for a in sys.argv if a.startswith("--csv-mb=")), 1000.0)
    missed = False
    with tempfile.TemporaryDirectory() as folder:
        for name, write, size in (
            ("gpx", write_gpx, 50.0),
            ("nmea", write_nmea, 50.0),
            ("csv", write_csv, large),
        ):
            path = Path(folder) / f"s.{name}"
            write(path, size * 1e6)
            began = time.perf_counter()
            done = subprocess.run(
                [sys.executable, "-c", READ, path], capture_output=True, text=True, check=True
            )
            whole = time.perf_counter() - began
            seconds, before, peak, messages = done.stdout.split()
            print(
                f"{name} {size:.0f} MB: read {seconds} s, {whole:.2f} s with start-up, peak "
                f"{peak} MB ({before} MB before), {messages} messages",
                flush=True,
            )
            missed |= size <= 50.0 and float(seconds) > TARGET_S
            missed |= name == "csv" and size <= 1000.0 and float(peak) > MOST_MB
            path.unlink()
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
