"""Grip, load and drive against closed forms; sources beside each check."""

from __future__ import annotations

import numpy as np
import pytest

from lapwright.physics.drive import top_speed
from lapwright.physics.grip import corner_speed, forward_left_over, grip_use, limit_at
from lapwright.physics.load import (
    apparent_gravity,
    curvature_held,
    downhill_pull,
    lateral_force,
    load_share,
)

G = 9.80665
G_TABLE = 9.81  # the tables of corners and crests were computed with it


@pytest.mark.parametrize(
    ("power", "area", "mass", "rolling", "kmh"),
    [(200e3, 0.66, 1300, 0.012, 278.98), (400e3, 1.10, 750, 0.015, 300.23)],
)
def test_top_speed(power: float, area: float, mass: float, rolling: float, kmh: float) -> None:
    # ½ρCdA v³ + Crr m g v = P at ρ 1.225, computed from the stated formula
    v = top_speed(power / mass, 1.225 * area / (2 * mass), rolling * G)
    assert v * 3.6 == pytest.approx(kmh, abs=0.01)


def test_top_speed_without_resistance_is_unbounded() -> None:
    assert top_speed(100.0, 0.0) == float("inf")
    assert top_speed(100.0, 0.0, 2.0) == 50.0


@pytest.mark.parametrize(
    ("radius", "speed"),
    [(30, 22.374), (60, 34.000), (100, 49.267), (150, 73.429), (200, 117.684)],
)
def test_corner_with_downforce(radius: float, speed: float) -> None:
    # v² = μg/(1/R − μρClA/2m), m 700, μ 1.5, ClA 3, ρ 1.225
    per_v2 = 1.5 * 1.225 * 3 / (2 * 700)
    assert corner_speed(radius, 1.5 * G_TABLE, per_v2, 1.5, gravity=G_TABLE) == pytest.approx(
        speed, abs=1e-3
    )


def test_grip_never_limits_beyond_a_radius() -> None:
    # same car: R 253.97 m
    per_v2 = 1.5 * 1.225 * 3 / (2 * 700)
    assert 1 / per_v2 == pytest.approx(253.97, abs=0.01)
    assert corner_speed(254.0, 1.5 * G, per_v2, 1.5) == float("inf")
    assert corner_speed(253.9, 1.5 * G, per_v2, 1.5) > 500


@pytest.mark.parametrize(
    ("degrees", "speed"), [(-3, 32.545), (0, 34.310), (5, 37.566), (10, 41.383)]
)
def test_banked_corner(degrees: float, speed: float) -> None:
    # v² = Rg(tanβ + μ)/(1 − μ tanβ), R 100 m, μ 1.2, handbooks on road design
    v = corner_speed(100, 1.2 * G_TABLE, 0.0, 1.2, np.radians(degrees), G_TABLE)
    assert v == pytest.approx(speed, abs=1e-3)


@pytest.mark.parametrize("degrees", [-3.0, 5.0, 10.0])
def test_surface_formulas_meet_the_banked_corner(degrees: float) -> None:
    # same closed form through the surface: a left turn on a cone, outside edge higher
    v, k, bank = 35.0, 1 / 100, np.tan(np.radians(degrees))
    normal = apparent_gravity(v, 0.0, -bank, bank * k, G)
    side = lateral_force(v, k, 0.0, -bank, normal)
    angle = np.radians(degrees)
    assert normal == pytest.approx(G * np.cos(angle) + v * v * k * np.sin(angle))
    assert side == pytest.approx(v * v * k * np.cos(angle) - G * np.sin(angle))
    assert curvature_held(v, side, 0.0, -bank, normal) == pytest.approx(k)


@pytest.mark.parametrize(("bend", "share"), [(-1 / 800, 0.681), (1 / 800, 1.319)])
def test_crest_and_dip_load(bend: float, share: float) -> None:
    # N/mg = 1 ∓ v²/(R g): 50 m/s, R 800 m
    assert 1 + load_share(50.0, 0.0, 0.0, bend, G) == pytest.approx(share, abs=5e-4)


def test_take_off_over_a_crest() -> None:
    # √(gR), R 300 m: 54.25 m/s
    assert apparent_gravity(54.25, 0.0, 0.0, -1 / 300, G_TABLE) == pytest.approx(0.0, abs=1e-3)


def test_specific_force_is_newtons_law_on_any_surface() -> None:
    # independent: acceleration of a ball on z(x, y) by the chain rule, then projected
    rng = np.random.default_rng(5)
    for _ in range(20):
        a, b = rng.normal(0, 0.15, 2)
        hxx = rng.normal(0, 0.004)
        k, v, gain = rng.normal(0, 0.02), rng.uniform(10, 70), rng.normal(0, 5)
        speed2 = v * v / (1 + a * a)
        horizontal = np.array([gain, speed2 * k])
        rise = a * horizontal[0] + b * horizontal[1] + speed2 * hxx
        force = np.array([*horizontal, rise + G])
        normal = np.array([-a, -b, 1.0]) / np.sqrt(1 + a * a + b * b)
        ahead = np.array([1.0, 0.0, a]) / np.sqrt(1 + a * a)
        left = np.cross(normal, ahead)
        up = apparent_gravity(v, a, b, hxx, G)
        assert force @ normal == pytest.approx(up)
        assert force @ left == pytest.approx(lateral_force(v, k, a, b, up))
        assert downhill_pull(a, G) == pytest.approx(G * ahead[2])


def test_superellipse() -> None:
    assert grip_use(6.0, 8.0, 10.0, 10.0, 2.0) == pytest.approx(1.0)
    assert grip_use(4.0, 6.0, 10.0, 10.0, 1.0) == pytest.approx(1.0)
    left = np.array([0.0, -5.0, 10.0, 12.0])
    share = forward_left_over(left, np.full(4, 10.0), 1.6)
    assert share[0] == 1
    assert share[2] == share[3] == 0
    assert grip_use(share[1] * 7, -5.0, 7.0, 10.0, 1.6) == pytest.approx(1.0)


def test_limit_is_friction_times_load() -> None:
    # μ (N + ρ ClA v²/2m): μ 1.4, ClA 2 m², 900 kg, ρ 1.225, N 12 m/s², 40 m/s
    down = 1.225 * 2 / (2 * 900)
    assert limit_at(1.4 * G, 1.4 * down, 1.4, 40.0, 12.0, G) == pytest.approx(
        1.4 * (12 + down * 1600)
    )
