"""How tightly an action follows each candidate, judged on laps that did not choose it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from lapwright.driving.reference_candidates import Group

Array = NDArray[np.float64]

#: A lap further from the middle than this many standard deviations counts as this far.
OUTLIER_SD = 3.5
MAD_TO_SD = 1.4826
#: Chance of calling one of two equally good references the better one, for either of them.
CHANCE = 0.05
#: Two references are told apart where one scatters more by this factor: an event that moves
#: against the other by 1.12 standard deviations of the hand makes it so (√(1 + 1.12²)).
CLEAR = 1.5


@dataclass(frozen=True, slots=True)
class Scored:
    """A group of candidates, judged.

    Parameters
    ----------
    best
        The variant that follows most tightly over all laps.
    residual
        Shape (laps,), s: how late each lap acted after the event, by the variant and the
        usual delay that the other laps gave, less by √((laps − 1) / laps) what that adds.
    delay_s
        Usual time from the event to the action.
    """

    group: Group
    best: int
    residual: Array
    delay_s: float

    @property
    def scatter_s(self) -> float:
        """Root mean square of ``residual``: it estimates the hand's own standard deviation."""
        return float(np.sqrt(np.mean(self.residual**2)))


def score_group(group: Group) -> Scored:
    """Judge a group by leaving out one lap after the other.

    For each lap, variant and usual delay are chosen on the other laps; so a group with
    many variants gains nothing by the choice alone (nested cross-validation).

    The group needs three laps at least.
    """
    after = group.after_s
    best, _, _ = _choose(after)
    residual = _tamed(np.array([_left_out(after, lap) for lap in range(after.shape[0])]), 0.0)
    delay = float(np.nanmedian(after[:, best])) if group.what != "place" else 0.0
    return Scored(group, best, residual * shrink_left_out(after.shape[0]), delay)


def shrink_left_out(laps: int) -> float:
    """Return what turns a residual about the mean of the other laps into the scatter's size.

    A lap lies from the others' mean by laps / (laps − 1) of its distance to the mean of all;
    of those the root mean square is √((laps − 1) / laps) of the standard deviation.
    """
    return float(np.sqrt((laps - 1) / laps))


def _left_out(after: Array, lap: int) -> float:
    """How late a lap acted by the variant and the delay that the other laps chose."""
    variant, middle, width = _choose(np.delete(after, lap, axis=0))
    late = float(after[lap, variant]) - middle
    return late if np.isfinite(late) else OUTLIER_SD * width


def _choose(after: Array) -> tuple[int, float, float]:
    """Choose the variant that scatters least: which it is, its mean delay and its width."""
    tamed = _tamed(after, np.nanmedian(after, axis=0))
    spread = tamed.std(axis=0)
    best = int(np.argmin(spread))
    return best, float(tamed[:, best].mean()), float(spread[best])


def _tamed(values: Array, middle: Array | float) -> Array:
    """Pull outliers in, each column by its own scale; what is missing counts as one."""
    scale = np.maximum(MAD_TO_SD * np.nanmedian(np.abs(values - middle), axis=0), 1e-4)
    far = middle + OUTLIER_SD * scale
    filled = np.where(np.isfinite(values), values, far)
    return np.clip(filled, middle - OUTLIER_SD * scale, far)


def weigh(scatters: Sequence[float], laps: int) -> list[float]:
    """Share of belief in each reference: proportional to scatter^(−laps), together 1.

    That is the predictive likelihood of the laps left out, for normal scatter.

    Examples
    --------
    >>> [round(w, 2) for w in weigh([1.0, 2.0], 2)]
    [0.8, 0.2]
    """
    log = -laps * np.log(np.maximum(np.asarray(scatters, float), 1e-6))
    weight = np.exp(log - log.max())
    return [float(w) for w in weight / weight.sum()]


def is_tighter(one: Array, other: Array, floor_s: float = 0.0) -> bool:
    """Tell whether ``one`` scatters clearly less than ``other`` over the same laps.

    It must do so by `CLEAR` and beyond chance: Pitman's and Morgan's test (1939, cited from
    memory) of two variances measured in pairs, whose sum and difference are uncorrelated
    where they are equal. What the sensor alone gives is no difference.

    Parameters
    ----------
    one, other
        Residuals about 0, shape (laps,).
    """
    count = one.size
    a, b = float(np.mean(one**2)), float(np.mean(other**2))
    if count < 4 or b < max(CLEAR**2 * a, a + floor_s**2):
        return False
    plus, minus = other + one, other - one
    size = float(np.sqrt(np.sum(plus**2) * np.sum(minus**2)))
    r = float(np.sum(plus * minus)) / size if size > 0 else 0.0
    freedom = count - 2
    value = r * np.sqrt(freedom / max(1.0 - r * r, 1e-12))
    return bool(student.sf(value, freedom) < CHANCE)
