"""Time, memory and size of a whole guide: 30 laps at 100 Hz, 25 channels, simulated.

The circuit, car and driver are the demo's, wholly invented.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

LAPS, CHANNELS = 30, 25
TARGET_S, TARGET_MB, TARGET_HTML_MB = 20.0, 1500.0, 3.0


def make_log(folder: Path) -> None:
    """Drive the session and write its log and survey."""
    from lapwright.demo import make_session

    session = make_session("coach", LAPS, 7, costs=False)
    channels = dict(session.log.channels)
    rng = np.random.default_rng(7)
    _, clock, _ = next(iter(channels.values()))
    for i in range(CHANNELS - 1 - len(channels)):
        channels[f"Bridge {i}"] = ("V", clock, 2.5 + rng.normal(0.0, 0.3, clock.size))
    replace(session, log=replace(session.log, channels=channels)).write(folder)


def main() -> int:
    """Print one line with time, memory and the page's size; 1 if a target is missed."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # in a process of its own: a child begins with the memory that its parent holds
        subprocess.run([sys.executable, __file__, "make", name], check=True)
        log, survey = (next(folder.glob(f"*{end}")) for end in ("holt.csv", "survey.csv"))
        command = [
            sys.executable, "-m", "lapwright.cli", "guide", str(log), "--circuit", str(survey),
            "--start", "0,0", "--out", str(folder / "guide"),
        ]  # fmt: skip
        start = time.perf_counter()
        quiet = subprocess.DEVNULL
        child = subprocess.Popen(command, stdout=quiet, stderr=quiet)
        _, status, usage = os.wait4(child.pid, 0)  # the usage of this child alone
        seconds = time.perf_counter() - start
        peak = usage.ru_maxrss / 1024
        if status:
            raise SystemExit(f"guide ended with status {status}")
        html = (folder / "guide" / "guide.html").stat().st_size / 1e6
        size = log.stat().st_size / 1e6
    print(
        f"guide of {LAPS} laps, {size:.0f} MB log: {seconds:.1f} s (target {TARGET_S:.0f}), "
        f"{peak:.0f} MB (target {TARGET_MB:.0f}), page {html:.2f} MB (target {TARGET_HTML_MB:.0f})"
    )
    return int(seconds > TARGET_S or peak > TARGET_MB or html > TARGET_HTML_MB)


if __name__ == "__main__":
    if sys.argv[1:2] == ["make"]:
        make_log(Path(sys.argv[2]))
    else:
        sys.exit(main())
