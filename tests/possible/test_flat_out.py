"""Flat-out margins and loads against closed forms."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from lapwright.model.car import Car, Limit
from lapwright.model.circuit import Circuit, Corner
from lapwright.possible.flat_out import find_flat_margins, find_loads, load_along
from lapwright.possible.path import build_flat_path, build_path

G = 9.80665
RADIUS = 300.0
CORNER = Corner("1", "", "left", 0.0, 400.0, 1800.0)
# top speed (80/8e-4)^(1/3) = 46.4 m/s, which a circle of 300 m asks 7.2 m/s² for
FLAT = Car(Limit(9.0, 4e-4, 0.9), Limit(9.0), Limit(30.0), 2.0, 80.0, 8e-4)


def circle(radius: float = RADIUS):
    return build_flat_path(1.0, np.full(round(2 * np.pi * radius), 1 / radius))


def test_margin_of_a_circle_at_top_speed() -> None:
    # grip there is over grip needed: (9 + 4e-4 v²)/(v²/R) beside the drive's share
    v = (80 / 8e-4) ** (1 / 3)
    side, ahead = v * v / RADIUS / (9 + 4e-4 * v * v), 8e-4 * v * v / 30
    margin = find_flat_margins(circle(), FLAT, [CORNER], 2 * np.pi * RADIUS)[0]
    assert margin.speed_mps == pytest.approx(v, rel=1e-3)
    assert margin.margin == pytest.approx(1 / np.hypot(side, ahead) - 1, rel=2e-3)
    assert margin.downforce_factor == 0.0  # 9 > 7.2: flat without any


def test_downforce_that_makes_it_flat() -> None:
    # without the drive's share: 6 + f 4e-4 v² = v²/R
    weak = replace(FLAT, lateral=Limit(6.0, 4e-4), drive=Limit(1e4))
    v2 = (80 / 8e-4) ** (2 / 3)
    margin = find_flat_margins(circle(), weak, [CORNER], 2 * np.pi * RADIUS)[0]
    assert margin.margin < 0
    assert margin.downforce_factor == pytest.approx((v2 / RADIUS - 6) / (4e-4 * v2), rel=2e-3)


def test_no_downforce_no_factor() -> None:
    none = replace(FLAT, lateral=Limit(5.0))
    margin = find_flat_margins(circle(), none, [CORNER], 2 * np.pi * RADIUS)[0]
    assert margin.margin < 0
    assert margin.downforce_factor is None


def test_interval_spans_the_cars() -> None:
    cars = [replace(FLAT, lateral=Limit(a, 4e-4, 0.9)) for a in np.linspace(8, 10, 21)]
    margin = find_flat_margins(circle(), FLAT, [CORNER], 2 * np.pi * RADIUS, cars)[0]
    assert margin.low is not None
    assert margin.high is not None
    assert margin.low < margin.margin < margin.high
    assert margin.high - margin.low == pytest.approx(0.9 * 2 / 7.2, rel=0.1)


def test_a_braked_corner_lacks_grip(oval: Circuit, oval_car: Car) -> None:
    corner = Corner("1", "", "left", 150.0, 190.0, 228.5)
    path = build_path(oval, oval.s, np.zeros(oval.s.size))
    margin = find_flat_margins(path, oval_car, [corner], oval.length_m)[0]
    assert margin.margin < -0.3


def test_loads_of_a_crest_and_a_dip(make_road: Callable[..., Circuit], club_car: Car) -> None:
    # height A sin(2π s/L): load change v² A (2π/L)²/g at the tops, beside cos of slopes
    road = make_road([(2 * np.pi * 200, 200.0)], rise=8.0)
    path = build_path(road, road.s, np.zeros(road.s.size))
    v = np.full(road.s.size, 40.0)
    bend = 8.0 * (2 * np.pi / road.length_m) ** 2
    quarter = road.length_m / 4
    crest = Corner("1", "", "left", quarter - 20, quarter, quarter + 20)
    dip = Corner("2", "", "left", 3 * quarter - 20, 3 * quarter, 3 * quarter + 20)
    loads = find_loads(path, club_car, v, [crest, dip], road.length_m)
    assert loads[0].min_share == pytest.approx(-1600 * bend / G, rel=5e-3)
    assert loads[1].max_share == pytest.approx(1600 * bend / G, rel=5e-3)
    assert load_along(path, club_car, v).mean() == pytest.approx(0.0, abs=5e-3)
