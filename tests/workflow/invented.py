"""An invented ring road of about 1.1 km and cars that drive it, free of the analysis's code."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
HALF_M = 5.0
RATE_HZ = 25.0


@dataclass(frozen=True)
class Move:
    """Something done beside the plain lap, between two angles of the whole drive, rad.

    ``aside_m`` is the offset to the left, ``cut`` drives the straight chord, ``slow_mps``
    limits the speed and ``stand_s`` is a stop in the middle.
    """

    start: float
    end: float
    aside_m: float = 0.0
    cut: bool = False
    slow_mps: float = 99.0
    stand_s: float = 0.0


@dataclass(frozen=True)
class Driven:
    """A drive at 25 Hz; ``angle`` tells the place on the road: 2π a lap."""

    time: Array
    x: Array
    y: Array
    speed: Array
    yaw_rate: Array
    angle: Array

    def crossing(self, lap: int) -> float:
        """Give the time at which lap ``lap`` begins."""
        return float(np.interp(2 * np.pi * lap, self.angle, self.time))


def road_at(angle: Array) -> tuple[Array, Array, Array]:
    """Give x, y and heading of the middle of the road."""
    r = 170 * (1 + 0.22 * np.cos(2 * angle) + 0.07 * np.cos(3 * angle))
    slope = 170 * (-0.44 * np.sin(2 * angle) - 0.21 * np.sin(3 * angle))
    x, y = r * np.cos(angle), r * np.sin(angle)
    dx = slope * np.cos(angle) - y
    dy = slope * np.sin(angle) + x
    return x, y, np.arctan2(dy, dx)


def drive(
    begin: float,
    end: float,
    moves: Sequence[Move] = (),
    *,
    wander_m: float = 0.8,
    aside_m: float = 0.0,
    seed: int = 1,
) -> Driven:
    """Drive from one angle to another, 2π a lap, beside the middle of the road."""
    angle = np.arange(begin, end, 0.0005)
    x, y, heading = road_at(angle)
    wander = np.random.default_rng(seed).uniform(0.2, 0.8, 3)
    n = aside_m + wander_m * sum(np.sin(w * (k + 1) * angle + 9 * w) for k, w in enumerate(wander))
    slow = np.full(angle.size, 99.0)
    stands = []
    for m in moves:
        inside = (angle > m.start) & (angle < m.end)
        share = np.clip((angle - m.start) / (m.end - m.start), 0, 1)
        ramp = np.clip(3.5 * np.minimum(share, 1 - share), 0, 1)
        n = n + m.aside_m * ramp**2 * (3 - 2 * ramp)
        slow[inside] = m.slow_mps
        if m.stand_s:
            stands.append((0.5 * (m.start + m.end), m.stand_s))
    x, y = x - n * np.sin(heading), y + n * np.cos(heading)
    for m in moves:
        if m.cut:
            inside = (angle > m.start) & (angle < m.end)
            a, b = np.flatnonzero(inside)[[0, -1]]
            share = np.linspace(0, 1, b - a + 1)
            x[a : b + 1] = x[a] + share * (x[b] - x[a])
            y[a : b + 1] = y[a] + share * (y[b] - y[a])
    return _timed(angle, x, y, slow, stands)


def _timed(
    angle: Array, x: Array, y: Array, slow: Array, stands: Sequence[tuple[float, float]]
) -> Driven:
    step = np.hypot(np.diff(x), np.diff(y))
    place = np.append(0.0, np.cumsum(step))
    even = np.arange(0.0, place[-1], 1.0)
    px, py, pa = (np.interp(even, place, v) for v in (x, y, angle))
    heading = np.unwrap(np.arctan2(np.gradient(py), np.gradient(px)))
    mild = np.exp(-(((np.arange(61) - 30) / 12.0) ** 2))
    bend = np.convolve(np.pad(np.gradient(heading), 30, mode="edge"), mild / mild.sum(), "valid")
    v = np.minimum(np.sqrt(7.0 / (np.abs(bend) + 0.004)), np.interp(even, place, slow))
    waits = np.zeros(even.size)
    for where, seconds in stands:
        i = int(np.searchsorted(pa, where))
        v = np.minimum(v, np.sqrt(8.0 * np.abs(even - even[i]) + 0.04))
        waits[i] = seconds
    for i in range(1, v.size):
        v[i] = min(v[i], np.sqrt(v[i - 1] ** 2 + 8.0))
    for i in range(v.size - 2, -1, -1):
        v[i] = min(v[i], np.sqrt(v[i + 1] ** 2 + 14.0))
    gone = np.append(0.0, np.cumsum(2.0 / (v[1:] + v[:-1]))) + np.cumsum(waits)
    clock = np.arange(0.0, gone[-1], 1 / RATE_HZ)
    if waits.any():  # while standing two places share one point
        i = int(np.argmax(waits))
        gone = np.insert(gone, i, gone[i] - waits[i])
        px, py, pa, heading, v = (np.insert(a, i, a[i]) for a in (px, py, pa, heading, v))
        v[i : i + 2] = 0.0
    x, y, angle, head, speed = (np.interp(clock, gone, a) for a in (px, py, pa, heading, v))
    return Driven(clock, x, y, speed, np.gradient(head) * RATE_HZ, angle)


def write_log(path: Path, driven: Driven, keep: NDArray[np.bool_] | None = None) -> Path:
    """Write a log with noise of 2 cm; ``keep`` leaves rows out."""
    rng = np.random.default_rng(7)
    size = driven.time.size
    force = np.gradient(driven.speed) * RATE_HZ
    columns = (
        driven.time,
        driven.x + 0.02 * rng.standard_normal(size),
        driven.y + 0.02 * rng.standard_normal(size),
        np.maximum(3.6 * (driven.speed + 0.03 * rng.standard_normal(size)), 0),
        driven.yaw_rate + 0.003 * rng.standard_normal(size),
        np.clip(100 * force / 3.0, 0, 100),
        np.clip(-6 * force, 0, 60),
    )
    rows = np.stack(columns, axis=1)[slice(None) if keep is None else keep]
    head = "time (s),x (m),y (m),speed (km/h),yaw rate (rad/s),throttle (%),brake pressure (bar)"
    text = "\n".join(",".join(f"{v:.4f}" for v in row) for row in rows.tolist())
    path.write_text(f"Driver,A. Invented\n\n{head}\n{text}\n", encoding="utf-8")
    return path


def write_survey(path: Path) -> Path:
    """Write the middle of the road and its widths; the start line is at angle zero."""
    angle = np.arange(220) * (2 * np.pi / 220)
    x, y, _ = road_at(angle)
    rows = "\n".join(f"{a:.3f},{b:.3f},{HALF_M},{HALF_M}" for a, b in zip(x, y, strict=True))
    path.write_text(f"x_m,y_m,width_right_m,width_left_m\n{rows}\n", encoding="utf-8")
    return path


def start_option() -> list[str]:
    """Give the option that puts the start line at angle zero."""
    x, y, _ = road_at(np.zeros(1))
    return ["--start", f"{x[0]:.3f},{y[0]:.3f}"]
