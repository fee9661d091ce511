"""Use of kerbs on drawn laps, and planted effects of it found again. All data is invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from lapwright.driving.kerb_use import (
    KerbEffect,
    SpanUse,
    find_kerb_effects,
    find_span_uses,
)
from lapwright.driving.passes import CornerPass
from lapwright.model.car import Car, Limit
from lapwright.model.circuit import Circuit, Corner, RoadSpan
from lapwright.model.lap import Lap, Trace, Track

Array = NDArray[np.float64]
LENGTH, STEP, WIDTH = 200000.0, 10.0, 1.2
CAR = Car(
    Limit(14.0), Limit(14.0), Limit(7.0), 2.0, 200.0, 1e-3,
    width_m=1.8, wheelbase_m=2.6, track_m=1.6,
)  # fmt: skip


def draw_road(kerbs: int = 1) -> Circuit:
    """A straight enough ring; corner k lies at 1000 k m, with a kerb of 1.2 m on its left edge."""
    s = np.arange(0.0, LENGTH, STEP)
    angle, flat = 2 * np.pi * s / LENGTH, np.zeros(s.size)
    radius = LENGTH / (2 * np.pi)
    corners, spans = [], []
    for k in range(1, kerbs + 1):
        at = 1000.0 * k
        corners.append(Corner(str(k), "", "left", at - 100, at, at + 100))
        spans.append(RoadSpan("kerb", f"kerb {k}", at - 20, at + 20, 5.0 + WIDTH, 5.0))
    return Circuit(
        "drawn", LENGTH, s, radius * np.sin(angle), radius * (1 - np.cos(angle)), flat, angle,
        flat + 1 / radius, flat, flat, flat, flat + 5.0, flat + 5.0, "anticlockwise", True, False,
        corners=tuple(corners), spans=tuple(spans),
    )  # fmt: skip


def draw_lap(n: float, side: int = 1) -> Lap:
    s = np.arange(900.0, 1100.0, 0.5)
    flat = np.zeros(s.size)
    track = Track(
        s / 50, s, flat + side * n, flat, flat + 50, flat, flat, flat, flat, flat, flat, flat
    )
    return Lap("1", "f", "", 1, "timed", 0.0, 9.0, 9.0, 0.01, True, track=track)


@pytest.mark.parametrize(
    ("n", "depth", "wheels"),
    [
        (3.9, 0.0, ()),
        (4.5, 0.4, ("front left", "rear left")),  # the outer patch ends at n + 0.9
        (5.3, 1.2, ("front left", "rear left")),
        (6.0, 1.2, ("front right", "rear right")),  # the left wheels run beyond the kerb
    ],
)
def test_wheels_on_a_drawn_kerb(n: float, depth: float, wheels: tuple[str, ...]):
    (use,) = find_span_uses(draw_road(), [draw_lap(n)], CAR)
    assert use.corner == "1"
    assert use.wheels == wheels
    assert use.depth_m == pytest.approx(depth, abs=0.01)
    length = 40.0 + 2.6 if wheels else 0.0  # the rear axle leaves 2.6 m after the front one
    assert use.length_m == pytest.approx(length, abs=1.5)
    assert use.duration_s == pytest.approx(length / 50.0, abs=0.03)


def test_kerbs_on_the_right_count_as_those_on_the_left():
    road = draw_road()
    kerb = replace(road.spans[0], left_m=-5.0, right_m=-5.0 - WIDTH)
    (use,) = find_span_uses(replace(road, spans=(kerb,)), [draw_lap(4.5, -1)], CAR)
    assert use.wheels == ("front right", "rear right")
    assert use.depth_m == pytest.approx(0.4, abs=0.01)


def test_a_patch_across_the_road_and_one_beside_the_line():
    road = draw_road()
    wide = RoadSpan("patch", "seam", 980.0, 1020.0, 5.0, -5.0)
    apart = RoadSpan("patch", "drain", 980.0, 1020.0, -3.0, -4.0)
    uses = find_span_uses(replace(road, spans=(wide, apart)), [draw_lap(0.0)], CAR)
    assert len(uses[0].wheels) == 4
    assert uses[1].wheels == ()


def test_shake_is_that_of_the_stretch_on_the_kerb():
    time = np.arange(18.0, 22.0, 0.005)
    shaken = np.where((time > 19.6) & (time < 20.4), 3.0 * np.sin(2 * np.pi * 20 * time), 0.0)
    up = {"1": Trace(time, 9.81 + shaken)}
    (use,) = find_span_uses(draw_road(), [draw_lap(4.5)], CAR, up)
    assert use.shake_mps2 == pytest.approx(3.0 / np.sqrt(2), rel=0.05)


def test_nothing_without_the_cars_measures_or_surveyed_edges():
    road, laps = draw_road(), [draw_lap(4.5)]
    assert find_span_uses(road, laps, None) == ()
    assert find_span_uses(road, laps, replace(CAR, track_m=0.0)) == ()
    assert find_span_uses(replace(road, surveyed=False), laps, CAR) == ()


def plan_session(
    seed: int, laps: int, kerbs: int, cost: Callable[[Array], Array], noise_s: float = 0.03,
    heavy: bool = False,
) -> tuple[KerbEffect, ...]:  # fmt: skip
    """A session of planted kerb use: laps get quicker by a trend; times scatter."""
    rng = np.random.default_rng(seed)
    road = draw_road(kerbs)
    driven = [replace(draw_lap(0.0), id=str(k)) for k in range(laps)]
    uses, passes = [], []
    for corner in road.corners:
        depth = rng.uniform(0.0, WIDTH, laps)
        scatter = rng.standard_t(3, laps) / np.sqrt(3) if heavy else rng.standard_normal(laps)
        time = 5.0 + cost(depth) + noise_s * scatter - 0.004 * np.arange(laps)
        slow = 20.0 + 0.15 * rng.standard_normal(laps)
        for k in range(laps):
            uses.append(
                SpanUse(
                    f"kerb {corner.id}", corner.id, str(k), ("front left",), depth[k], 40.0, 0.8
                )
            )
            actions = {"corner_time_s": time[k], "minimum_speed_mps": slow[k]}
            passes.append(CornerPass(corner.id, str(k), time[k], actions))
    return find_kerb_effects(road, driven, uses, passes)


def claims(effects: Sequence[KerbEffect]) -> list[KerbEffect]:
    return [e for e in effects if e.verdict in ("helps", "costs", "best at")]


def half_way(depth: Array) -> Array:
    """0.15 s lost at both ends of the kerb's width against its middle."""
    return 0.15 * ((depth - WIDTH / 2) / (WIDTH / 2)) ** 2


@pytest.mark.parametrize("laps", [20, 30])
def test_a_planted_best_depth_is_found(laps: int):
    """Best at half of the width: found within a quarter of the width; 12 corners in a session."""
    found = []
    for seed in range(20):
        effects = plan_session(seed, laps, 12, half_way)
        found += [e for e in effects if e.measure == "corner_time_s"]
    named = [e for e in found if e.verdict == "best at"]
    assert len(named) >= 0.9 * len(found)
    off = np.array([abs(e.best_m - WIDTH / 2) for e in named if e.best_m is not None])
    assert (off <= WIDTH / 4).mean() >= 0.99
    covered = [
        e.best_low_m <= WIDTH / 2 <= e.best_high_m
        for e in named
        if e.best_low_m is not None and e.best_high_m is not None
    ]
    assert np.mean(covered) >= 0.8


@pytest.mark.parametrize("heavy", [False, True])
def test_no_planted_effect_gives_no_claim_in_95_of_100_sessions(heavy: bool):
    sessions = [plan_session(s, 24, 12, lambda d: 0.0 * d, heavy=heavy) for s in range(200)]
    quiet = [not claims(effects) for effects in sessions]
    assert np.mean(quiet) >= 0.95 - 1.65 * np.sqrt(0.05 * 0.95 / 200)


@pytest.mark.parametrize(("sign", "verdict"), [(-1.0, "helps"), (1.0, "costs")])
def test_more_kerb_that_helps_or_costs_is_called_so(sign: float, verdict: str):
    found = [
        e
        for seed in range(10)
        for e in plan_session(seed, 24, 6, lambda d: sign * 0.2 * d / WIDTH)
        if e.measure == "corner_time_s"
    ]
    right = [e.verdict == verdict for e in found]
    assert np.mean(right) >= 0.8
    assert not any(e.verdict in ("helps", "costs") and e.verdict != verdict for e in found)


def test_few_laps_are_too_few():
    effects = plan_session(1, 7, 2, half_way)
    assert {e.verdict for e in effects} == {"not enough laps"}
    assert all(len(e.laps) == 7 for e in effects)
