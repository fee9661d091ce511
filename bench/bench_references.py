"""Planted references found again: kinds, scatter and time, over many simulated sessions."""

from __future__ import annotations

import itertools
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "driving"))

import planted_references as planted
import simulated
from scipy.stats import chi

from lapwright.driving.reference_views import see_from_seat
from lapwright.driving.references import find_references

HANDS_S = (0.010, 0.020, 0.040)
LAPS = (12, 20, 30)
#: Seeds of the sessions; none of them was looked at while the method was made.
FIRST_SEED = 9100


def run_session(shift: int, laps: int, hand_s: float, mixed: bool) -> tuple[list, float]:
    """Drive one session, look for its references and pair them up; seconds that took."""
    session, plan = planted.drive_planted(shift, laps, FIRST_SEED + shift, hand_s, mixed)
    found = simulated.analyse(session)
    road = planted.with_landmarks(found.driven.circuit, session.circuit)
    visible = see_from_seat(road)
    begin = time.perf_counter()
    references = find_references(road, found.laps, found.passes, visible=visible)
    spent = time.perf_counter() - begin
    paired = planted.pair_up(session, plan, road, references)
    return [replace(c, hand_s=hand_s) for c in paired], spent


def say_scatter(cases: list) -> None:
    """Print how the scatter found compares with the planted one, and what statistics allow.

    Against the scatter that these very laps had there is only the log's own noise: the ratio
    is √(1 + (floor / planted)²) at best. Against the hand as it was planted there is the luck
    of so few laps too: a share of 1 / √(2 (laps − 1)) about the ratio (chi distribution).
    """
    print("laps  cases  mean ratio  spread  mean that the floor makes  within 25 %")
    print(
        "      and against the hand: mean  spread  spread that chance makes  within 25 %  allowed"
    )
    for laps in LAPS:
        own = [c for c in cases if len(c.found.laps) in range(laps - 2, laps + 1)]
        own = [c for c in own if np.isfinite(c.own_scatter_s)]
        if len(own) < 2:
            continue
        ratio = np.array([c.own_scatter_s / c.planted.planted_s for c in own])
        floor = [np.hypot(1, c.found.floor_s / c.planted.planted_s) for c in own]
        hand = np.array([c.planted.sigma_s / c.hand_s for c in own])
        chance = 1.0 / np.sqrt(2.0 * (laps - 1))
        allowed = chi.cdf(1.25 * np.sqrt(laps - 1), laps - 1)
        allowed -= chi.cdf(0.75 * np.sqrt(laps - 1), laps - 1)
        print(
            f"{laps:4d}  {len(own):5d}  {ratio.mean():10.3f}  {ratio.std(ddof=1):6.3f}  "
            f"{np.mean(floor):24.3f}  {np.mean(np.abs(ratio - 1) <= 0.25):11.2f}\n"
            f"{'':29s}{hand.mean():5.3f}  {hand.std(ddof=1):6.3f}  {chance:24.3f}  "
            f"{np.mean(np.abs(hand - 1) <= 0.25):11.2f}  {allowed:7.2f}"
        )


def say(cases: list) -> dict[str, float]:
    """Work out the figures of some cases."""
    apart = [c for c in cases if c.planted.apart]
    close = [c for c in cases if not c.planted.apart]
    ratio = np.array([c.own_scatter_s / c.planted.planted_s for c in apart])
    settled = [c for c in close if c.found.settled]
    return {
        "cases_apart": len(apart),
        "first_share": float(np.mean([c.first == c.planted.kind for c in apart])) if apart else 0,
        "settled_right": sum(c.found.settled and c.first == c.planted.kind for c in apart),
        "settled_wrong": sum(c.found.settled and c.first != c.planted.kind for c in apart),
        "scatter_within_25_percent": float(np.mean(np.abs(ratio - 1) <= 0.25)) if apart else 0,
        "scatter_median_ratio": float(np.median(ratio)) if apart else 0,
        "cases_close": len(close),
        "close_not_told_apart": sum(not c.found.settled for c in close),
        "close_settled_right": sum(c.first == c.planted.kind for c in settled),
        "close_settled_wrong": sum(c.first != c.planted.kind for c in settled),
    }


def main() -> dict[str, float]:
    """Print and return the figures."""
    cases: list = []
    spent = []
    for i, (laps, hand_s, mixed) in enumerate(itertools.product(LAPS, HANDS_S, (False, True))):
        own, seconds = run_session(i, laps, hand_s, mixed)
        cases += own
        spent.append(seconds)
        for c in own:
            print(
                f"{laps:3d} laps {1e3 * hand_s:3.0f} ms {'mixed' if mixed else 'even ':5s} "
                f"corner {c.planted.corner:2d} {c.planted.what:9s} "
                f"planted {1e3 * c.planted.planted_s:5.1f} ms, next kind "
                f"{c.planted.nearest_s / c.planted.planted_s:5.1f} sigma; found "
                f"{c.found.repeats[0].what:17s} {1e3 * c.found.repeats[0].scatter_s:6.1f} ms, own "
                f"{1e3 * c.own_scatter_s:6.1f} ms, {'settled' if c.found.settled else 'open'}"
                f"{'' if c.first == c.planted.kind else '  <- other kind'}",
                flush=True,
            )
    for what in planted.KINDS:
        print(
            what,
            {k: round(v, 3) for k, v in say([c for c in cases if c.planted.what == what]).items()},
        )
    say_scatter([c for c in cases if c.planted.apart])
    figures = {**say(cases), "seconds_a_session": float(np.median(spent))}
    for name, value in figures.items():
        print(f"{name}: {value:.3f}")
    return figures


if __name__ == "__main__":
    main()
