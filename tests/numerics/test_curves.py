"""Closed curves against closed forms; all curves are invented, textbook plane geometry."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import cumulative_trapezoid
from scipy.special import ellipe

from lapwright.errors import UsageError
from lapwright.numerics.curves import (
    ClosedCurve,
    at_places,
    derivative_closed,
    fit_closed_curve,
    point_length,
    points_at,
    project_path,
    smooth_closed,
    total_turn,
)

Array = NDArray[np.float64]
#: The lemniscate constant: the curve r² = a² cos 2θ is 2ϖa long (a tabulated constant).
LEMNISCATE = 2.622057554292119


def around(count: int) -> Array:
    return np.arange(count) * (2 * np.pi / count)


def ellipse(a: float = 220.0, b: float = 90.0, count: int = 240) -> tuple[Array, Array]:
    t = around(count)
    return a * np.cos(t), b * np.sin(t)


def eight(a: float = 180.0, count: int = 260) -> tuple[Array, Array]:
    """Bernoulli's lemniscate, begun half a step beside the crossing."""
    t = around(count) + 0.01
    return a * np.cos(t) / (1 + np.sin(t) ** 2), a * np.sin(t) * np.cos(t) / (1 + np.sin(t) ** 2)


def road(*pieces: tuple[float, float], step: float = 0.5) -> tuple[Array, Array, float]:
    """Points of straights (length, 0) and left arcs (length, radius), and the exact length."""
    lengths = np.array([p[0] for p in pieces])
    bends = np.array([1 / p[1] if p[1] else 0.0 for p in pieces])
    ends = np.cumsum(lengths)
    s = np.arange(0.0, ends[-1] - step / 2, step)
    turned = np.append(0.0, np.cumsum(lengths * bends))
    k = np.searchsorted(ends, s, side="right")
    begin = np.append(0.0, ends)
    # each arc and straight exactly, from where the one before ended
    px, py = np.zeros(ends.size + 1), np.zeros(ends.size + 1)
    for i, (length, bend) in enumerate(zip(lengths, bends, strict=True)):
        dx, dy = piece(turned[i], bend, np.array([length]))
        px[i + 1], py[i + 1] = px[i] + dx[0], py[i] + dy[0]
    x, y = np.zeros(s.size), np.zeros(s.size)
    for i in range(ends.size):
        own = k == i
        dx, dy = piece(turned[i], bends[i], s[own] - begin[i])
        x[own], y[own] = px[i] + dx, py[i] + dy
    assert np.hypot(px[-1], py[-1]) < 1e-9  # the road closes
    return x, y, float(ends[-1])


def piece(heading: float, bend: float, along: Array) -> tuple[Array, Array]:
    if bend == 0:
        return along * np.cos(heading), along * np.sin(heading)
    end = heading + bend * along
    return (np.sin(end) - np.sin(heading)) / bend, (np.cos(heading) - np.cos(end)) / bend


def quarter(radius: float) -> tuple[float, float]:
    return (np.pi / 2 * radius, radius)


def gap(a: Array, b: Array, length: float) -> Array:
    """Signed difference of places on a closed curve."""
    return (a - b + length / 2) % length - length / 2


def test_circle_has_its_length_and_curvature():
    t = around(120)
    curve = fit_closed_curve(100 * np.cos(t), 100 * np.sin(t), wavelength_m=0)
    assert curve.length_m == pytest.approx(2 * np.pi * 100, rel=1e-5)
    # a cubic spline through points h apart bends by up to h²/12R² too much or little: 2e-4
    np.testing.assert_allclose(curve.curvature, 1 / 100, rtol=2.3e-4)
    assert total_turn(curve) == 1


def test_smoothing_of_fifteen_metres_leaves_a_hairpin_of_twelve_alone():
    # half of the size is kept at the wavelength λ: a circle's wave is its girth, 75 m
    t = around(60)
    curve = fit_closed_curve(12 * np.cos(t), 12 * np.sin(t), step_m=1.0)
    np.testing.assert_allclose(curve.curvature, 1 / 12, rtol=2e-3)


@pytest.mark.parametrize("wavelength", [0.0, 15.0])
def test_ellipse_has_its_curvature_and_girth(wavelength: float):
    a, b = 220.0, 90.0
    curve = fit_closed_curve(*ellipse(a, b), wavelength_m=wavelength)
    # girth 4 a E(e²), curvature a b / (a² sin² t + b² cos² t)^(3/2)
    assert curve.length_m == pytest.approx(4 * a * ellipe(1 - (b / a) ** 2), rel=1e-5)
    t = np.arctan2(curve.y / b, curve.x / a)
    exact = a * b / (a**2 * np.sin(t) ** 2 + b**2 * np.cos(t) ** 2) ** 1.5
    np.testing.assert_allclose(curve.curvature, exact, rtol=2e-3)
    np.testing.assert_allclose(
        np.cos(curve.heading - np.arctan2(b * np.cos(t), -a * np.sin(t))), 1.0, atol=1e-6
    )


def test_bends_that_change_evenly_are_followed():
    # κ(s) = 2π/L (1 + 0.8 cos(4πs/L)): like a spiral's, its bend changes with distance;
    # half a turn after half a lap, so it closes
    length = 1200.0
    s = np.linspace(0, length, 48001)
    heading = 2 * np.pi * s / length + 0.4 * np.sin(4 * np.pi * s / length)
    x, y = (cumulative_trapezoid(f(heading), s, initial=0) for f in (np.cos, np.sin))
    curve = fit_closed_curve(x[:-1:160], y[:-1:160])
    exact = 2 * np.pi / length * (1 + 0.8 * np.cos(4 * np.pi * curve.s / length))
    assert curve.length_m == pytest.approx(length, rel=1e-5)
    np.testing.assert_allclose(curve.curvature, exact, atol=2e-6)
    np.testing.assert_allclose(curve.heading, np.interp(curve.s, s, heading), atol=1e-4)


def test_stadium_keeps_straights_straight_and_half_circles_round():
    # two 500 m straights, two half circles of radius 50 m
    half = (np.pi * 50.0, 50.0)
    x, y, length = road((500.0, 0.0), half, (500.0, 0.0), half, step=2.0)
    curve = fit_closed_curve(x, y)
    assert curve.length_m == pytest.approx(length, rel=1e-3)
    assert length == pytest.approx(1000 + 100 * np.pi)
    assert total_turn(curve) == 1
    straight = (curve.s > 40) & (curve.s < 460)
    assert np.abs(curve.curvature[straight]).max() < 2e-4
    round_part = (curve.s > 530) & (curve.s < 500 + 50 * np.pi - 30)
    np.testing.assert_allclose(curve.curvature[round_part], 0.02, rtol=0.02)
    assert np.mean(curve.curvature) * curve.length_m == pytest.approx(2 * np.pi, abs=1e-3)


def test_oval_of_two_radii_is_measured():
    # S150 L90°R50 S100 L90°R90 S300 L90°R50 S100 L90°R90 S150; as a closed road the last
    # straight ends after 150 m
    pieces = (
        (150.0, 0.0), quarter(50), (100.0, 0.0), quarter(90), (300.0, 0.0),
        quarter(50), (100.0, 0.0), quarter(90), (150.0, 0.0),
    )  # fmt: skip
    x, y, length = road(*pieces, step=2.0)
    curve = fit_closed_curve(x, y)
    assert curve.length_m == pytest.approx(length, rel=1e-3)
    middles = (150 + 25 * np.pi, 250 + 25 * np.pi + 45 * np.pi / 2)
    first = at_places(curve.length_m, curve.curvature, 150 + np.pi * 12.5)
    second = at_places(curve.length_m, curve.curvature, middles[1])
    assert first == pytest.approx(1 / 50, rel=0.03)
    assert second == pytest.approx(1 / 90, rel=0.03)


def test_lemniscate_has_its_length_and_curvature():
    a = 180.0
    curve = fit_closed_curve(*eight(a))
    assert curve.length_m == pytest.approx(2 * LEMNISCATE * a, rel=2e-4)
    # |κ| = 3 r / a²
    exact = 3 * np.hypot(curve.x, curve.y) / a**2
    np.testing.assert_allclose(np.abs(curve.curvature), exact, atol=2e-4)
    assert total_turn(curve) == 0


@pytest.mark.parametrize("n", [-3.0, 0.0, 4.0])
def test_figure_of_eight_is_followed_without_a_jump(n: float):
    curve = fit_closed_curve(*eight())
    want = 20.0 + np.arange(0.0, 2.4 * curve.length_m, 0.7)
    s, found = project_path(curve, *points_at(curve, want, n))
    np.testing.assert_allclose(s, want, atol=0.02)
    np.testing.assert_allclose(found, n, atol=0.02)
    assert np.diff(s).min() > 0


def test_direction_tells_the_branch_where_a_path_begins_on_the_crossing():
    curve = fit_closed_curve(*eight())
    crossing = np.sort(np.argsort(np.hypot(curve.x, curve.y))[:12])
    branches = [b[0] for b in np.split(crossing, np.flatnonzero(np.diff(crossing) > 20) + 1)]
    assert len(branches) == 2
    for i in branches:
        s, _ = project_path(curve, np.zeros(1), np.zeros(1), curve.heading[[i]])
        assert abs(gap(s, curve.s[[i]], curve.length_m)[0]) < 12


def test_known_places_on_a_circle_are_found():
    t = around(120)
    curve = fit_closed_curve(100 * np.cos(t), 100 * np.sin(t), wavelength_m=0)
    # a left-hand circle: n metres to the left is at radius 100 − n
    angle, n = np.linspace(0.1, 3.9 * np.pi, 500), 8 * np.sin(np.linspace(0, 40, 500))
    s, found = project_path(curve, (100 - n) * np.cos(angle), (100 - n) * np.sin(angle))
    np.testing.assert_allclose(s, 100 * angle, atol=0.01)
    np.testing.assert_allclose(found, n, atol=0.01)


def test_missing_points_stay_missing_and_do_not_lose_the_lap():
    curve = fit_closed_curve(*ellipse())
    want = np.arange(1.0, 1.8 * curve.length_m, 2.0)  # 0 might come back as a whole lap
    x, y = points_at(curve, want, 1.5)
    x[40:60] = np.nan
    s, n = project_path(curve, x, y)
    assert np.isnan(s[40:60]).all()
    assert np.isnan(n[40:60]).all()
    good = np.isfinite(x)
    np.testing.assert_allclose(s[good], want[good], atol=0.02)


def test_path_that_went_far_away_is_found_again():
    curve = fit_closed_curve(*ellipse())
    want = np.concatenate([np.arange(0.0, 100, 2), np.arange(400.0, 500, 2)])
    x, y = points_at(curve, want, 1.0)
    far = np.linspace(0, 1, 60)
    away = np.sin(np.pi * far) * 300
    fx, fy = x[49] + (x[50] - x[49]) * far + away, y[49] + (y[50] - y[49]) * far + away
    s, n = project_path(curve, np.r_[x[:50], fx, x[50:]], np.r_[y[:50], fy, y[50:]])
    np.testing.assert_allclose(gap(s[-50:], want[50:], curve.length_m), 0.0, atol=0.05)
    np.testing.assert_allclose(n[-50:], 1.0, atol=0.05)


def test_driving_back_counts_back():
    curve = fit_closed_curve(*ellipse())
    want = np.concatenate([np.arange(10.0, 90, 1), np.arange(90.0, -40, -1)])
    s, _ = project_path(curve, *points_at(curve, want))
    np.testing.assert_allclose(s, want, atol=0.02)


def test_smoothing_halves_what_has_the_wavelength():
    # the filter 1 / (1 + (λ/wave)⁶): ½ at the wavelength, 1/65 at half of it
    s = np.arange(600.0)
    for waves, kept in ((40, 0.5), (80, 1 / 65), (20, 64 / 65)):
        wave = np.cos(2 * np.pi * waves * s / 600)
        np.testing.assert_allclose(smooth_closed(wave, 600.0, 15.0), kept * wave, atol=1e-12)


@pytest.mark.parametrize("count", [256, 257])
def test_derivatives_of_a_wave_are_exact(count: int):
    s = np.arange(count) * (500.0 / count)
    w = 2 * np.pi * 7 / 500
    first, second = (derivative_closed(np.sin(w * s), 500.0, k) for k in (1, 2))
    np.testing.assert_allclose(first, w * np.cos(w * s), atol=1e-12)
    np.testing.assert_allclose(second, -(w**2) * np.sin(w * s), atol=1e-12)


def test_length_of_a_square():
    assert point_length([0, 3, 3, 0], [0, 0, 3, 3], closed=True) == 12
    assert point_length([0, 3, 3, 0], [0, 0, 3, 3], closed=False) == 9


def test_repeated_first_point_makes_no_difference():
    x, y = ellipse()
    a = fit_closed_curve(x, y)
    b = fit_closed_curve(np.append(x, x[0]), np.append(y, y[0]))
    np.testing.assert_allclose(a.curvature, b.curvature, atol=1e-12)


@pytest.mark.parametrize(
    ("x", "y", "word"),
    [
        (np.arange(5.0), np.arange(5.0), "5 distinct"),
        (np.zeros(50), np.zeros(50), "0 distinct"),
        (np.r_[np.arange(20.0), np.nan], np.arange(21.0), "not finite"),
    ],
)
def test_points_that_make_no_curve_are_named(x: Array, y: Array, word: str):
    with pytest.raises(UsageError, match=word):
        fit_closed_curve(x, y)


def wobbly(seed: int) -> tuple[Array, Array]:
    """Invented smooth closed curve without a crossing."""
    rng = np.random.default_rng(seed)
    t = around(200)
    r = 200 * (1 + sum(rng.uniform(-0.12, 0.12) / k * np.cos(k * t + rng.uniform(0, 6))
                       for k in (1, 2, 3)))  # fmt: skip
    return r * np.cos(t), r * np.sin(t)


seeds = st.integers(0, 10_000)


def turned(x: Array, y: Array, angle: float, dx: float, dy: float) -> tuple[Array, Array]:
    c, s = np.cos(angle), np.sin(angle)
    return c * x - s * y + dx, s * x + c * y + dy


@settings(max_examples=20)
@given(seeds, st.floats(-3.1, 3.1), st.floats(-5e3, 5e3), st.floats(-5e3, 5e3))
def test_turning_and_moving_the_plane_changes_no_shape(
    seed: int, angle: float, dx: float, dy: float
):
    x, y = wobbly(seed)
    a, b = fit_closed_curve(x, y), fit_closed_curve(*turned(x, y, angle, dx, dy))
    assert b.length_m == pytest.approx(a.length_m, rel=1e-9)
    np.testing.assert_allclose(b.curvature, a.curvature, atol=1e-8)
    np.testing.assert_allclose(np.cos(b.heading - a.heading - angle), 1.0, atol=1e-9)


@settings(max_examples=20)
@given(seeds, st.integers(0, 199))
def test_where_the_points_begin_changes_no_shape(seed: int, shift: int):
    x, y = wobbly(seed)
    a = fit_closed_curve(x, y)
    b = fit_closed_curve(np.roll(x, -shift), np.roll(y, -shift))
    assert b.length_m == pytest.approx(a.length_m, rel=1e-6)
    s, n = project_path(a, b.x, b.y)
    assert np.abs(n).max() < 0.01
    np.testing.assert_allclose(b.curvature, at_places(a.length_m, a.curvature, s), atol=1e-4)


@settings(max_examples=20)
@given(seeds)
def test_the_other_way_round_bends_the_other_way(seed: int):
    x, y = wobbly(seed)
    a, b = fit_closed_curve(x, y), fit_closed_curve(x[::-1], y[::-1])
    assert (total_turn(a), total_turn(b)) == (1, -1)
    s, _ = project_path(a, b.x, b.y)
    assert np.median(np.diff(s)) < 0
    np.testing.assert_allclose(b.curvature, -at_places(a.length_m, a.curvature, s), atol=1e-4)


@settings(max_examples=20)
@given(seeds, st.floats(-10, 10), st.floats(0, 5000))
def test_projection_undoes_points_at(seed: int, n: float, begin: float):
    curve: ClosedCurve = fit_closed_curve(*wobbly(seed))
    want = begin + np.arange(0.0, 300.0, 3.0)
    s, found = project_path(curve, *points_at(curve, want, n))
    np.testing.assert_allclose(gap(s, want, curve.length_m), 0.0, atol=0.02)
    np.testing.assert_allclose(found, n, atol=0.02)
