"""Worked values of CHECKS: braking early, braking softly, exit speed. All laps are made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from lapwright.driving.ledger_stretches import Stretch
from lapwright.driving.ledger_traces import LedgerTrace
from lapwright.driving.redrive import compare_passes
from lapwright.driving.redrive_pass import Motor
from lapwright.model.circuit import Corner

STEP = 0.5
END_M = 1100.0
S = np.arange(0.0, END_M + STEP / 2, STEP)
LOW_M = 340.0  # the slowest place of the base lap


def drive(begin_m: float, slow_mps: float = 20.0, brake: float = 12.0, exit_mps2: float = 4.0,
          picked_m: float = LOW_M) -> LedgerTrace:  # fmt: skip
    """60 m/s, brake from a place to a speed, hold it, and gain speed evenly from a place on."""
    down = np.sqrt(np.maximum(60.0**2 - 2 * brake * np.maximum(S - begin_m, 0.0), slow_mps**2))
    up = np.sqrt(slow_mps**2 + 2 * exit_mps2 * np.maximum(S - picked_m, 0.0))
    v = np.where(picked_m > S, down, up)
    time = np.r_[0.0, np.cumsum(2 * STEP / (v[1:] + v[:-1]))]
    zero = np.zeros(S.size)
    braking = (begin_m <= S) & (v > slow_mps + 1e-9) & (picked_m > S)
    throttle = np.where((begin_m > S) | (picked_m <= S), 1.0, 0.0)
    return LedgerTrace("1", time, v, zero + 0.01, zero, throttle, np.where(braking, 0.8, 0.0))


BASE = drive(200.0)
STRETCH = Stretch(
    Corner("1", "", "left", 190.0, LOW_M, 420.0), 0, S.size - 1, {"1": round(LOW_M / STEP)}, 40.0
)


def costs(other: LedgerTrace) -> dict[str, float]:
    split = compare_passes(other, BASE, STRETCH, STEP, Motor(0.0, 0.0))
    whole = sum(split.costs.values()) + split.straight_s + split.carried_s + split.unexplained_s
    assert whole == pytest.approx(split.difference_s, abs=1e-9)
    assert abs(split.unexplained_s) < 0.02
    return dict(split.costs)


def test_braking_early_and_then_holding_costs_the_distance_at_the_slow_speed() -> None:
    # d (1/vc − 1/vt), 10 m, 60 to 20 m/s: 0.3333 s (CHECKS, computed)
    found = costs(drive(190.0))
    assert found["place"] == pytest.approx(0.3333, abs=0.02)
    assert max((abs(v) for k, v in found.items() if k != "place"), default=0.0) < 0.02


def test_braking_softly_to_the_same_point_is_booked_to_the_level() -> None:
    # d (vt − vc) / (vt (vt + vc)): 0.0833 s (CHECKS, computed)
    way = (60.0**2 - 20.0**2) / 24.0
    found = costs(drive(190.0, brake=12.0 * way / (way + 10.0)))
    assert found["level"] == pytest.approx(0.0833, abs=0.01)
    assert max(abs(v) for k, v in found.items() if k != "level") < 0.01


def test_a_slower_exit_costs_on_the_straight_what_it_must() -> None:
    # dt/dv0 = −(v1 − v0) / (a v1): v0 20, a 4, 300 m −0.15551 s per m/s (CHECKS, computed);
    # here over 720 m, by the same formula
    way = END_M - LOW_M
    end = np.sqrt(20.0**2 + 8.0 * way)
    slower = drive(200.0, slow_mps=19.5)
    split = compare_passes(slower, BASE, STRETCH, STEP, Motor(0.0, 0.0))
    behind = (
        slower.time[-1]
        - BASE.time[-1]
        - (np.interp(LOW_M, S, slower.time) - np.interp(LOW_M, S, BASE.time))
    )
    assert behind == pytest.approx(0.5 * (end - 20.0) / (4.0 * end), rel=0.02)
    way_in = sum(split.costs.get(k, 0.0) for k in ("place", "level", "release"))
    assert way_in == pytest.approx(split.difference_s, abs=0.02)  # not the throttle's
    assert split.costs["release"] > 0.75 * split.difference_s


def test_throttle_late_costs_the_wait() -> None:
    # the exit shifted by 8 m: 8 (1/20 − 1/v_end), the closed form of a shift
    found = costs(drive(200.0, picked_m=LOW_M + 8.0))
    end = np.sqrt(20.0**2 + 8.0 * (END_M - LOW_M))
    assert found["pick_up"] == pytest.approx(8.0 * (1 / 20.0 - 1 / end), abs=0.01)
