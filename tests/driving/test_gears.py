"""Gears against what the simulator drove, and no claim without laps; all data are invented."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lapwright.driving.gears import compare_gears, find_gears
from lapwright.driving.passes import CornerPass


def make_passes(speeds: dict[int, list[float]]) -> list[tuple[CornerPass, float]]:
    out = []
    for gear, values in speeds.items():
        for v in values:
            actions = {"exit_speed_mps": v, "gear": float(gear)}
            out.append((CornerPass("1", str(len(out) + 1), 5.0, actions), float(gear)))
    return out


def test_gears_are_those_of_the_truth(simulated: Any, session: Any, found: Any) -> None:
    truth = session.truth
    gears = find_gears(found.driven.circuit, found.laps, found.passes)
    checked = 0
    for act, own in simulated.true_passes(session, found):
        if not act.braked or simulated.slowed_by(session, act) < 3.0:
            continue
        near = np.flatnonzero(np.abs(truth.v - act.minimum_speed) < 1e-6)
        true = {int(truth.gear[i]) for i in near}
        assert true & {gear for gear, _ in gears[own.corner].at_slowest}
        checked += 1
    assert checked >= 30


def test_changes_on_the_way_in_are_counted(simulated: Any, session: Any, found: Any) -> None:
    gears = find_gears(found.driven.circuit, found.laps, found.passes)
    truth = session.truth
    by_corner: dict[str, list[int]] = {}
    for act, own in simulated.true_passes(session, found):
        if act.braked and simulated.slowed_by(session, act) > 15.0:
            inside = (truth.t >= act.brake_start_s) & (truth.t <= act.throttle_s)
            slow = np.argmin(truth.v[inside])
            down = np.diff(truth.gear[inside][: slow + 1]) < 0
            by_corner.setdefault(own.corner, []).append(int(down.sum()))
    assert len(by_corner) >= 3
    for corner, counts in by_corner.items():
        assert gears[corner].changes_in == pytest.approx(np.mean(counts), abs=0.25)


def test_the_engine_turns_as_the_logger_says(found: Any) -> None:
    gears = find_gears(found.driven.circuit, found.laps, found.passes)
    assert all(
        g.engine_speed is not None and 250.0 < g.engine_speed < 800.0 for g in gears.values()
    )


def test_a_better_gear_is_named_with_its_laps() -> None:
    rng = np.random.default_rng(1)
    speeds = {
        2: list(30.0 + 0.3 * rng.standard_normal(8)),
        3: list(29.0 + 0.3 * rng.standard_normal(7)),
    }
    found, why = compare_gears(make_passes(speeds), corners=12)
    assert why is None
    assert found is not None
    assert (found.better, found.other) == (2, 3)
    assert found.gain_mps == pytest.approx(1.0, abs=0.5)
    assert len(found.better_laps) == 8
    assert not set(found.better_laps) & set(found.other_laps)


@pytest.mark.parametrize(
    ("speeds", "said"),
    [
        ({2: [30.0] * 9}, "the same gear on all laps"),
        ({2: [30.0] * 9, 3: [20.0] * 4}, "4 laps in another gear; at least 5 are needed"),
        ({2: [30.0, 31.0] * 4, 3: [30.0, 31.0] * 4}, "no difference that these laps can show"),
    ],
)
def test_without_evidence_nothing_is_said(speeds: dict[int, list[float]], said: str) -> None:
    assert compare_gears(make_passes(speeds)) == (None, said)


def test_no_gear_is_called_better_by_chance() -> None:
    # twelve corners of pure noise a session, 100 sessions: a claim in at most one of twenty
    rng = np.random.default_rng(2)
    claims = 0
    for _ in range(100):
        any_claim = False
        for _ in range(12):
            draw = 30.0 + rng.standard_normal(14)
            passes = make_passes({2: list(draw[:7]), 3: list(draw[7:])})
            any_claim |= compare_gears(passes, corners=12)[0] is not None
        claims += any_claim
    assert claims <= 8  # of 100; 5 expected at most


def test_without_a_gear_channel_nothing_is_said(simulated: Any, session: Any) -> None:
    found = simulated.analyse(session, simulated.Sensors(without=("gear",)))
    gears = find_gears(found.driven.circuit, found.laps, found.passes)
    assert {g.why_null for g in gears.values()} == {"no gear channel"}
