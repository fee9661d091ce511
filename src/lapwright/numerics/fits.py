"""Fits to what points show: quantile planes by pinball loss, and resampling by groups."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr
from scipy.stats import norm, t

from lapwright.errors import NoAnswerError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
_ROOT = float(np.sqrt(2 * np.pi))


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

    Notes
    -----
    Newton steps on the pinball loss smoothed by a normal kernel (Fernandes, Guerre and
    Horta 2021), of a width that shrinks to 0.3 % of the first spread.

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
    size = np.sqrt(np.maximum(np.mean(rows**2, axis=0), 1e-300))
    problem = _Smoothed(rows / size, y, w, tau, prior * size, stiffness / size**2)
    beta = beta * size
    spread = max(float(np.std(y - problem.rows @ beta)), 1e-6)
    for width in spread * np.array([0.5, 0.1, 0.02, 0.003]):
        beta = problem.descend(beta, width)
    return np.asarray(beta / size)


@dataclass(frozen=True, slots=True)
class _Smoothed:
    """Pinball loss smoothed by a normal kernel, and a pull to a prior."""

    rows: Array
    y: Array
    weights: Array
    tau: float
    prior: Array
    stiffness: Array

    def descend(self, beta: Array, width: float, steps: int = 12) -> Array:
        """Newton steps, halved until the loss falls."""
        r = self.y - self.rows @ beta
        below = ndtr(-r / width)
        loss = self._loss(r, below, beta, width)
        for _ in range(steps):
            step = self._step(r, below, beta, width)
            before = loss
            for _ in range(30):
                r = self.y - self.rows @ (beta + step)
                below = ndtr(-r / width)
                loss = self._loss(r, below, beta + step, width)
                if loss <= before:
                    break
                step = step / 2
            beta = beta + step
            if before - loss <= 1e-7 * abs(before):
                break
        return beta

    def _loss(self, r: Array, below: Array, beta: Array, width: float) -> float:
        bump = np.exp(-((r / width) ** 2) / 2) * width / _ROOT
        pull = self.stiffness @ (beta - self.prior) ** 2 / 2
        return float(self.weights @ ((self.tau - below) * r + bump) + pull)

    def _step(self, r: Array, below: Array, beta: Array, width: float) -> Array:
        # The second part keeps steps finite where no point is near the plane.
        curve = np.exp(-((r / width) ** 2) / 2) / (width * _ROOT) + 0.01 / (np.abs(r) + width)
        heavy = self.rows * (self.weights * curve)[:, None]
        slope = np.einsum("ki,k->i", self.rows, self.weights * (self.tau - below))
        # Threads of a matrix product cost more than they save on so few columns.
        normal = np.einsum("ki,kj->ij", self.rows, heavy)
        slope = slope - self.stiffness * (beta - self.prior)
        try:
            return np.asarray(np.linalg.solve(normal + np.diag(self.stiffness), slope))
        except np.linalg.LinAlgError as error:
            raise NoAnswerError("A fit has no support: its coefficients are open") from error


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


def find_medians(values: Array) -> Array:
    """Median of each column without its NaN, shape of a row; NaN of nothing.

    NumPy's own goes by masked arrays, which takes ten times as long on a few laps.
    """
    in_order = np.sort(values, axis=0)  # NaN come last
    count = np.count_nonzero(~np.isnan(values), axis=0)
    low, high = np.maximum(count - 1, 0) // 2, count // 2
    pick = np.stack([low, np.minimum(high, values.shape[0] - 1)])
    middle = np.take_along_axis(in_order, pick, axis=0).mean(axis=0)
    return np.where(count > 0, middle, np.nan)


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

    Parameters
    ----------
    resampled
        Fits to groups drawn anew.
    """
    good = resampled[np.isfinite(resampled)]
    if groups < 2 or good.size < 10:
        return float("nan"), float("nan")
    spread = float(np.std(good)) * (groups / (groups - 1)) ** 0.5
    half = float(t.ppf(0.5 + level / 2, groups - 1)) * spread
    return value - half, value + half
