"""Cars found from laps of a planted point mass: all numbers invented, the truth is planted."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from lapwright.errors import NoAnswerError
from lapwright.model.car import Limit, check_car
from lapwright.model.fit_car import CarFit, fit_car
from lapwright.model.fit_drive import find_drag_factors, fit_drive
from lapwright.model.fit_samples import build_samples

G = 9.80665
FACTORS = np.array([1.0, 0.99, 1.01, 1.0, 0.995, 1.005, 1.0, 1.02])


def _load() -> ModuleType:
    """Load the generator that stands beside this file (tests are no package)."""
    spec = importlib.util.spec_from_file_location(
        "planted_laps", Path(__file__).with_name("planted_laps.py")
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["planted_laps"] = module
    spec.loader.exec_module(module)
    return module


planted = _load()
CARS = {
    "club": planted.Planted(),
    "road": planted.Planted(
        110.0, 3.5e-4, 0.012, 9.5, 0.0, 0.85, brake=0.98, drive=0.6, exponent=1.9
    ),
    "winged": planted.Planted(
        420.0, 9e-4, 0.014, 15.0, 3e-3, 1.35, brake=1.05, drive=0.8, exponent=1.4
    ),
}


@lru_cache(maxsize=12)
def found(car: str, flat: bool = False, noise: float = 0.15, pedals: bool = True) -> CarFit:
    road = planted.plan_road(flat=flat)
    laps = planted.drive_laps(road, CARS[car], FACTORS, noise=noise, pedals=pedals)
    return fit_car(laps, road, resamples=40)


def ratio(limit: Limit, truth: float, v: float) -> float:
    return (limit.at_rest + limit.per_v2 * v * v) / truth


CASES = [("club", False, 0.15), ("club", True, 0.15), ("club", False, 0.4),
         ("road", False, 0.15), ("winged", False, 0.15)]  # fmt: skip


@pytest.mark.parametrize(("name", "flat", "noise"), CASES)
def test_power_and_drag_are_those_planted(name: str, flat: bool, noise: float):
    car = found(name, flat, noise).needed_car()
    assert car.power_per_mass == pytest.approx(CARS[name].power, rel=0.03)
    assert car.drag_per_mass == pytest.approx(CARS[name].drag, rel=0.10)


@pytest.mark.parametrize(("name", "flat", "noise"), CASES)
def test_cornering_and_braking_are_those_planted_at_speeds_visited(
    name: str, flat: bool, noise: float
):
    car, truth = found(name, flat, noise).needed_car(), CARS[name]
    for part, multiple in (("lateral", 1.0), ("brake", truth.brake)):
        for v in np.linspace(*car.support[part], 5):
            true = multiple * float(truth.limit(v, G))
            assert ratio(getattr(car, part), true, v) == pytest.approx(1.0, abs=0.03), (part, v)


@pytest.mark.parametrize("name", list(CARS))
def test_exponent_is_near_the_planted(name: str):
    assert found(name).needed_car().exponent == pytest.approx(CARS[name].exponent, abs=0.15)


def test_factors_of_laps_on_grip_are_those_planted():
    grip = np.array([c.grip for c in found("club").conditions])
    assert grip == pytest.approx(FACTORS / np.median(FACTORS), abs=0.004)


def test_laps_without_drag_tell_no_drag_factors():
    samples = build_samples(planted.drive_laps(planted.plan_road(), CARS["club"], FACTORS[:3]),
                            planted.plan_road())  # fmt: skip
    fit = fit_drive(samples, np.ones(samples.speed.size))
    assert np.ptp(find_drag_factors(samples, fit, 3)) > 1e-4
    assert find_drag_factors(samples, replace(fit, drag_per_mass=0.0), 3).tolist() == [1.0] * 3


def test_more_noise_does_not_lift_the_limit():
    quiet, loud = (found("club", False, noise).needed_car() for noise in (0.15, 0.4))
    assert loud.lateral.at_rest < 1.01 * quiet.lateral.at_rest


def test_without_pedals_power_is_found_with_wider_intervals():
    with_pedals, blind = found("club"), found("club", pedals=False)
    assert blind.needed_car().power_per_mass == pytest.approx(200.0, rel=0.04)
    assert blind.needed_car().drag_per_mass == pytest.approx(5e-4, rel=0.15)
    wide, narrow = (np.ptp(f.intervals["power_per_mass"]) for f in (blind, with_pedals))
    assert wide > narrow


def test_car_can_be_used_and_holds_its_values_in_its_intervals():
    car = found("club").needed_car()
    check_car(car)
    low, high = car.intervals["lateral.at_rest"]
    assert low < car.lateral.at_rest < high
    low, high = car.intervals["power_per_mass"]
    assert low < car.power_per_mass < high


def test_straight_line_log_fits_no_cornering_limit_and_says_so():
    road = planted.plan_road(straight=True)
    laps = planted.drive_laps(planted.plan_road(), CARS["club"], FACTORS[:2])
    rng = np.random.default_rng(0)
    straight = []
    for lap in laps:
        zero = np.zeros(lap.track.s.size)
        left = zero + 0.1 * rng.standard_normal(zero.size)
        track = replace(lap.track, acceleration_left=left, curvature=zero)
        straight.append(replace(lap, track=track))
    fit = fit_car(straight, replace(road, banking=0 * road.s), resamples=0)
    assert fit.car is None
    assert fit.grip is None
    assert any("cornering" in sentence for sentence in fit.missing)
    assert fit.drive is not None
    assert fit.drive.power_per_mass > 0
    with pytest.raises(NoAnswerError, match="cornering"):
        fit.needed_car()


def test_laps_that_do_not_count_show_no_car():
    road = planted.plan_road()
    laps = planted.drive_laps(road, CARS["club"], FACTORS[:1])
    with pytest.raises(NoAnswerError, match="No complete lap"):
        fit_car([replace(lap, used=False) for lap in laps], road)


def test_the_same_seed_gives_the_same_intervals():
    road = planted.plan_road()
    laps = planted.drive_laps(road, CARS["club"], FACTORS[:3])
    one, two, other = (fit_car(laps, road, seed=s, resamples=12) for s in (1, 1, 2))
    assert one.intervals == two.intervals
    assert one.intervals != other.intervals
