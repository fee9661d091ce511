"""An invented log of an invented circuit, clean, for tests to spoil."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lapwright.messages import Message
from lapwright.workflow.inspect import Inspection, inspect_log

Array = np.ndarray
Columns = dict[str, Array]

#: Degrees of latitude and longitude at which the invented circuit is put.
ORIGIN = (46.5, 9.25)
_M_PER_DEG_LAT, _M_PER_DEG_LON = 111_150.0, 76_740.0


def make_columns(rate_hz: float = 20.0, laps: float = 3.0, noise_m: float = 0.02) -> Columns:
    """Columns of a log of laps driven anticlockwise, by header with units.

    The circuit is a wavy ring of about 2 km; speeds lie between 22 and 58 m/s.
    """
    rng = np.random.default_rng(7)
    angle = np.linspace(0.0, 2.0 * np.pi * laps, int(40_000 * laps))
    radius = 300.0 + 70.0 * np.sin(2.0 * angle) + 35.0 * np.cos(3.0 * angle)
    east, north = radius * np.cos(angle), radius * np.sin(angle)
    course = np.unwrap(np.arctan2(np.gradient(north), np.gradient(east)))
    gone = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    speed = 40.0 + 12.0 * np.sin(4.0 * angle) + 6.0 * np.cos(7.0 * angle)
    clock = np.concatenate([[0.0], np.cumsum(2.0 * np.diff(gone) / (speed[1:] + speed[:-1]))])
    t = np.arange(0.0, clock[-1], 1.0 / rate_hz)
    x, y, v, heading, s = (np.interp(t, clock, c) for c in (east, north, speed, course, gone))
    forward, yaw = np.gradient(v, t), np.gradient(heading, t)
    n = t.size
    drive = np.clip(forward / 12.0 + 0.3, 0.0, 1.0)
    brake = np.clip(-forward - 2.0, 0.0, None) * 4.0
    lat0, lon0 = ORIGIN
    return {
        "time (s)": t,
        "utc (s)": 1_778_320_000.0 + t,
        "lap": np.floor(np.interp(t, clock, angle) / (2.0 * np.pi)) + 1.0,
        "lat (deg)": lat0 + (y + rng.normal(0.0, noise_m, n)) / _M_PER_DEG_LAT,
        "lon (deg)": lon0 + (x + rng.normal(0.0, noise_m, n)) / _M_PER_DEG_LON,
        "alt (m)": 400.0 + 3.0 * np.sin(heading) + rng.normal(0.0, 0.02, n),
        "distance (m)": s,
        "speed (m/s)": v + rng.normal(0.0, 0.03, n),
        "acc_x (m/s^2)": forward + rng.normal(0.0, 0.1, n),
        "acc_y (m/s^2)": v * yaw + rng.normal(0.0, 0.1, n),
        "yaw_rate (rad/s)": yaw + rng.normal(0.0, 0.003, n),
        "steering (deg)": np.degrees(15.0 * 2.6 * yaw / v) + rng.normal(0.0, 0.2, n),
        "throttle (%)": 100.0 * drive,
        "brake (bar)": brake,
        "rpm (1/min)": 3000.0 + 2500.0 * (v % 20.0) / 20.0 + rng.normal(0.0, 5.0, n),
        "gear": np.floor(v / 20.0) + 2.0,
    }


def render_lines(columns: Columns, delimiter: str = ",", decimal: str = ".") -> list[str]:
    """Lines of a text table, the header first."""
    digits = {"lat": 8, "lon": 8, "lap": 0, "gear": 0}
    places = {name: digits.get(name.split("(")[0].strip(), 4) for name in columns}
    cells = [
        ["" if np.isnan(v) else f"{v:.{places[name]}f}" for v in values]
        for name, values in columns.items()
    ]
    if decimal == ",":
        cells = [[c.replace(".", ",") for c in column] for column in cells]
    return [delimiter.join(columns), *map(delimiter.join, zip(*cells, strict=True))]


@pytest.fixture
def columns() -> Columns:
    return make_columns()


@pytest.fixture
def build() -> Callable[..., Columns]:
    return make_columns


@pytest.fixture
def render() -> Callable[..., list[str]]:
    return render_lines


@pytest.fixture
def put(tmp_path: Path) -> Callable[..., Path]:
    """Write columns, lines, text or bytes to a file and give its path."""

    def write(content: Columns | list[str] | str | bytes, name: str = "s.csv") -> Path:
        if isinstance(content, dict):
            content = render_lines(content)
        if isinstance(content, list):
            content = "\n".join(content) + "\n"
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


@pytest.fixture
def expect() -> Callable[..., tuple[Message, Inspection]]:
    """Hold a file's outcome, and what one message of that outcome must carry, against it."""

    def check(path: Path, outcome: str, *parts: str, **options: Any) -> tuple[Message, Inspection]:
        inspection = inspect_log(path, **options)
        texts = [m.text for m in inspection.messages]
        assert inspection.outcome == outcome, texts
        worst = [m for m in inspection.messages if m.outcome == outcome]
        found = [m for m in worst if all(p in m.text for p in parts)]
        assert found, (parts, texts)
        assert found[0].text.startswith(path.name)
        return found[0], inspection

    return check
