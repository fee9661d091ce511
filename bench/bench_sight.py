"""Time to look along a lap of 6 km at 2 m: how far ahead the road is seen from every step.

The road is invented: hilly, and flat (the slowest case, where everything is in sight). With
the mountain circuit's file beside the repository that one is measured too.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "driving"))

from sight_roads import mountain, ring

from lapwright.driving.corner_sight import find_sight
from lapwright.driving.sight import build_ground, look_ahead, place_eyes
from lapwright.model.circuit import Circuit

TARGET_S = 1.0
ROOT = Path(__file__).parents[1]
REAL = ROOT.parent / "shared" / "data" / "circuits3d" / "mountain_circuit_bounds_xyz.csv"


def hills(s: np.ndarray) -> np.ndarray:
    """Invented heights that close after 6 km."""
    turn = 2 * np.pi * s / 6000.0
    return 12 * np.sin(3 * turn) + 5 * np.sin(11 * turn) + 1.5 * np.sin(29 * turn)


def look(circuit: Circuit) -> tuple[float, float, float]:
    """Seconds and processor seconds for one lap, and seconds for all that is said of sight."""
    begin, spent = time.perf_counter(), time.process_time()
    look_ahead(build_ground(circuit), place_eyes(circuit, circuit.s))
    took, spent = time.perf_counter() - begin, time.process_time() - spent
    begin = time.perf_counter()
    find_sight(circuit, (), {})
    return took, spent, time.perf_counter() - begin


def main() -> dict[str, float]:
    """Print and return the figures."""
    radius = 6000.0 / (2 * np.pi)
    roads = {
        "hilly": ring(radius, hills, step=2.0),
        "flat": ring(radius, lambda s: 0.0 * s, step=2.0, width=20.0),
    }
    if REAL.exists():
        roads["mountain"] = mountain(REAL)
    look(roads["hilly"])  # compiles
    figures = {}
    for name, circuit in roads.items():
        took, spent, whole = look(circuit)
        figures[f"{name}_lap_s"], figures[f"{name}_lap_cpu_s"] = took, spent
        figures[f"{name}_all_s"] = whole
    for name, value in figures.items():
        print(f"{name}: {value:,.2f}")
    print(f"target: a lap in {TARGET_S:.0f} s")
    return figures


if __name__ == "__main__":
    main()
