"""What the scatter from lap to lap allows to say of a cost."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.stats import norm
from scipy.stats import t as student

from lapwright.driving.ledger_bases import robust_sd
from lapwright.driving.redrive import Split

#: Smallest cost that is called one, s, and the scatter that any row has, s.
LEAST_S, LEAST_SD_S = 0.012, 0.005
#: So many laps of other causes stand behind a scatter seen in few laps.
PRIOR_LAPS = 4
#: Quantile up to which laps belong to the usual scatter; what lies outside may be a fault.
INNER = 0.85
#: What a computed pass of a corner has wrong, s: laps on known lines are met within 0.3 %, so
#: within this a corner. It is the same on every lap, and no scatter from lap to lap shows it.
COMPUTED_SD_S = 0.08


class Scatter:
    """How much elements of a stretch scatter from lap to lap, and where their middle lies."""

    def __init__(
        self, splits: Sequence[Sequence[Split]], *, centred: bool, computed: bool = False
    ) -> None:
        self._splits, self._centred = splits, centred
        self._least = float(np.hypot(LEAST_SD_S, COMPUTED_SD_S if computed else 0.0))
        self.laps = len(self._splits)
        self._known: dict[tuple[int, tuple[str, ...]], tuple[float, float]] = {}

    def of(self, stretch: int, elements: Sequence[str]) -> tuple[float, float]:
        """Middle and standard deviation of the sum of elements over the laps, s."""
        key = (stretch, tuple(sorted(elements)))
        if key not in self._known:
            self._known[key] = self._work_out(*key)
        return self._known[key]

    def _work_out(self, stretch: int, elements: tuple[str, ...]) -> tuple[float, float]:
        sums = [sum(own[stretch].costs.get(e, 0.0) for e in elements) for own in self._splits]
        spread = max(robust_sd(sums), _inner_sd(sums))
        everywhere = robust_sd([
            own[i].costs.get(e, 0.0)
            for own in self._splits for i in range(len(own)) for e in elements
        ])  # fmt: skip
        n = self.laps
        pooled = (n * spread**2 + PRIOR_LAPS * max(everywhere, LEAST_SD_S) ** 2) / (n + PRIOR_LAPS)
        middle = float(np.median(sums)) if self._centred and n >= 3 else 0.0
        return middle, float(np.hypot(np.sqrt(pooled), self._least))

    def whole(self, stretch: int) -> float:
        """Find how much all elements of a stretch together scatter from lap to lap, s."""
        return robust_sd([sum(own[stretch].costs.values()) for own in self._splits])


def find_chance(cost: float, middle: float, sd: float, laps: int) -> float:
    """Chance of so large a departure by the driver's own scatter alone."""
    apart = cost - middle
    if apart * cost <= 0 or abs(cost) < LEAST_S or laps < 3:
        return 1.0
    return float(2 * student.sf(abs(apart) / sd, max(laps - 1, 2)))


def _inner_sd(values: Sequence[float]) -> float:
    """Take the standard deviation of a normal distribution with the same inner part.

    Elements that are nothing on most laps have a median absolute deviation of nothing.
    """
    low, high = np.quantile(values, (1 - INNER, INNER))
    return float((high - low) / (2 * norm.ppf(INNER)))
