"""Invented motions whose truth is known, and sensors that measure them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from lapwright.numerics.series import Series

Array = NDArray[np.float64]
FINE_HZ = 1000.0


@dataclass(frozen=True)
class Truth:
    """A motion at 1 kHz; all arrays have one shape."""

    time: Array
    x: Array
    y: Array
    heading: Array
    speed: Array
    acceleration_forward: Array
    acceleration_left: Array
    yaw_rate: Array
    curvature: Array
    distance: Array

    def at(self, name: str, time: Array) -> Array:
        return np.interp(time, self.time, getattr(self, name))


def integrate(speed: Array, curvature: Array, heading: float = 0.3) -> Truth:
    """Integrate speed and curvature, given at 1 kHz."""
    dt = 1.0 / FINE_HZ

    def total(rate: Array, start: float = 0.0) -> Array:
        return start + np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * dt)])

    turn = speed * curvature
    direction = total(turn, heading)
    return Truth(
        time=np.arange(speed.size) * dt,
        x=total(speed * np.cos(direction)),
        y=total(speed * np.sin(direction)),
        heading=direction,
        speed=speed,
        acceleration_forward=np.gradient(speed, dt),
        acceleration_left=curvature * speed**2,
        yaw_rate=turn,
        curvature=curvature,
        distance=total(speed),
    )


def _average(values: Array, seconds: float) -> Array:
    width = int(seconds * FINE_HZ)
    padded = np.pad(values, width, mode="edge")
    return np.convolve(padded, np.ones(width) / width, "same")[width:-width]


#: Corners of the invented lap: place in m, radius in m, turned angle in rad.
CORNERS = (
    (350, 25, 1.2), (620, 60, -0.9), (900, 120, 0.8), (1150, 18, 2.4), (1500, 80, -1.1),
    (1750, 40, 1.6), (2150, 30, 1.5), (2500, 70, -0.8), (2750, 35, 1.6),
)  # fmt: skip
LAP_M = 3000.0


@cache
def make_lap(laps: int = 2) -> Truth:
    """Drive an invented 3 km lap: 16 m/s^2 in corners, 13 braking, 7 driving."""
    ds = 0.25
    s = np.arange(int(LAP_M / ds)) * ds
    bend = np.zeros(s.size)
    for middle, radius, angle in CORNERS:
        length = radius * abs(angle)
        ramp = min(25.0, 0.6 * length)
        shape = np.clip(0.5 + (length / 2 - np.abs(s - middle)) / ramp, 0.0, 1.0)
        bend += np.sign(angle) * shape / radius
    v = np.minimum(np.sqrt(16.0 / np.maximum(np.abs(bend), 1e-6)), 70.0)
    for _ in range(2):
        for i in range(s.size):
            j = (i + 1) % s.size
            v[j] = min(v[j], np.sqrt(v[i] ** 2 + 2 * ds * min(7.0, 350.0 / v[i])))
        for i in range(s.size - 1, -1, -1):
            v[i] = min(v[i], np.sqrt(v[(i + 1) % s.size] ** 2 + 2 * ds * 13.0))
    road = np.arange(s.size * laps + 1) * ds
    speed = np.append(np.tile(v, laps), v[0])
    clock = np.concatenate([[0.0], np.cumsum(2 * ds / (speed[1:] + speed[:-1]))])
    time = np.arange(0.0, clock[-1], 1.0 / FINE_HZ)
    place = np.interp(time, clock, road)
    speed = _average(np.interp(place, road, speed), 0.1)
    place = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) / FINE_HZ)])
    bend_there = np.interp(place % LAP_M, np.append(s, LAP_M), np.append(bend, bend[0]))
    return integrate(speed, _average(bend_there, 0.1))


@pytest.fixture(scope="session")
def lap() -> Truth:
    return make_lap(2)


Measure = Callable[..., Series]


def measure_series(
    truth: Truth,
    name: str,
    rate: float,
    sd: float = 0.0,
    seed: int = 0,
    *,
    late: float = 0.0,
    jitter: float = 0.0,
) -> Series:
    """Sample one quantity with white noise; ``late``: the stamps are this much too late."""
    rng = np.random.default_rng([seed, sum(map(ord, name)), 7])
    time = np.arange(truth.time[0], truth.time[-1], 1.0 / rate)
    when = time + jitter * np.random.default_rng(seed).standard_normal(time.size)
    values = truth.at(name, when) + sd * rng.standard_normal(time.size)
    return Series(time + late, values)


@pytest.fixture(scope="session")
def measure() -> Measure:
    return measure_series


@pytest.fixture(scope="session")
def drive() -> Callable[..., Truth]:
    return integrate
