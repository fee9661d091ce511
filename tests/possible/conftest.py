"""Invented roads and the published oval, made by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from lapwright.model.car import Car, Limit, build_car
from lapwright.model.circuit import Circuit

RoadMaker = Callable[..., Circuit]


def _circuit(
    pieces: Sequence[tuple[float, float]],
    half_width: float = 4.0,
    step: float = 1.0,
    bank: float = 0.0,
    rise: float = 0.0,
    name: str = "oval",
) -> Circuit:
    """Circuit from (length, radius; 0 straight) pieces.

    ``bank`` is a height of the outer edge in a turn (rad), eased over 20 m; ``rise`` the
    amplitude in m of one wave of height around the lap.
    """
    ends = np.r_[0.0, np.cumsum([p[0] for p in pieces])]
    length = float(ends[-1])
    n = round(length / step)
    h = length / n
    s = np.arange(n) * h
    k = np.array([0.0 if r == 0 else 1 / r for _, r in pieces])
    turned = np.r_[0.0, np.cumsum([a * b for (a, _), b in zip(pieces, k, strict=True)])]

    def heading(at: np.ndarray) -> np.ndarray:
        laps = np.floor(at / length)
        return laps * turned[-1] + np.interp(at - laps * length, ends, turned)

    curvature = (heading(s + h / 2) - heading(s - h / 2)) / h
    banking = np.zeros(n)
    if bank:
        window = np.hanning(round(40 / h))
        wide = np.r_[curvature, curvature, curvature]
        eased = np.convolve(wide, window / window.sum(), mode="same")[n : 2 * n]
        banking = -bank * eased / np.abs(k).max()
    wave = 2 * np.pi / length
    direction = heading(s)
    return Circuit(
        name, length, s, np.cumsum(np.cos(direction)) * h, np.cumsum(np.sin(direction)) * h,
        rise * np.sin(wave * s), direction, curvature, rise * wave * np.cos(wave * s), banking,
        -rise * wave**2 * np.sin(wave * s), np.full(n, half_width), np.full(n, half_width),
        "anticlockwise", True, bool(bank or rise),
    )  # fmt: skip


@pytest.fixture(scope="session")
def make_road() -> RoadMaker:
    return _circuit


@pytest.fixture(scope="session")
def oval() -> Circuit:
    """Published example of an optimal-control library (CHECKS: S150 L90°R50 …)."""
    quarter = np.pi / 2
    return _circuit(
        [(150, 0), (quarter * 50, 50), (100, 0), (quarter * 90, 90), (300, 0), (quarter * 50, 50),
         (100, 0), (quarter * 90, 90), (155, 0)]
    )  # fmt: skip


@pytest.fixture(scope="session")
def oval_car() -> Car:
    """Its car as a point mass: 800 kg, μ 1.68, ClA 4.0, CdA 2.0, ρ 1.2, 960 kW, g 9.8."""
    return build_car(
        mass_kg=800, power_w=960e3, drag_area_m2=2.0, downforce_area_m2=4.0, grip_forward=1.68,
        grip_lateral=1.68, air_density_kgpm3=1.2, gravity_mps2=9.8,
    )  # fmt: skip


@pytest.fixture(scope="session")
def club_car() -> Car:
    """An invented car with little power and a superellipse below the ellipse."""
    return Car(
        Limit(11.5, 5e-4, 1.1), Limit(10.5, 4e-4, 1.0), Limit(6.0, 3e-4, 0.6), 1.5, 130.0, 6e-4,
        0.012,
    )  # fmt: skip
