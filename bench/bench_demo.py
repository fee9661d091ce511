"""Simulated laps: seconds for each, spins, laps off the road, same bytes again, memory, the demo.

Run: python bench/bench_demo.py [--laps 1000]
"""

from __future__ import annotations

import argparse
import hashlib
import multiprocessing
import resource
import sys
import tempfile
import time
from collections.abc import Callable

import numpy as np

from lapwright.demo import DRIVERS, Day, Session, make_session, write_demo
from lapwright.demo import layout as ly

SESSION = 20
DAY = Day(grip_per_lap=-0.0008, grip_spread=0.004, wind_x=2.0, wind_spread=0.8)
TARGET_LAP_S, TARGET_MB = 0.5, 1000.0


def spins(session: Session) -> int:
    """Count laps on which the car slid by more than 35 degrees or all but stopped."""
    rows, lap_of = session.rows, session.truth.lap_of
    slide = np.abs(np.arctan2(rows[:, ly.O_VY], np.maximum(rows[:, ly.O_VX], 0.1)))
    bad = ((slide > np.radians(35)) | (rows[:, ly.O_VX] < 5.0)) & (lap_of > 0)
    return len(set(lap_of[bad].tolist()))


def drive(total: int) -> tuple[int, int, int, float]:
    """Drive sessions of all drivers in turn: timed laps, spins, laps off the road, seconds."""
    done, spun, off, spent = 0, 0, 0, 0.0
    names = list(DRIVERS)
    for k in range(-(-total // SESSION)):
        seed, name = 1 + k // len(names), names[k % len(names)]
        laps = min(SESSION, total - done)
        begun = time.perf_counter()
        session = make_session(name, laps, seed, day=DAY, costs=False)
        spent += time.perf_counter() - begun
        here, gone = spins(session), sum(lap.off_road for lap in session.truth.laps)
        spun, off, done = spun + here, off + gone, done + laps
        times = session.truth.lap_times
        print(
            f"{name:9s} seed {seed}: {np.median(times):.3f} s ± {times.std():.3f},"
            f" spins {here}, off the road {gone}",
            flush=True,
        )
    return done, spun, off, spent


def digest() -> str:
    """Drive a short session and hash all of its motion."""
    return hashlib.sha256(make_session("hasty", 3, 5, costs=False).rows.tobytes()).hexdigest()


def drive_thirty() -> None:
    """Drive a long session of the coach."""
    make_session("coach", 30, 7, costs=False)


def write_all() -> None:
    """Write the demo's logs."""
    with tempfile.TemporaryDirectory() as folder, write_demo(folder):
        pass


def measure(work: Callable[[], None]) -> float:
    """Print time and peak memory of a piece of work in a process of its own; return the MB."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        seconds, spent, peak = pool.apply(_measured, (work,))
    print(
        f"{work.__name__}: {seconds:.1f} s, {spent:.1f} s of processor, "
        f"{peak:.0f} MB (target {TARGET_MB:.0f})"
    )
    return peak


def _measured(work: Callable[[], None]) -> tuple[float, float, float]:
    begun, spent = time.perf_counter(), time.process_time()
    work()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return time.perf_counter() - begun, time.process_time() - spent, peak


def main() -> int:
    """Print the figures; 1 when one misses its target."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--laps", type=int, default=100)
    total = parser.parse_args().laps
    # first: a process that is started counts its parent's peak so far as its own
    peak = max(measure(drive_thirty), measure(write_all))
    make_session("coach", 1, 0, costs=False)
    done, spun, off, spent = drive(total)
    a_lap = spent / (done + 2 * -(-done // SESSION))
    print(f"{done} timed laps, {spun} with a spin, {off} with four wheels beyond the kerb")
    print(f"{a_lap:.3f} s a lap with its log and truth (target {TARGET_LAP_S})")
    same = digest() == digest()
    print("same bytes for the same seed" if same else "NOT the same bytes")
    return int(bool(spun) or not same or a_lap > TARGET_LAP_S or peak > TARGET_MB)


if __name__ == "__main__":
    sys.exit(main())
