"""The moving car against closed forms: nothing here uses the demo's own envelope."""

import numpy as np
import pytest

from lapwright.demo import layout as ly
from lapwright.demo import proving
from lapwright.demo.car import Car, club_car

G = 9.80665
#: day: grip factor, extra mass kg, wind x and y m/s, density kg/m³
DAY = np.array([1.0, 0.0, 0.0, 0.0, 1.225])
CAR = club_car()


def plain(**changes: object) -> Car:
    """Friction 1.2 at any load, no air: the car of the textbook's formulas."""
    base = CAR._replace(
        tyre_fade=0.0, rear_grip=1.0, down_area=0.0, drag_area=0.0, rolling=0.0, tyre_grip=1.2
    )
    return base._replace(**changes)


def constant_power(watts: float, **changes: object) -> Car:
    speed = np.arange(0, 1000, 40.0)
    torque = np.where(speed > 200, watts / np.maximum(speed, 1.0), watts / 200)
    return CAR._replace(
        engine_torque=torque, engine_drag=0.0, driveline=1.0, down_area=0.0, **changes
    )


@pytest.mark.parametrize("radius", [9.125, 50.0, 100.0])
def test_skid_pad(radius: float) -> None:
    # v² = μ g R; 9.125 m is the middle of the Formula Student / SAE circle (15.25 to 21.25 m)
    limit = np.sqrt(1.2 * G * radius)
    found = proving.ring_limit(plain(), radius, DAY, 0.88 * limit)
    assert found == pytest.approx(limit, rel=0.02)


def test_skid_pad_time_gives_the_rule_books_acceleration() -> None:
    # Formula Student / SAE: a[g] = 2.012 D / t², D 17.10 m; 5.0 s gives 1.376 g
    diameter = 17.10
    car = plain(tyre_grip=1.376)
    speed = proving.ring_limit(car, diameter / 2, DAY, 9.5)
    assert 2.012 * diameter / (np.pi * diameter / speed) ** 2 == pytest.approx(1.376, rel=0.04)


@pytest.mark.parametrize(
    ("degrees", "limit"), [(-3, 32.545), (0, 34.310), (5, 37.566), (10, 41.383)]
)
def test_banked_corner(degrees: float, limit: float) -> None:
    # v² = R g (tan β + μ) / (1 − μ tan β), R 100 m, μ 1.2
    found = proving.ring_limit(plain(), 100.0, DAY, 0.9 * limit, np.radians(degrees))
    assert found == pytest.approx(limit, rel=0.03)


@pytest.mark.parametrize("vertical", [-1 / 800, 1 / 800])
def test_corner_over_a_crest_and_through_a_dip(vertical: float) -> None:
    # N/m = g + v²·κ_v (load 1 ∓ v²/(R g)), so v² (1/R − μ κ_v) = μ g
    limit = np.sqrt(1.2 * G / (1 / 100 - 1.2 * vertical))
    found = proving.ring_limit(plain(), 100.0, DAY, 0.9 * limit, 0.0, vertical)
    assert found == pytest.approx(limit, rel=0.03)


@pytest.mark.parametrize(("vertical", "share"), [(-1 / 800, 0.681), (1 / 800, 1.319)])
def test_load_over_a_crest_and_in_a_dip(vertical: float, share: float) -> None:
    # N/mg = 1 ∓ v²/(R g) at 50 m/s, R 800 m
    rows = proving.hold_pedals(
        plain(), 50.0, DAY, 0.2, neutral=True, grid=proving.straight(vertical=vertical)
    )
    assert rows[50, ly.O_NORM] / G == pytest.approx(share, abs=0.002)


@pytest.mark.parametrize(("radius", "limit"), [(30, 22.374), (60, 34.0), (100, 49.267)])
def test_corner_with_downforce(radius: float, limit: float) -> None:
    # v² = μ g / (1/R − μ ρ ClA / 2m), m 700 kg, μ 1.5, ClA 3 m², ρ 1.225
    balance = CAR.axle_r / (CAR.axle_f + CAR.axle_r)
    car = plain(
        mass=700.0, tyre_grip=1.5, down_area=3.0, down_front=balance,
        engine_torque=3 * CAR.engine_torque,
    )  # fmt: skip
    found = proving.ring_limit(car, float(radius), DAY, 0.88 * limit)
    assert found == pytest.approx(limit, rel=0.02)


def test_coast_down() -> None:
    # m_eff dv/dt = −(F0 + F2 v²): v = √(F0/F2) tan(atan(v0 √(F2/F0)) − √(F0 F2) t / m_eff)
    rows = proving.hold_pedals(CAR, 60.0, DAY, 20.0, neutral=True)
    constant = CAR.rolling * CAR.mass * G
    square = 0.5 * 1.225 * (CAR.drag_area + CAR.rolling * CAR.down_area)
    heavy = CAR.mass + 4 * CAR.wheel_inertia / CAR.wheel_radius**2
    root = np.sqrt(square / constant)
    at = rows[::1000, ly.O_T]
    want = np.tan(np.arctan(root * 60.0) - np.sqrt(constant * square) * at / heavy) / root
    assert np.abs(rows[::1000, ly.O_VX] / want - 1).max() < 0.02
    lost = 60.0 - rows[-1, ly.O_VX]
    last = np.tan(np.arctan(root * 60) - np.sqrt(constant * square) * rows[-1, 0] / heavy) / root
    assert lost == pytest.approx(60.0 - last, rel=0.02)


def test_straight_braking() -> None:
    # d = (v0² − v1²) / (2 μ g) where the bias follows the load: the hardest pedal without a lock
    length = CAR.axle_f + CAR.axle_r
    bias = (CAR.axle_r + CAR.height * 1.2) / length
    car = plain(brake_bias=bias, engine_drag=0.0, wheel_inertia=0.2, engine_inertia=0.0)
    best = np.inf
    for pedal in np.linspace(0.48, 0.56, 33):
        rows = proving.hold_pedals(car, 60.0, DAY, 6.0, brake=pedal, neutral=True)
        fast = rows[rows[:, ly.O_VX] > 20.0]
        if rows[-1, ly.O_VX] < 20.0 and fast[:, ly.O_RHO_F].max() < 3.0:
            places = np.interp([-50.0, -20.0], -rows[:, ly.O_VX], rows[:, ly.O_S])
            best = min(best, places[1] - places[0])
    assert best == pytest.approx((50.0**2 - 20.0**2) / (2 * 1.2 * G), rel=0.02)


@pytest.mark.parametrize(
    ("watts", "area", "mass", "rolling", "kmh"),
    [(200e3, 0.66, 1300.0, 0.012, 278.98), (400e3, 1.10, 750.0, 0.015, 300.23)],
)
def test_top_speed(watts: float, area: float, mass: float, rolling: float, kmh: float) -> None:
    # ½ ρ CdA v³ + Crr m g v = P
    car = constant_power(
        watts, drag_area=area, mass=mass, rolling=rolling, gears=np.array([2.9, 2.0, 1.4, 0.9])
    )
    rows = proving.hold_pedals(car, 65.0, DAY, 90.0, throttle=1.0, grid=proving.straight(9000.0))
    assert rows[-1, ly.O_VX] * 3.6 == pytest.approx(kmh, rel=0.02)


@pytest.mark.parametrize(("watts", "seconds"), [(100e3, 12.1644), (200e3, 9.6549)])
def test_standing_start(watts: float, seconds: float) -> None:
    # constant power from rest, no drag: t = (9 m x² / 8 P)^(1/3), 1000 kg, 400 m
    car = constant_power(
        watts, drag_area=0.0, rolling=0.0, mass=1000.0, engine_inertia=0.0, wheel_inertia=1e-3,
        shift_time=0.0, tyre_grip=6.0, gears=14.0 * 0.78 ** np.arange(12),
    )  # fmt: skip
    rows = proving.hold_pedals(car, 0.0, DAY, 14.0, throttle=1.0)
    assert np.interp(400.0, rows[:, ly.O_S], rows[:, ly.O_T]) == pytest.approx(seconds, rel=0.02)


def test_slope_pulls_back() -> None:
    # dv/dt = −g sin(atan(slope)) · m / m_eff, no air, no rolling resistance
    rows = proving.hold_pedals(
        plain(), 30.0, DAY, 3.0, neutral=True, grid=proving.straight(slope=0.10)
    )
    heavy = CAR.mass + 4 * CAR.wheel_inertia / CAR.wheel_radius**2
    want = -G * np.sin(np.arctan(0.10)) * CAR.mass / heavy
    assert (rows[-1, ly.O_VX] - 30.0) / 3.0 == pytest.approx(want, rel=0.02)
