"""Time to find the car: one fit and 100 fits to laps drawn anew, 30 invented laps."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "model"))

from planted_laps import Planted, drive_lap, measure_lap, plan_road

from lapwright.model.fit_car import fit_car

LAPS = 30


def main() -> dict[str, float]:
    """Print and return the figures."""
    road, rng = plan_road(), np.random.default_rng(0)
    driven = [drive_lap(road, Planted(), g) for g in (0.99, 1.0, 1.01)]
    laps = [measure_lap(road, driven[i % 3], i + 1, rng, 0.15) for i in range(LAPS)]
    fit_car(laps[:2], road, resamples=2)
    figures = {"laps": float(LAPS)}
    for name, resamples in (("one_fit_s", 0), ("with_100_fits_s", 100)):
        begin, spent = time.perf_counter(), time.process_time()
        fit_car(laps, road, resamples=resamples)
        figures[name] = time.perf_counter() - begin
        figures[name.replace("_s", "_cpu_s")] = time.process_time() - spent
    for name, value in figures.items():
        print(f"{name}: {value:,.2f}")
    return figures


if __name__ == "__main__":
    main()
