"""The speed profile against closed forms; sources beside each check."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from lapwright.errors import InputError, NoAnswerError, UsageError
from lapwright.model.car import Car, Limit, build_car
from lapwright.model.circuit import Circuit
from lapwright.physics.drive import top_speed
from lapwright.physics.grip import corner_speed
from lapwright.possible.path import Path, build_flat_path, build_path, build_path_through
from lapwright.possible.speed_profile import Share, solve_speed_profile

RoadMaker = Callable[..., Circuit]
INF = float("inf")
G = 9.80665
# limits of the stadium's car: 15 lateral, 12 brake, 5 drive, nothing else
BARE = Car(Limit(15.0), Limit(12.0), Limit(5.0), 2.0, INF, 0.0)


def stadium(step: float = 0.25) -> Path:
    """Two straights of 500 m and two half circles of R 50 m."""
    straight, arc = round(500 / step), round(np.pi * 50 / step)
    h = np.r_[np.full(straight, 500 / straight), np.full(arc, np.pi * 50 / arc)]
    k = np.r_[np.zeros(straight), np.full(arc, 1 / 50)]
    k[0] = 1 / 50  # the last of the arc is the first of the straight
    return build_flat_path(np.r_[h, h], np.r_[k, k])


def test_stadium() -> None:
    # computed from the stated formulas: corner 27.3861, peak 65.4172 m/s, lap 33.02242 s
    profile = solve_speed_profile(stadium(), BARE)
    assert profile.time_s == pytest.approx(33.02242, rel=2e-4)
    assert profile.v.min() == pytest.approx(27.3861, rel=1e-5)
    assert profile.v.max() == pytest.approx(65.4172, rel=5e-4)
    braking = stadium().step[profile.acceleration < -1].sum() / 2
    assert braking == pytest.approx(147.059, abs=0.5)


@pytest.mark.parametrize(
    ("name", "slope"), [("lateral", -0.68312), ("drive", -0.88439), ("brake", -0.15354)]
)
def test_stadium_sensitivities(name: str, slope: float) -> None:
    # ∂T/∂limit in s per m/s², computed
    path, step = stadium(0.5), 0.05
    times = [
        solve_speed_profile(
            path, replace(BARE, **{name: Limit(getattr(BARE, name).at_rest + d)})
        ).time_s
        for d in (-step, step)
    ]
    assert (times[1] - times[0]) / (2 * step) == pytest.approx(slope, rel=0.01)


def test_homogeneity() -> None:
    # any road, acceleration limits only: all limits × c gives T c^(−1/2)
    rng = np.random.default_rng(3)
    k = np.convolve(rng.normal(0, 0.02, 3000), np.hanning(120) / 60, mode="same")
    path = build_flat_path(1.0, k)
    base = solve_speed_profile(path, replace(BARE, exponent=1.5)).time_s
    more = Car(Limit(15 * 1.3), Limit(12 * 1.3), Limit(5 * 1.3), 1.5, INF, 0.0)
    assert solve_speed_profile(path, more).time_s == pytest.approx(base / np.sqrt(1.3), rel=1e-9)
    one = Car(Limit(15 * 1.01), Limit(12 * 1.01), Limit(5 * 1.01), 1.5, INF, 0.0)
    change = solve_speed_profile(path, one).time_s / base - 1
    assert change == pytest.approx(-0.004963, abs=2e-6)


@pytest.mark.parametrize(("kw", "seconds"), [(100, 12.1644), (200, 9.6549)])
def test_constant_power_from_rest(kw: float, seconds: float) -> None:
    # t = (9 m x²/8P)^(1/3), 1000 kg, 400 m
    car = Car(Limit(15.0), Limit(12.0), Limit(1e4), 2.0, kw, 0.0)
    h = np.geomspace(1e-4, 0.5, 1200)
    h = np.r_[h, np.full(round((400 - h.sum()) / 0.5), 0.5)]
    h[-1] += 400 - h.sum()
    path = build_flat_path(np.r_[h, 0.0], np.zeros(h.size + 1), closed=False)
    profile = solve_speed_profile(path, car, entry_mps=0.0)
    assert profile.time_s == pytest.approx(seconds, rel=1e-3)


@pytest.mark.parametrize(
    ("v0", "length", "slope"), [(30.0, 600.0, -0.15066), (20.0, 300.0, -0.15551)]
)
def test_exit_speed_sensitivity(v0: float, length: float, slope: float) -> None:
    # dt/dv0 = −(v1 − v0)/(a v1) at a = 4 m/s²
    car = replace(BARE, drive=Limit(4.0))
    path = build_flat_path(1.0, np.zeros(int(length) + 1), closed=False)
    times = [solve_speed_profile(path, car, entry_mps=v0 + d).time_s for d in (-0.01, 0.01)]
    assert (times[1] - times[0]) / 0.02 == pytest.approx(slope, rel=1e-3)
    if v0 == 30:
        profile = solve_speed_profile(path, car, entry_mps=v0)
        assert profile.v[-1] == pytest.approx(75.498, abs=1e-3)
        assert profile.time_s == pytest.approx(11.3746, abs=1e-4)


def test_brakes_ten_metres_early() -> None:
    # 60 → 20 m/s: 0.3333 s when corner speed is then held, d(1/vc − 1/vt)
    path = build_flat_path(0.5, np.zeros(801), closed=False)
    s = path.s
    hold = np.where(s >= 300, 20.0, 150.0)
    early = np.where(s >= 290, 20.0, 150.0)
    times = [
        solve_speed_profile(path, BARE, entry_mps=60, cap_mps=np.minimum(cap, 60)).time_s
        for cap in (hold, early)
    ]
    assert times[1] - times[0] == pytest.approx(0.3333, abs=2e-3)


def test_brakes_softer_to_the_same_point() -> None:
    # 10 m earlier, to the same place: 0.0833 s, d(vt − vc)/(vt(vt + vc))
    path = build_flat_path(0.05, np.zeros(8001), closed=False)
    distance = (60**2 - 20**2) / (2 * 12)
    share = distance / (distance + 10)
    hold = np.where(path.s >= 300 - 1e-9, 20.0, 60.0)
    times = [
        solve_speed_profile(path, BARE, share=Share(brake=b), entry_mps=60, cap_mps=hold).time_s
        for b in (1.0, share)
    ]
    assert times[1] - times[0] == pytest.approx(0.0833, abs=3e-4)


def test_top_speed_is_reached_on_a_long_straight() -> None:
    # 400 kW, 1.10 m², 750 kg, 0.015: 300.23 km/h
    car = build_car(mass_kg=750, power_w=400e3, drag_area_m2=1.1, grip_forward=1.5,
                    grip_lateral=1.5, rolling_resistance=0.015)  # fmt: skip
    path = build_flat_path(10.0, np.zeros(3001), closed=False)
    v = solve_speed_profile(path, car, entry_mps=30.0).v[-1]
    assert v * 3.6 == pytest.approx(300.23, abs=0.02)
    assert v == pytest.approx(top_speed(400e3 / 750, 1.225 * 1.1 / 1500, 0.015 * G), rel=1e-5)


def test_a_climb_costs_top_speed() -> None:
    # P = (drag v² + g sin) v on a 5 % slope, by root of the same cubic
    car = Car(Limit(15.0), Limit(12.0), Limit(8.0), 2.0, 200.0, 5e-4)
    flat = build_flat_path(10.0, np.zeros(3001), closed=False)
    path = replace(flat, slope=np.full(3001, 0.05))
    v = solve_speed_profile(path, car, entry_mps=30.0).v[-1]
    assert v == pytest.approx(top_speed(200.0, 5e-4, G * 0.05 / np.sqrt(1.0025)), rel=1e-4)


@pytest.mark.parametrize("radius", [30.0, 60.0, 100.0, 150.0])
def test_circle_with_downforce(radius: float) -> None:
    # μ 1.5, ClA 3, 700 kg, without drag: the corner formula of `corner_speed`
    car = build_car(mass_kg=700, power_w=1e9, drag_area_m2=0, downforce_area_m2=3,
                    grip_forward=1.5, grip_lateral=1.5)  # fmt: skip
    path = build_flat_path(1.0, np.full(400, 1 / radius))
    v = solve_speed_profile(path, car).v
    expected = corner_speed(radius, car.lateral.at_rest, car.lateral.per_v2, 1.5)
    assert v == pytest.approx(np.full(400, expected), rel=1e-9)


@pytest.mark.parametrize(("degrees", "speed"), [(-3, 32.545), (5, 37.566), (10, 41.383)])
def test_banked_circle_as_a_road(degrees: float, speed: float, make_road: RoadMaker) -> None:
    # v² = Rg(tanβ + μ)/(1 − μ tanβ), R 100, μ 1.2, on the reference line of a circuit
    road = make_road([(2 * np.pi * 100, 100.0)])
    road = replace(road, banking=np.full(road.s.size, -np.radians(degrees)), has_heights=True)
    car = build_car(
        mass_kg=700,
        power_w=1e9,
        drag_area_m2=0,
        grip_forward=1.2,
        grip_lateral=1.2,
        gravity_mps2=9.81,
    )
    path = build_path(road, road.s, np.zeros(road.s.size))
    assert solve_speed_profile(path, car).v == pytest.approx(np.full(road.s.size, speed), abs=1e-3)


def test_offset_circle_has_its_own_radius(make_road: RoadMaker) -> None:
    road = make_road([(2 * np.pi * 100, 100.0)])
    path = build_path(road, road.s, np.full(road.s.size, 3.0))
    assert path.curvature == pytest.approx(np.full(road.s.size, 1 / 97), rel=1e-6)
    assert path.length_m == pytest.approx(2 * np.pi * 97, rel=1e-6)


def test_points_give_the_same_circle() -> None:
    turn = np.linspace(0, 2 * np.pi, 150, endpoint=False)
    path = build_path_through(80 * np.cos(turn), 80 * np.sin(turn))
    assert path.curvature == pytest.approx(np.full(path.s.size, 1 / 80), rel=2e-4)
    assert path.length_m == pytest.approx(2 * np.pi * 80, rel=1e-5)


def test_crest_takes_grip() -> None:
    # lateral limit μ (g − v²/R_crest) = v² k: v² = μ g/(k + μ/R_crest)
    car = build_car(mass_kg=1000, power_w=1e9, drag_area_m2=0, grip_forward=1.1, grip_lateral=1.1)
    flat = build_flat_path(1.0, np.full(300, 1 / 150))
    path = replace(flat, bend=np.full(300, -1 / 400))
    expected = np.sqrt(1.1 * G / (1 / 150 + 1.1 / 400))
    assert solve_speed_profile(path, car).v == pytest.approx(np.full(300, expected), rel=1e-9)


def test_share_of_the_envelope() -> None:
    # half the lateral limit is 1/√2 of the speed on a circle
    path = build_flat_path(1.0, np.full(300, 1 / 50))
    whole, half = (solve_speed_profile(path, BARE, share=Share(lateral=x)).v[0] for x in (1.0, 0.5))
    assert half / whole == pytest.approx(np.sqrt(0.5))


def test_open_stretch_meets_its_ends() -> None:
    path = build_flat_path(1.0, np.r_[np.zeros(300), np.full(101, 1 / 80)], closed=False)
    profile = solve_speed_profile(path, BARE, entry_mps=40.0, exit_mps=20.0)
    assert profile.v[0] == pytest.approx(40.0)
    assert profile.v[-1] == pytest.approx(20.0)
    assert profile.short_of_entry_mps == 0
    too_fast = solve_speed_profile(path, BARE, entry_mps=100.0, exit_mps=20.0)
    assert too_fast.short_of_entry_mps > 5


def test_never_above_the_envelope(club_car: Car) -> None:
    rng = np.random.default_rng(8)
    k = np.convolve(rng.normal(0, 0.03, 2500), np.hanning(100) / 50, mode="same")
    path = build_flat_path(1.0, k)
    v = solve_speed_profile(path, club_car).v
    rise = (np.roll(v, -1) ** 2 - v**2) / 2
    mid = (v + np.roll(v, -1)) / 2
    tyre = rise + club_car.drag_per_mass * mid**2 + club_car.rolling * G
    side = (k + np.roll(k, -1)) / 2 * mid**2
    limits = [
        a.at_rest + a.per_v2 * mid**2 for a in (club_car.lateral, club_car.brake, club_car.drive)
    ]
    ahead = np.where(tyre > 0, tyre / limits[2], -tyre / limits[1])
    use = (np.abs(ahead) ** 1.5 + np.abs(side / limits[0]) ** 1.5) ** (1 / 1.5)
    assert np.quantile(use, 0.999) < 1.02
    assert (tyre * mid).max() < club_car.power_per_mass * 1.005


def test_wrong_use_is_named() -> None:
    path = build_flat_path(1.0, np.full(300, 1 / 50))
    with pytest.raises(UsageError, match="entry_mps"):
        solve_speed_profile(path, BARE, entry_mps=10.0)
    with pytest.raises(UsageError, match="share"):
        solve_speed_profile(path, BARE, share=Share(power=0.0))
    with pytest.raises(UsageError, match="3 finite samples"):
        build_flat_path(1.0, [0.0, 0.1])
    with pytest.raises(UsageError, match="finite"):
        build_flat_path(1.0, [0.0, 0.1, np.nan, 0.0])
    with pytest.raises(InputError, match="lateral"):
        solve_speed_profile(path, replace(BARE, lateral=Limit(0.0)))


def test_a_climb_beyond_the_car_has_no_answer() -> None:
    weak = Car(Limit(10.0), Limit(10.0), Limit(0.5), 2.0, 50.0, 1e-3)
    flat = build_flat_path(1.0, np.zeros(400), closed=False)
    with pytest.raises(NoAnswerError, match="climb"):
        solve_speed_profile(replace(flat, slope=np.full(400, 0.3)), weak, entry_mps=10.0)
