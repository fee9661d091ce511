"""How tightly an action follows each candidate, judged on laps that did not choose it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from lapwright.driving.reference_candidates import Group
from lapwright.numerics.fits import find_medians

Array = NDArray[np.float64]

#: In the choice of a reference a lap further from the middle than this many standard deviations
#: counts as this far.
OUTLIER_SD = 3.5
#: Beyond this many, an action was not taken on the reference in that lap: it tells against the
#: reference, but nothing of the hand's scatter about it.
ODD_SD = 6.0
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
        usual delay that the other laps gave, less by √((laps − 1) / laps) what that adds;
        outliers are pulled in, an event that did not come counts as one.
    late
        The same as it was, NaN for odd laps: events that did not come or lie `ODD_SD` off.
    delay_s
        Usual time from the event to the action.
    """

    group: Group
    best: int
    residual: Array
    late: Array
    delay_s: float

    @property
    def size_s(self) -> float:
        """Root mean square of ``residual``, which ranks references: odd laps weigh in it."""
        return float(np.sqrt(np.mean(self.residual**2)))

    @property
    def scatter_s(self) -> float:
        """Root mean square of ``late``: it estimates the hand's own standard deviation."""
        return float(np.sqrt(np.nanmean(self.late**2)))

    @property
    def odd_laps(self) -> int:
        """How many laps are not in `scatter_s`."""
        return int(np.count_nonzero(np.isnan(self.late)))


def score_group(group: Group) -> Scored:
    """Judge a group by leaving out one lap after the other.

    For each lap, variant and usual delay are chosen on the other laps; so a group with
    many variants gains nothing by the choice alone (nested cross-validation).

    The group needs three laps at least.
    """
    after = group.after_s
    best, _ = _choose(after)
    late = np.array([_left_out(after, lap) for lap in range(after.shape[0])])
    late *= shrink_left_out(after.shape[0])
    delay = float(np.nanmedian(after[:, best])) if group.what != "place" else 0.0
    odd = ~(np.abs(late) <= ODD_SD * _scale(late, 0.0))
    return Scored(group, best, _tamed(late, 0.0), np.where(odd, np.nan, late), delay)


def shrink_left_out(laps: int) -> float:
    """Return what turns a residual about the mean of the other laps into the scatter's size.

    A lap lies from the others' mean by laps / (laps − 1) of its distance to the mean of all;
    of those the root mean square is √((laps − 1) / laps) of the standard deviation.
    """
    return float(np.sqrt((laps - 1) / laps))


def take_off_floor(scatter_s: float, floor_s: float) -> float:
    """Take what the sensors alone give off a scatter, independent errors adding in squares.

    Examples
    --------
    >>> round(take_off_floor(0.013, 0.005), 4)
    0.012
    >>> take_off_floor(0.005, 0.005)
    0.005
    """
    return max(float(np.sqrt(max(scatter_s**2 - floor_s**2, 0.0))), floor_s)


def _left_out(after: Array, lap: int) -> float:
    """How late a lap acted by the variant and the delay that the other laps chose."""
    variant, middle = _choose(np.delete(after, lap, axis=0))
    return float(after[lap, variant]) - middle


def _choose(after: Array) -> tuple[int, float]:
    """Choose the variant that scatters least: which it is and its mean delay."""
    tamed = _tamed(after, find_medians(after))
    best = int(np.argmin(tamed.std(axis=0)))
    return best, float(tamed[:, best].mean())


def _tamed(values: Array, middle: Array | float) -> Array:
    """Pull outliers in, each column by its own scale; what is missing counts as one."""
    scale = _scale(values, middle)
    far = middle + OUTLIER_SD * scale
    filled = np.where(np.isfinite(values), values, far)
    return np.clip(filled, middle - OUTLIER_SD * scale, far)


def _scale(values: Array, middle: Array | float) -> Array:
    """Estimate each column's standard deviation about a middle by the median of distances."""
    return np.maximum(MAD_TO_SD * find_medians(np.abs(values - middle)), 1e-4)


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
