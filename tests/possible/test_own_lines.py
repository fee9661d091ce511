"""Laps' own lines driven by the car: an invented lap on an invented oval."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from lapwright.model.lap import Lap, Track
from lapwright.possible.own_lines import close_line, solve_own_lines
from lapwright.possible.what import find_possible


def lap_on(circuit: Any, first_n: float, last_n: float, n_sd: float = 0.02) -> Lap:
    s = np.linspace(-2.0, circuit.length_m + 2.0, 2000)
    n = np.interp(s, [0.0, circuit.length_m], [first_n, last_n])
    zero = np.zeros(s.size)
    track = Track(s / 30, s, n, zero, zero + 30, zero, zero, zero, zero + n_sd, zero, zero, zero)
    return Lap("1", "a.csv", "", 1, "timed", 0.0, 9.0, 9.0, 0.01, True, track=track)


def test_a_line_that_ends_elsewhere_than_it_began_has_no_kink(
    make_road: Any, oval_car: Any
) -> None:
    ring = make_road([(200 * np.pi, 100.0)])
    even, drifted = lap_on(ring, 0.0, 0.0), lap_on(ring, 0.0, 0.8)
    n = close_line(ring, drifted.track)
    closed = np.r_[n, n[0]]
    bend = np.diff(closed, 2) / ring.step_m**2
    # 0.8 m led in over 150 m: a quintic bends by at most 10/√3 · 0.8/150², 0.0002 1/m
    assert np.abs(bend).max() < 3e-4
    times = [solve_own_lines(ring, [lap], oval_car)["1"].time[-1] for lap in (even, drifted)]
    assert times[1] == pytest.approx(times[0], rel=0.005)


def test_the_clock_runs_from_the_line_to_the_line(oval: Any, oval_car: Any) -> None:
    one = solve_own_lines(oval, [lap_on(oval, 0.0, 0.0)], oval_car)["1"]
    assert one.s[0] == 0.0
    assert one.s[-1] == oval.length_m
    assert one.time[0] == 0.0
    assert (np.diff(one.time) > 0).all()
    passing = np.diff(one.s) / ((one.speed[1:] + one.speed[:-1]) / 2)  # n is 0: as long as s
    assert one.time[-1] == pytest.approx(passing.sum(), rel=3e-3)


def test_a_line_that_is_not_known_is_left_out(oval: Any, oval_car: Any) -> None:
    assert solve_own_lines(oval, [lap_on(oval, 0.0, 0.0, n_sd=3.0)], oval_car) == {}


def test_a_car_that_cannot_drive_the_lap_it_is_said_to_have_driven_is_refused(
    oval: Any, oval_car: Any
) -> None:
    lap = lap_on(oval, 0.0, 0.0)
    needs = solve_own_lines(oval, [lap], oval_car)["1"].time[-1]
    as_driven, too_fast = (
        find_possible(oval, [lap], replace(lap, time_s=f * needs), car=oval_car)
        for f in (0.998, 0.98)
    )
    assert as_driven.fastest is not None
    assert too_fast.fastest is None
    assert "do not show enough" in too_fast.why_null
