"""A circuit from nothing but laps: invented roads whose middle and use are known."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.model.build_circuit import curve_of
from lapwright.model.circuit_from_laps import HALF_CAR_M, build_circuit_from_laps, find_laps_in
from lapwright.model.split_laps import Placed, choose_start
from lapwright.numerics.curves import at_places, fit_closed_curve, project_path
from lapwright.numerics.motion import estimate_motion
from lapwright.numerics.series import Motion, Series

Array = NDArray[np.float64]
TURN = 2 * np.pi
RATE_HZ = 25.0


def bean(angle: Array) -> tuple[Array, Array]:
    """An invented closed road without a crossing, anticlockwise."""
    r = 180 * (1 + 0.2 * np.cos(2 * angle) + 0.06 * np.cos(3 * angle))
    return r * np.cos(angle), r * np.sin(angle)


def eight(angle: Array) -> tuple[Array, Array]:
    """An invented road that crosses over itself."""
    return 260 * np.sin(angle), 120 * np.sin(2 * angle)


def beside(road, angle: Array, n: Array | float) -> tuple[Array, Array]:
    """Points n metres to the left of a road."""
    (ax, ay), (bx, by), (x, y) = (road(angle + d) for d in (-1e-4, 1e-4, 0.0))
    heading = np.arctan2(by - ay, bx - ax)
    return x - n * np.sin(heading), y + n * np.cos(heading)


def drive(road, begin: float, end: float, offset=lambda angle: 0.0 * angle) -> Motion:
    """Drive at 25 to 35 m/s with 2 cm of noise."""
    angle = np.arange(begin, end, 0.0005)
    x, y = beside(road, angle, offset(angle))
    place = np.append(0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y))))
    speed = 30 + 5 * np.cos(angle)
    clock = np.append(0.0, np.cumsum(np.diff(place) / speed[1:]))
    time = np.arange(0.0, clock[-1], 1 / RATE_HZ)
    rng = np.random.default_rng(4)
    noisy = [np.interp(time, clock, v) + 0.02 * rng.standard_normal(time.size) for v in (x, y)]
    return estimate_motion(
        {
            "x": Series(time, noisy[0]),
            "y": Series(time, noisy[1]),
            "speed": Series(time, np.interp(time, clock, speed)),
        }
    )


def girth(road) -> float:
    x, y = road(np.linspace(0, TURN, 20001))
    return float(np.hypot(np.diff(x), np.diff(y)).sum())


def weaving(angle: Array) -> Array:
    """Three laps: 3 m left, 1 m left and 2 m right of the middle."""
    lap = np.floor(angle / TURN)
    share = np.clip((angle / TURN - lap) * 12, 0, 1)
    wanted = np.array([3.0, 3.0, 1.0, -2.0, -2.0])
    k = np.clip(lap.astype(int) + 1, 0, 4)
    before = wanted[np.clip(k - 1, 0, 4)]
    return before + (wanted[k] - before) * share**2 * (3 - 2 * share)


def test_edges_are_the_road_seen_in_use():
    circuit = build_circuit_from_laps([drive(bean, -0.5, 3 * TURN + 0.5, weaving)], file="s.csv")
    assert not circuit.surveyed
    assert circuit.turns == "anticlockwise"
    # away from the lane changes and where the laps are parted, the outer ones ran 3 m left and
    # 2 m right of the middle
    angle = np.linspace(1.2, 5.5, 300)
    for n, edge in ((3.0, "left"), (-2.0, "right")):
        s, found = project_path(curve_of(circuit), *beside(bean, angle, n))
        width = at_places(circuit.length_m, getattr(circuit, edge), s)
        np.testing.assert_allclose(width, np.abs(found) + HALF_CAR_M, atol=0.3)


def test_of_many_laps_some_make_the_line_and_all_the_edges(monkeypatch):
    monkeypatch.setattr("lapwright.model.circuit_from_laps.ENOUGH_LAPS", 2)

    def aside(angle):
        """The second and the fourth lap run 3 m left of the others; the first and third count."""
        lap = np.round(angle / TURN - 0.5)
        inside = np.abs(angle - (lap + 0.5) * TURN) < 0.45 * TURN
        return np.where(inside & (lap % 2 == 1), 3.0, 0.0)

    motion = drive(bean, -0.5, 4 * TURN + 0.5, aside)
    circuit = build_circuit_from_laps([motion], file="s.csv")
    angle = np.linspace(1.5, 4.8, 300)  # away from the steps at both ends of a lap
    s, n = project_path(curve_of(circuit), *beside(bean, angle, 0.0))
    assert np.abs(n).max() < 0.25  # the middle of all four would lie 1.5 m off
    left = at_places(circuit.length_m, circuit.left, s)
    np.testing.assert_allclose(left, 3.0 + HALF_CAR_M, atol=0.4)


def test_laps_that_end_elsewhere_than_they_began_leave_no_kink():
    circuit = build_circuit_from_laps([drive(bean, -0.5, 3 * TURN + 0.5, weaving)], file="s.csv")
    true = fit_closed_curve(*bean(np.arange(300) * (TURN / 300)))
    s, _ = project_path(true, circuit.x, circuit.y)
    bend = at_places(true.length_m, true.curvature, s)
    # a step of 2 m bridged over the smoothing's 20 m bends by up to 6·2/20² = 0.03 1/m (0.017
    # were measured), the laps' own lane changes by 0.002; 0.0049 is reached
    assert np.abs(circuit.curvature - bend).max() < 0.006


@pytest.mark.parametrize(("road", "turns"), [(bean, "anticlockwise"), (eight, "crossing")])
def test_line_has_the_length_and_shape_of_the_laps(road, turns: str):
    circuit = build_circuit_from_laps([drive(road, -0.5, 3 * TURN + 0.5)], file="s.csv")
    assert circuit.turns == turns
    assert circuit.length_m == pytest.approx(girth(road), rel=0.003)
    s, n = project_path(curve_of(circuit), *road(np.linspace(0.1, 2.2 * TURN, 3000)))
    assert np.abs(n).max() < 0.3
    assert np.diff(s).min() > 0  # the crossing is passed without a jump
    assert np.diff(s).max() < 3


def test_laps_of_two_logs_share_one_line():
    motions = [drive(bean, -0.5, 2 * TURN + 0.5, lambda a: 2 + 0 * a), drive(bean, 0, 2 * TURN + 1)]
    circuit = build_circuit_from_laps(motions, file="s.csv")
    assert circuit.length_m == pytest.approx(girth(bean), rel=0.02)
    assert np.median(circuit.left + circuit.right) == pytest.approx(2 + 2 * HALF_CAR_M, abs=0.3)


def test_heights_are_those_driven():
    motion = drive(bean, -0.5, 3 * TURN + 0.5)
    # an invented plane, 4 % up along x
    circuit = build_circuit_from_laps([motion], [0.04 * motion.x], file="s.csv")
    assert circuit.has_heights
    np.testing.assert_allclose(circuit.z, 0.04 * circuit.x, atol=0.25)
    np.testing.assert_allclose(circuit.slope, 0.04 * np.cos(circuit.heading), atol=0.01)
    assert not circuit.banking.any()


def test_an_out_lap_from_elsewhere_does_not_bend_the_line():
    away = drive(bean, -1.5, 3 * TURN + 0.5, lambda a: np.where(a < 0, -40 * np.clip(-a, 0, 1), 0))
    circuit = build_circuit_from_laps([away], file="s.csv")
    _, n = project_path(curve_of(circuit), *bean(np.linspace(0.1, TURN, 800)))
    assert np.abs(n).max() < 0.3


def test_each_closed_lap_is_found_once():
    motion = drive(bean, -0.5, 3 * TURN + 0.5)
    spans = find_laps_in(motion)
    assert len(spans) in (2, 3)
    driven = np.append(0.0, np.cumsum(np.hypot(np.diff(motion.x), np.diff(motion.y))))
    for a, b in spans:
        assert np.hypot(motion.x[b] - motion.x[a], motion.y[b] - motion.y[a]) < 6.0
        assert driven[b] - driven[a] == pytest.approx(girth(bean), abs=8.0)


@pytest.mark.parametrize("end", [0.2, 4.0])
def test_road_that_never_closes_is_no_circuit(end: float):
    with pytest.raises(InputError, match="no place is passed twice in the same direction"):
        build_circuit_from_laps([drive(bean, 0.0, end)], file="s.csv")


def test_the_start_is_not_put_where_it_would_spoil_two_laps():
    """A lap left the road for 160 m; a start amid them, fast as it is, would part it in two."""
    s = np.arange(0.0, 4200.0)
    beyond = np.where((s >= 1920.0) & (s <= 2080.0), 20.0, -3.0)
    speed = np.where(np.abs(np.mod(s, 1000.0) - 25.0) <= 20.0, 40.0, 30.0)
    drive = SimpleNamespace(motion=SimpleNamespace(speed=speed))
    road = SimpleNamespace(length_m=1000.0, curvature=np.zeros(500), surveyed=True)
    start = choose_start([drive], [Placed(s, 0.0 * s, beyond, False)], road)
    assert 50.0 <= start < 200.0  # within 3 % of a lap of its end no lap is spoilt
