"""Laps of an invented point mass with a planted car on an invented road.

Newton's law on a slope and a bank is written out here anew; nothing of the program's
own physics is used. All numbers are invented.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass

import numpy as np
from numba import njit
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


@njit
def _state(road, i, j, v, car, grip):  # type: ignore[no-untyped-def]
    """Force to the side, limit to the side and resistance (m/s²) half-way between places."""
    curve, bend = (road[0, i] + road[0, j]) / 2, (road[1, i] + road[1, j]) / 2
    slope, bank = (road[2, i] + road[2, j]) / 2, (road[3, i] + road[3, j]) / 2
    side = curve * v * v * np.cos(bank) + G * np.sin(bank)
    normal = G * np.cos(bank) - curve * v * v * np.sin(bank) + v * v * bend
    limit = grip * (car[3] + car[4] * v * v + car[5] * (normal - G))
    resist = car[1] * v * v + car[2] * (G * np.cos(bank) + v * v * bend) + G * slope
    return abs(side), limit, resist


@njit
def _pull(road, i, j, v, car, grip, forward):  # type: ignore[no-untyped-def]
    """Largest gain (forward) or loss of speed in m/s² half-way between places."""
    side, limit, resist = _state(road, i, j, v, car, grip)
    spare = max(1 - min(side / limit, 1.0) ** car[8], 0.0) ** (1 / car[8]) * limit
    if forward:
        return min(car[0] / v, car[7] * spare) - resist
    return car[6] * spare + resist


@njit
def _drive(road, car, grip):  # type: ignore[no-untyped-def]
    size = road.shape[1]
    v, powered = np.full(size, 90.0), np.zeros(size)
    for i in range(size):
        while v[i] > 4.0:
            side, limit, _ = _state(road, i, i, v[i], car, grip)
            if side <= limit:
                break
            v[i] -= 0.01
    for turn in range(-(size // 2), 2 * size):
        i, j = turn % size, (turn + 1) % size
        half = np.sqrt(max(v[i] ** 2 + _pull(road, i, j, v[i], car, grip, True), 9.0))
        gain = _pull(road, i, j, half, car, grip, True)
        reached = np.sqrt(max(v[i] ** 2 + 2 * gain, 9.0))
        _, _, resist = _state(road, i, j, half, car, grip)
        powered[i] = 1.0 if gain >= car[0] / half - resist and reached <= v[j] else 0.0
        v[j] = min(v[j], reached)
    for turn in range(2 * size, -(size // 2), -1):
        i, j = turn % size, (turn - 1) % size
        half = np.sqrt(v[i] ** 2 + _pull(road, j, i, v[i], car, grip, False))
        reached = np.sqrt(v[i] ** 2 + 2 * _pull(road, j, i, half, car, grip, False))
        if reached < v[j]:
            v[j], powered[j] = reached, 0.0
    return v, powered


def drive_lap(road: Circuit, car: Planted, grip: float = 1.0) -> tuple[Array, Array, Array]:
    """Speed (m/s) at each metre of a flying lap; acceleration half-way to the next, and whether
    power limits it there."""
    rows = np.stack([road.curvature, road.vertical_curvature, road.slope, road.banking])
    v, powered = _drive(rows, np.array(astuple(car)), grip)
    return v, (np.roll(v, -1) ** 2 - v**2) / 2, powered


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
    speed, curve = (np.interp(s, road.s, c, period=road.length_m) for c in (v, road.curvature))
    ahead = np.interp(s, road.s + 0.5, a, period=road.length_m)
    zero, size = np.zeros(time.size), time.size
    track = Track(
        time, s, zero, zero, speed + _noise(rng, size, noise / 10),
        ahead + _noise(rng, size, noise), curve * speed**2 + _noise(rng, size, noise), curve,
        zero + 0.1, zero + noise / 10, zero + noise, zero + noise,
    )  # fmt: skip
    braking = np.where(ahead < -2.0, 0.8, 0.0)
    full = np.interp(s, road.s + 0.5, powered, period=road.length_m) > 0.99
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
