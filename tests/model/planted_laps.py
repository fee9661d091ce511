"""Laps of an invented point mass with a planted car on an invented road.

Newton's law on a slope and a bank is written out here anew; nothing of the program's
own physics is used. All numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap, Trace, Track

Array = NDArray[np.float64]
G = 9.80665


@dataclass(frozen=True)
class Planted:
    """The car: W/kg, 1/m, rolling; lateral limit; brake and drive as multiples of it."""

    power: float = 200.0
    drag: float = 5.0e-4
    rolling: float = 0.015
    rest: float = 12.0
    per_v2: float = 1.2e-3
    per_load: float = 1.0
    brake: float = 0.95
    drive: float = 0.7
    exponent: float = 1.6

    def limit(self, v: Array | float, normal: Array | float) -> Array:
        return np.asarray(self.rest + self.per_v2 * np.square(v) + self.per_load * (normal - G))


#: Straight before, then radius and angle of each bend; left positive.
BENDS = (
    (500, 60, 90), (250, -110, 60), (150, 25, 140), (400, 200, 50), (200, -45, 100),
    (450, 90, 110), (120, -150, 45), (350, 35, 120), (200, -75, 80), (200, 160, 70),
)  # fmt: skip


def plan_road(flat: bool = False, straight: bool = False) -> Circuit:
    """An invented road of 1 m steps with slopes, crests and banked bends."""
    parts = []
    for free, radius, angle in BENDS:
        length = round(abs(radius) * np.deg2rad(angle))
        parts += [np.zeros(free), np.full(length, 0.0 if straight else 1 / radius)]
    curve = gaussian_filter1d(np.concatenate(parts), 8.0, mode="wrap")
    size = curve.size
    s = np.arange(size, dtype=float)
    turn = 2 * np.pi * s / size
    height = 0.0 if flat else 1.0
    z = height * (8 * np.sin(turn) + 1.2 * np.sin(9 * turn + 1))
    slope = height * (8 * np.cos(turn) + 10.8 * np.cos(9 * turn + 1)) * 2 * np.pi / size
    bend = -height * (8 * np.sin(turn) + 97.2 * np.sin(9 * turn + 1)) * (2 * np.pi / size) ** 2
    bank = -height * 1.0 * gaussian_filter1d(curve, 20.0, mode="wrap")
    wide = np.full(size, 6.0)
    zero = np.zeros(size)
    heading = np.cumsum(curve)
    return Circuit(
        "Planted", float(size), s, zero, zero, z, heading, curve, slope, bank, bend, wide, wide,
        "anticlockwise", True, not flat,
    )  # fmt: skip


def drive_lap(road: Circuit, car: Planted, grip: float = 1.0) -> tuple[Array, Array, Array]:
    """Speed (m/s) at each metre of a flying lap, its acceleration, and whether power limits."""
    k, bend, slope = road.curvature, road.vertical_curvature, road.slope
    size, sine, cosine = k.size, np.sin(road.banking), np.cos(road.banking)

    def side_and_limit(i: int, v: float) -> tuple[float, float]:
        side = k[i] * v * v * cosine[i] + G * sine[i]
        normal = G * cosine[i] - k[i] * v * v * sine[i] + v * v * bend[i]
        rest = car.rest + car.per_v2 * v * v + car.per_load * (normal - G)
        return abs(side), grip * rest

    def resist(i: int, v: float) -> float:
        normal = G * cosine[i] + v * v * bend[i]
        return car.drag * v * v + car.rolling * normal + G * slope[i]

    grid = np.linspace(4.0, 90.0, 400)
    side = np.abs(np.outer(k * cosine, grid**2) + (G * sine)[:, None])
    normal = (G * cosine)[:, None] + np.outer(bend - k * sine, grid**2)
    over = side > grip * car.limit(grid[None, :], normal)
    first = np.where(over.any(axis=1), over.argmax(axis=1), grid.size)
    v = np.where(first < grid.size, grid[np.maximum(first - 1, 0)], 90.0)
    powered = np.zeros(size)
    for step in range(-size // 2, 2 * size):
        i, j = step % size, (step + 1) % size
        need, limit = side_and_limit(i, v[i])
        spare = max(1 - min(need / limit, 1.0) ** car.exponent, 0.0) ** (1 / car.exponent)
        push = min(car.power / v[i], car.drive * limit * spare)
        reached = np.sqrt(max(v[i] ** 2 + 2 * (push - resist(i, v[i])), 9.0))
        powered[i] = float(push >= car.power / v[i] and reached <= v[j])
        v[j] = min(v[j], reached)
    for step in range(2 * size, -size // 2, -1):
        i, j = step % size, (step - 1) % size
        need, limit = side_and_limit(i, v[i])
        spare = max(1 - min(need / limit, 1.0) ** car.exponent, 0.0) ** (1 / car.exponent)
        reached = np.sqrt(v[i] ** 2 + 2 * (car.brake * limit * spare + resist(i, v[i])))
        if reached < v[j]:
            v[j], powered[j] = reached, 0.0
    a = (np.roll(v, -1) ** 2 - v**2) / 2
    return v, a, powered


def _noise(rng: np.random.Generator, size: int, sd: float) -> Array:
    """Noise of a smoothed motion: it lasts about 0.1 s."""
    raw = gaussian_filter1d(rng.standard_normal(size), 3.0, mode="wrap")
    return np.asarray(sd * raw / raw.std())


def measure_lap(
    road: Circuit, driven: tuple[Array, Array, Array], number: int, rng: np.random.Generator,
    noise: float, pedals: bool = True,
) -> Lap:  # fmt: skip
    """One lap as a track at 50 Hz, with noise of ``noise`` m/s² on accelerations."""
    v, a, powered = driven
    clock = np.r_[0.0, np.cumsum(2 / (v + np.roll(v, -1)))]
    time = np.arange(0, clock[-1], 0.02)
    s = np.interp(time, clock, np.r_[road.s, road.length_m])
    speed, ahead, curve = (np.interp(s, road.s, c) for c in (v, a, road.curvature))
    zero, size = np.zeros(time.size), time.size
    track = Track(
        time, s, zero, zero, speed + _noise(rng, size, noise / 10),
        ahead + _noise(rng, size, noise), curve * speed**2 + _noise(rng, size, noise), curve,
        zero + 0.1, zero + noise / 10, zero + noise, zero + noise,
    )  # fmt: skip
    braking = np.where(np.interp(s, road.s, a) < -2.0, 0.8, 0.0)
    full = np.interp(s, road.s, powered) > 0.99
    traces = {
        "throttle": Trace(time, np.where(full, 1.0, 0.5 * (braking == 0))),
        "brake": Trace(time, braking),
    }
    return Lap(
        str(number), "planted.csv", "", number, "timed", 0.0, float(clock[-1]), float(clock[-1]),
        0.01, True, track=track, traces=traces if pedals else {},
    )  # fmt: skip


def drive_laps(
    road: Circuit, car: Planted, grips: Array, seed: int = 1, noise: float = 0.15,
    pedals: bool = True,
) -> list[Lap]:  # fmt: skip
    """Laps at the planted limits, each with its factor on grip."""
    rng = np.random.default_rng(seed)
    return [
        measure_lap(road, drive_lap(road, car, float(g)), i + 1, rng, noise, pedals)
        for i, g in enumerate(grips)
    ]
