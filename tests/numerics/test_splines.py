"""Periodic splines against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from lapwright.numerics.splines import build_periodic_spline


@pytest.mark.parametrize("columns", [(), (2,)])
@pytest.mark.parametrize("even", [True, False])
@pytest.mark.parametrize("n", [3, 300])
def test_agrees_with_scipy(columns: tuple[int, ...], even: bool, n: int) -> None:
    rng = np.random.default_rng(4)
    steps = np.ones(n) if even else rng.uniform(0.05, 6.0, n)
    knots = np.r_[0.0, np.cumsum(steps)]
    values = np.cumsum(rng.normal(size=(n + 1, *columns)), axis=0)
    values[-1] = values[0]
    ours, theirs = (
        build_periodic_spline(knots, values),
        CubicSpline(knots, values, bc_type="periodic"),
    )
    places = np.r_[knots, rng.uniform(0, knots[-1], 500)]
    for order in (0, 1, 2):
        expected = theirs(places, order)
        assert ours.at(places, order) == pytest.approx(expected, abs=1e-9 * np.abs(expected).max())


def test_cubic_error_on_a_sine() -> None:
    # a cubic spline misses a smooth curve by 5/384 h⁴ max|f⁗| at most (from memory)
    knots = np.linspace(0, 2 * np.pi, 41)
    spline = build_periodic_spline(knots, np.sin(knots))
    at = np.linspace(0, 2 * np.pi, 1001)
    assert np.abs(spline.at(at) - np.sin(at)).max() <= 1.1 * 5 / 384 * (np.pi / 20) ** 4
