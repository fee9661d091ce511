"""How often the car's 90 % intervals hold what the car did, over 400 and more sessions.

Invented cars with more or less power, drag, downforce, mass and grip are driven on the
demo's circuit by the demo's coach, a session each, and logged. The truth is the motion
without noise at 1 kHz and the car's own equilibrium envelope as far as the driver reached
it. About 5 s a session: 400 take half an hour. ``python bench_fit_coverage.py 20 400`` takes
20 sessions, the first with seed 400;
seeds from 400 to 439 and 1000 to 1259 served to set what the model is off by.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "driving"))

import simulated
from reached_envelope import PARTS, Reached, draw_car, find_reached

from lapwright.demo import DRIVERS, Day, Sensors, make_session
from lapwright.model.fit_car import CarFit, fit_car
from lapwright.model.repair import repair_recording
from lapwright.workflow.session import build_session

SESSIONS, FIRST_SEED, RESAMPLES = 400, 1000, 40
#: How far from the truth a fit may be: the bars of the program's own checks.
BARS = {"power_per_mass": 0.03, "drag_per_mass": 0.10, "lateral": 0.03, "brake": 0.03}


def fit_session(seed: int) -> tuple[CarFit, Reached] | None:
    """Drive, log and fit one session; None where the driver lost the car."""
    rng = np.random.default_rng([seed, 17])
    day = Day(grip=rng.uniform(0.94, 1.03), grip_spread=0.006, wind_spread=1.0)
    session = make_session(
        DRIVERS["coach"], int(rng.integers(6, 9)), seed, day=day, car=draw_car(rng), costs=False
    )
    if any(lap.off_road for lap in session.truth.laps):
        return None
    banked = seed % 2 == 0
    road = simulated.survey_banked(session) if banked else simulated.survey(session)
    recording = repair_recording(simulated.record(session, Sensors(), seed))
    driven = build_session([recording], circuit=road, start=simulated.LINE)
    fit = fit_car(driven.laps, driven.circuit, seed=seed, resamples=RESAMPLES)
    return fit, find_reached(session, fit, banked)


def main(words: list[str] | None = None) -> dict[str, float]:
    """Print and return the shares of sessions."""
    numbers = [int(w) for w in words or [] if w.isdigit()]
    many, first = (numbers + [SESSIONS, FIRST_SEED][len(numbers) :])[:2]
    cases: dict[str, list[tuple[bool, float, float]]] = defaultdict(list)
    lost = without = 0
    for seed in range(first, first + many):
        one = fit_session(seed)
        if one is None or one[0].car is None:
            lost, without = lost + (one is None), without + (one is not None)
            continue
        fit, truth = one
        for part in PARTS:
            (low, high), true, off = fit.intervals[part], truth.true[part], truth.off(part)
            if part in ("lateral", "brake"):
                part += ", banking " + ("surveyed" if seed % 2 == 0 else "not surveyed")
            cases[part].append((low <= true <= high, off, (high - low) / 2 / true))
    print(f"{many} sessions, {lost} with a lost car, {without} without a car found")
    print(f"{'':36}{'held':>7}{'in bar':>8}{'median off':>12}{'90 % off by':>12}{'half width':>12}")
    figures = {"sessions": float(many), "without_a_car": float(without)}
    for part, rows in cases.items():
        held, off, half = (np.array(column) for column in zip(*rows, strict=True))
        inside, most = (
            np.mean(np.abs(off) <= BARS[part.split(",")[0]]),
            np.quantile(np.abs(off), 0.9),
        )
        figures |= {f"{part} held": float(held.mean()), f"{part} in bar": float(inside)}
        print(
            f"{part:36}{held.mean():7.1%}{inside:8.1%}{np.median(off):+12.2%}{most:12.2%}"
            f"{np.median(half):12.2%}"
        )
    return figures


if __name__ == "__main__":
    main(sys.argv[1:])
