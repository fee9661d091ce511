"""The ledger on speeds drawn by hand, whose costs are known in closed form (CHECKS.md)."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from lapwright.driving.booking import book_elements
from lapwright.driving.ledger_stretches import Stretch
from lapwright.driving.ledger_traces import LedgerTrace
from lapwright.driving.redrive import Split, compare_passes
from lapwright.driving.redrive_pass import Motor
from lapwright.model.circuit import Corner

Array = NDArray[np.float64]
#: Places of the drawn lap, m; the corner's slowest part begins at 400.
END, SLOW = 900, 400
S = np.arange(END + 1, dtype=float)
#: A car that does not fade: what it lacks in v² stays.
STEADY = Motor(power=1e-9, drag=0.0)


def draw(speed: Array, *, brake: Array, throttle: Array) -> LedgerTrace:
    between = 1 / np.sqrt(0.5 * (speed[1:] ** 2 + speed[:-1] ** 2))
    time = np.r_[0.0, np.cumsum(between)]
    zero = np.zeros_like(S)
    return LedgerTrace("drawn", time, speed, zero, zero, throttle, brake, zero + 3, zero, False)


def braked(start: float, done: float, fast: float = 60.0, slow: float = 20.0) -> LedgerTrace:
    """From fast to slow at an even deceleration, held to 460 m, then up again at 4 m/s²."""
    down = fast**2 - (fast**2 - slow**2) * np.clip((S - start) / (done - start), 0, 1)
    up = slow**2 + 2 * 4.0 * np.clip(S - 460, 0, None)
    brake = np.where((start <= S) & (done > S), 0.8, 0.0)
    throttle = np.where((start > S) | (S >= 460), 1.0, 0.0)
    return draw(np.sqrt(np.where(S < 460, down, up)), brake=brake, throttle=throttle)


def split(other: LedgerTrace, base: LedgerTrace, motor: Motor = STEADY) -> Split:
    corner = Corner("1", "", "left", 350.0, float(SLOW), 500.0)
    stretch = Stretch(corner, 0, END, {"drawn": SLOW}, 40.0)
    return compare_passes(other, base, stretch, 1.0, motor)


def rows(found: Split) -> dict[str, float]:
    booked = book_elements(found.costs, found.signs)
    parts = sum(b.cost_s for b in booked) + found.carried_s + found.straight_s
    assert parts + found.unexplained_s == pytest.approx(found.difference_s, abs=1e-9)
    return {b.cause: b.cost_s for b in booked}


def test_brakes_early_and_held_costs_a_third_of_a_second() -> None:
    # 10 m early from 60 to 20 m/s, then held: d (1/vc − 1/vt) = 0.3333 s (CHECKS.md)
    found = rows(split(braked(190, 390), braked(200, 400)))
    assert found["early_braking"] == pytest.approx(10 * (1 / 20 - 1 / 60), abs=0.01)
    assert max(found, key=lambda c: abs(found[c])) == "early_braking"


def test_softer_to_the_same_point_costs_a_twelfth_of_a_second() -> None:
    # d (vt − vc) / (vt (vt + vc)) = 0.0833 s (CHECKS.md)
    found = rows(split(braked(190, 400), braked(200, 400)))
    assert found["soft_braking"] == pytest.approx(10 * 40 / (60 * 80), abs=0.005)
    assert max(found, key=lambda c: abs(found[c])) == "soft_braking"


def test_a_slow_exit_costs_what_the_closed_form_says() -> None:
    # dt/dv0 = −0.151 s per m/s from 30 m/s over 600 m at 4 m/s² (CHECKS.md)
    def exit_from(slow: float) -> LedgerTrace:
        speed = np.full_like(S, slow)
        speed[S >= 300] = np.sqrt(slow**2 + 2 * 4.0 * (S[S >= 300] - 300))
        down = np.sqrt(30.0**2 + 2 * 10.0 * (200 - S[S <= 202]))
        speed[S <= 202] = np.maximum(down, slow)
        return draw(speed, brake=(S < 200) * 0.5, throttle=(S >= 300) * 1.0)

    base, other = exit_from(30.0), exit_from(29.8)
    assert base.speed[-1] == pytest.approx(75.5, abs=0.05)
    behind = (other.time - base.time)[-1] - (other.time - base.time)[300]
    assert behind == pytest.approx(0.2 * 0.1507, abs=0.001)
    stretch = Stretch(Corner("1", "", "left", 180.0, 250.0, 320.0), 0, END, {"drawn": 299}, 30.0)
    found = compare_passes(other, base, stretch, 1.0, STEADY)
    costs = rows(found)
    assert costs["slow_minimum"] == pytest.approx(found.difference_s, abs=0.005)
    assert abs(found.straight_s) < 0.002


@pytest.mark.parametrize("change", [braked(205, 395), braked(180, 400), braked(190, 380)])
def test_holding_it_the_other_way_round_changes_only_the_sign(change: LedgerTrace) -> None:
    base = braked(200, 400)
    there, back = split(change, base), split(base, change)
    assert back.difference_s == pytest.approx(-there.difference_s, abs=1e-12)
    assert abs(there.unexplained_s) < 0.02
    assert abs(back.unexplained_s) < 0.02


def test_a_lap_loses_nothing_against_itself() -> None:
    found = split(braked(200, 400), braked(200, 400))
    assert found.difference_s == 0.0
    assert all(abs(c) < 1e-9 for c in found.costs.values())
