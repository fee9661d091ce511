"""Time and memory of the motion filter on 30 laps at 100 Hz, six channels."""

from __future__ import annotations

import resource
import time

import numpy as np

from lapwright.numerics.delays import align_delays
from lapwright.numerics.motion import Series, estimate_motion

SAMPLES = 300_000


def invented_log(count: int = SAMPLES, seed: int = 0) -> dict[str, Series]:
    """An invented winding road with sensors of usual quality."""
    rng = np.random.default_rng(seed)
    t = np.arange(count) * 0.01
    v = 40.0 + 18.0 * np.sin(2 * np.pi * t / 23.0) + 6.0 * np.sin(2 * np.pi * t / 7.1)
    a = np.gradient(v, 0.01)
    turn = (0.45 * np.sin(2 * np.pi * t / 9.0) + 0.06) * 16.0 / v
    heading = np.cumsum(turn) * 0.01
    x, y = np.cumsum(v * np.cos(heading)) * 0.01, np.cumsum(v * np.sin(heading)) * 0.01

    def noisy(values: np.ndarray, sd: float) -> Series:
        return Series(t, values + sd * rng.standard_normal(count))

    return {
        "x": noisy(x, 0.02),
        "y": noisy(y, 0.02),
        "speed": noisy(v, 0.05),
        "yaw_rate": noisy(turn, 0.005),
        "acceleration_forward": noisy(a, 0.2),
        "acceleration_left": noisy(v * turn, 0.2),
    }


def main() -> dict[str, float]:
    """Print and return the figures."""
    warm = invented_log(3000)
    estimate_motion(warm)
    log = invented_log()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    begin, spent = time.perf_counter(), time.process_time()
    motion = estimate_motion(log)
    took, spent = time.perf_counter() - begin, time.process_time() - spent
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    begin = time.perf_counter()
    align_delays(log)
    delays = time.perf_counter() - begin
    figures = {
        "samples": float(motion.time.size),
        "estimate_motion_s": took,
        "estimate_motion_cpu_s": spent,
        "peak_memory_grown_mb": after - before,
        "align_delays_s": delays,
    }
    for name, value in figures.items():
        print(f"{name}: {value:,.2f}")
    return figures


if __name__ == "__main__":
    main()
