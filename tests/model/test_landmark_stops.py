"""Standing beside a thing on a mapping lap marks it; an invented drive round a ring."""

from __future__ import annotations

import numpy as np
import pytest

from lapwright.model.build_circuit import build_circuit_from_centre
from lapwright.model.circuit import Circuit
from lapwright.model.drive import Drive, build_drive
from lapwright.model.landmark_stops import find_landmark_stops
from lapwright.model.recording import Channel, Recording

RADIUS = 150.0
RATE = 20.0


def ring() -> Circuit:
    angle = np.linspace(0.0, 2 * np.pi, 400, endpoint=False)
    wide = np.full(400, 5.0)
    return build_circuit_from_centre(RADIUS * np.cos(angle), RADIUS * np.sin(angle), wide, wide)


def drive(stops: dict[float, float], off: float) -> Drive:
    """Drive one lap and a bit at 8 m/s, ``off`` m to the right; stand at places for a while."""
    speed, path, at = [], 0.0, 0
    places = sorted(stops)
    while path < 2 * np.pi * RADIUS + 30.0:
        ahead = places[at] - path if at < len(places) else 1e9
        v = min(8.0, np.sqrt(max(2 * 2.0 * ahead, 0.0)))
        if ahead < 0.05:
            speed += [0.0] * round(stops[places[at]] * RATE)
            at += 1
            continue
        speed.append(max(v, 0.3))
        path += speed[-1] / RATE
    v = np.array([5.0] * 20 + speed)
    s = np.cumsum(v) / RATE - 5.0
    r = RADIUS + off
    noise = 0.02 * np.random.default_rng(3).standard_normal((2, v.size))
    t = np.arange(v.size) / RATE
    values = {
        "x": ("m", r * np.cos(s / RADIUS) + noise[0]),
        "y": ("m", r * np.sin(s / RADIUS) + noise[1]),
        "speed": ("m/s", v * r / RADIUS),
    }  # fmt: skip
    channels = {n: Channel(n, unit, t, value, n) for n, (unit, value) in values.items()}
    return build_drive(Recording("mapping.csv", "", channels))


@pytest.mark.parametrize("off", [2.0, -2.0])
def test_each_stop_marks_a_thing_on_its_side(off: float) -> None:
    road = ring()
    marks = find_landmark_stops(drive({120.0: 3.5, 480.0: 3.5, 700.0: 1.0}, off), road)
    assert [m.name for m in marks] == ["landmark 1", "landmark 2"]
    assert [m.at_m for m in marks] == pytest.approx([120.0, 480.0], abs=1.5)
    # anticlockwise: what lies outside of the ring is to the right
    assert [m.off_m for m in marks] == pytest.approx([-5.0 * np.sign(off)] * 2, abs=0.1)


def test_a_drive_without_stops_marks_nothing() -> None:
    assert find_landmark_stops(drive({}, 1.0), ring()) == ()
