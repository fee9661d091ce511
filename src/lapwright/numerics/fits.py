"""Fits to what points show: quantile planes by pinball loss, and resampling by groups."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, t

from lapwright.errors import NoAnswerError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def pinball_loss(residual: Array, tau: float, weights: Array | None = None) -> float:
    """Sum of τ r where r > 0 and (τ − 1) r elsewhere; its least is at the τ quantile."""
    loss = np.where(residual > 0, tau * residual, (tau - 1) * residual)
    return float(loss.sum() if weights is None else weights @ loss)


def fit_least(rows: Array, y: Array, weights: Array, prior: Array, stiffness: Array) -> Array:
    """Weighted least squares drawn to a prior.

    Minimises Σ w (y − X β)² + Σ k (β − prior)²; a stiffness k of 0 leaves a
    coefficient free.

    Raises
    ------
    NoAnswerError
        When the rows do not settle the coefficients.
    """
    heavy = rows * weights[:, None]
    normal = rows.T @ heavy + np.diag(stiffness)
    size = np.sqrt(np.diag(normal))
    if not np.all(np.isfinite(size)) or size.min() <= 0:
        raise NoAnswerError("A fit has no support: a coefficient never varies")
    scaled = normal / np.outer(size, size)
    if np.linalg.cond(scaled) > 1e10:
        raise NoAnswerError("A fit has no support: its coefficients cannot be told apart")
    right = heavy.T @ y + stiffness * prior
    return np.asarray(np.linalg.solve(scaled, right / size) / size)


def fit_quantile(
    rows: Array, y: Array, tau: float, *, weights: Array | None = None,
    prior: Array | None = None, stiffness: Array | None = None, start: Array | None = None,
    steps: int = 60,
) -> Array:  # fmt: skip
    """Coefficients β of the plane Xβ that a share τ of ``y`` lies below.

    Parameters
    ----------
    rows, y
        X of shape (k, m) and y of shape (k,).
    tau
        Share in 0 to 1.
    weights
        Of the points, (k,); whole numbers act as repeated points.
    prior, stiffness
        (m,): adds Σ stiffness (β − prior)² / 2 to the pinball loss.
    start
        A first guess.
    steps
        Most steps taken.

    Notes
    -----
    The majorise–minimise steps of Hunter and Lange (2000) for quantile regression:
    with ε small, weights 1 / (2 (ε + |r|)) and a pull of τ − ½ to one side.

    Raises
    ------
    NoAnswerError
        When the rows do not settle the coefficients.
    """
    count = rows.shape[1]
    w = np.ones(y.size) if weights is None else weights
    prior = np.zeros(count) if prior is None else prior
    stiffness = np.zeros(count) if stiffness is None else stiffness
    beta = fit_least(rows, y, w, prior, stiffness) if start is None else start
    width = max(float(np.ptp(y)), 1e-6)
    pull = (tau - 0.5) * (rows.T @ w)
    least = 1e-4 * width
    for _ in range(steps):
        near = w / (2 * (least + np.abs(y - rows @ beta)))
        heavy = rows * near[:, None]
        normal = rows.T @ heavy + np.diag(stiffness) / 2
        right = heavy.T @ y + pull + stiffness * prior / 2
        new = _solved(normal, right)
        moved = float(np.abs(rows[:: max(y.size // 64, 1)] @ (new - beta)).max())
        beta = new
        if moved < 1e-5 * width:
            break
    return beta


def _solved(normal: Array, right: Array) -> Array:
    size = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    try:
        return np.asarray(np.linalg.solve(normal / np.outer(size, size), right / size) / size)
    except np.linalg.LinAlgError as error:
        raise NoAnswerError("A fit has no support: its coefficients are not settled") from error


def find_quantile(values: Array, tau: float, weights: Array | None = None) -> float:
    """Weighted τ quantile; NaN of nothing."""
    if values.size == 0:
        return float("nan")
    if weights is None:
        return float(np.quantile(values, tau))
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    if total[-1] <= 0:
        return float("nan")
    return float(np.interp(tau * total[-1], total - weights[order] / 2, values[order]))


def noise_quantile(tau: float, share: float) -> float:
    """Find the standard normal quantile z by which noise lifts the τ quantile of points at a limit.

    Where only a ``share`` of the points stands at the limit and all others well below,
    the τ quantile of all is the 1 − (1 − τ)/share quantile of those.
    """
    level = 1 - (1 - tau) / max(share, 1e-9)
    return max(float(norm.ppf(level)), 0.0) if level > 0 else 0.0


def resample_groups(
    fit: Callable[[IntArray], Array], groups: int, *, resamples: int, seed: int
) -> Array:
    """Fit anew to groups drawn with replacement; rows of NaN where a fit has no answer.

    Parameters
    ----------
    fit
        Takes how often each group was drawn, (groups,), and returns values (m,).
    groups
        How many.

    Returns
    -------
    Array
        (resamples, m).
    """
    rng = np.random.default_rng(seed)
    drawn = rng.multinomial(groups, np.full(groups, 1 / groups), size=resamples)
    found: list[Array | None] = []
    for counts in drawn:
        try:
            found.append(fit(counts))
        except NoAnswerError:
            found.append(None)
    size = next((f.size for f in found if f is not None), 0)
    return np.array([np.full(size, np.nan) if f is None else f for f in found])


def interval_of(
    value: float, resampled: Array, groups: int, level: float = 0.9
) -> tuple[float, float]:
    """Interval around a value from its resampled fits: Student's t with groups − 1.

    Few groups spread less when drawn with replacement than anew; √(g / (g − 1)) and
    t make good for it. NaN with fewer than two groups or ten fits.
    """
    good = resampled[np.isfinite(resampled)]
    if groups < 2 or good.size < 10:
        return float("nan"), float("nan")
    spread = float(np.std(good)) * (groups / (groups - 1)) ** 0.5
    half = float(t.ppf(0.5 + level / 2, groups - 1)) * spread
    return value - half, value + half
