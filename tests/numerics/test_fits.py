"""Quantile planes and resampling against linear programming and closed forms."""

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.stats import norm

from lapwright.errors import NoAnswerError
from lapwright.numerics.fits import (
    find_medians,
    find_quantile,
    fit_least,
    fit_quantile,
    interval_of,
    noise_quantile,
    pinball_loss,
    resample_groups,
)


def invented(seed: int, k: int = 400):
    rng = np.random.default_rng(seed)
    x = np.c_[np.ones(k), rng.uniform(0, 50, k) ** 2, rng.normal(0, 1, k)]
    return x, x @ [12.0, 0.003, 0.8] - rng.exponential(1.0, k)


@pytest.mark.parametrize("tau", [0.5, 0.9, 0.97])
@pytest.mark.parametrize("seed", [1, 2])
def test_quantile_plane_has_the_least_loss_that_linear_programming_finds(tau: float, seed: int):
    # Quantile regression as a linear program (Koenker and Bassett 1978), solved by scipy.
    x, y = invented(seed)
    k = y.size
    cost = np.r_[np.zeros(3), np.full(k, tau), np.full(k, 1 - tau)]
    exact = linprog(
        cost, A_eq=np.c_[x, np.eye(k), -np.eye(k)], b_eq=y,
        bounds=[(None, None)] * 3 + [(0, None)] * (2 * k),
    )  # fmt: skip
    ours = pinball_loss(y - x @ fit_quantile(x, y, tau), tau)
    assert ours == pytest.approx(exact.fun, rel=2e-3)


def test_whole_weights_act_as_repeated_points():
    x, y = invented(3, 150)
    w = np.random.default_rng(0).integers(0, 4, 150)
    again = np.repeat(np.arange(150), w)
    one = fit_quantile(x, y, 0.9, weights=w.astype(float))
    two = fit_quantile(x[again], y[again], 0.9)
    assert x @ one == pytest.approx(x @ two, abs=0.02)


def test_stiff_prior_holds_what_points_do_not_settle():
    x = np.c_[np.ones(50), np.full(50, 2.0)]
    y = 5.0 + np.linspace(-0.1, 0.1, 50)
    beta = fit_quantile(x, y, 0.5, prior=np.array([0.0, 1.0]), stiffness=np.array([0.0, 10.0]))
    assert beta == pytest.approx([3.0, 1.0], abs=1e-2)


def test_coefficients_that_cannot_be_told_apart_have_no_answer():
    x = np.c_[np.ones(50), np.full(50, 2.0)]
    with pytest.raises(NoAnswerError):
        fit_least(x, np.ones(50), np.ones(50), np.zeros(2), np.zeros(2))


def test_noise_lifts_the_quantile_of_a_pile_by_what_is_told():
    rng = np.random.default_rng(4)
    share, tau = 0.3, 0.97
    at = rng.random(400_000) < share
    seen = np.where(at, 10.0, 5.0) + 0.2 * rng.standard_normal(at.size)
    lifted = (find_quantile(seen, tau) - 10.0) / 0.2
    assert noise_quantile(tau, share) == pytest.approx(lifted, abs=0.02)
    assert noise_quantile(0.95, 1.0) == pytest.approx(norm.ppf(0.95))


def test_interval_of_a_mean_is_students():
    # The bootstrap of a mean has the spread s/√n with n in the variance (closed form).
    y = np.random.default_rng(5).normal(3.0, 1.0, 12)
    found = resample_groups(lambda c: np.array([c @ y / 12]), 12, resamples=8000, seed=1)
    low, high = interval_of(float(y.mean()), found[:, 0], 12)
    half = 1.7959 * y.std(ddof=1) / np.sqrt(12)  # t(0.95, 11) = 1.7959, any table
    assert (high - low) / 2 == pytest.approx(half, rel=0.03)
    assert np.isnan(interval_of(1.0, found[:, 0], 1)[0])


def test_weighted_quantile_of_equal_weights_is_the_median():
    assert find_quantile(np.array([3.0, 1.0, 2.0]), 0.5, np.ones(3)) == pytest.approx(2.0)
    assert np.isnan(find_quantile(np.zeros(0), 0.5))


def test_medians_of_columns_are_numpys():
    rng = np.random.default_rng(3)
    for rows in (1, 2, 3, 8, 11):
        values = rng.standard_normal((rows, 40))
        values[rng.random(values.shape) < 0.3] = np.nan
        known = np.isfinite(values).any(axis=0)
        found = find_medians(values)
        np.testing.assert_array_equal(found[known], np.nanmedian(values[:, known], axis=0))
        assert np.isnan(found[~known]).all()
        row = values[:, known][:, 0]
        assert find_medians(row) == np.nanmedian(row)
