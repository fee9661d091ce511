"""A thousand simulated laps: seconds for each, spins, laps off the road, same bytes again.

Run: python bench/demo_laps.py [laps]
"""

import hashlib
import sys
import time

import numpy as np

from lapwright.demo import DRIVERS, Day, Session, make_session
from lapwright.demo import layout as ly

LAPS = 20


def spins(session: Session) -> int:
    """Count laps on which the car slid by more than 35 degrees or all but stopped."""
    rows, lap_of = session.rows, session.truth.lap_of
    slide = np.abs(np.arctan2(rows[:, ly.O_VY], np.maximum(rows[:, ly.O_VX], 0.1)))
    bad = ((slide > np.radians(35)) | (rows[:, ly.O_VX] < 5.0)) & (lap_of > 0)
    return len(set(lap_of[bad].tolist()))


def main(total: int) -> None:
    make_session("coach", 1, 0, costs=False)
    day = Day(grip_per_lap=-0.0008, grip_spread=0.004, wind_x=2.0, wind_spread=0.8)
    done, spun, off, spent, seed = 0, 0, 0, 0.0, 1
    while done < total:
        for name in DRIVERS:
            begun = time.perf_counter()
            session = make_session(name, LAPS, seed, day=day, costs=False)
            spent += time.perf_counter() - begun
            here, gone = spins(session), sum(lap.off_road for lap in session.truth.laps)
            spun, off, done = spun + here, off + gone, done + LAPS
            times = session.truth.lap_times
            print(
                f"{name:9s} seed {seed}: {np.median(times):.3f} s ± {times.std():.3f},"
                f" spins {here}, off the road {gone}",
                flush=True,
            )
            if done >= total:
                break
        seed += 1
    print(f"{done} timed laps, {spun} with a spin, {off} with four wheels beyond the kerb")
    print(f"{spent / (done + 2 * done / LAPS):.3f} s a lap with its log and truth")
    digests = {
        hashlib.sha256(make_session("hasty", 3, 5, costs=False).rows.tobytes()).hexdigest()
        for _ in range(2)
    }
    print("same bytes for the same seed" if len(digests) == 1 else "NOT the same bytes")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
