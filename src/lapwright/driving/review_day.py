"""Another day's grip: found from all corners together, taken out of actions and of time.

By time where grip has a price: what all corners take more or less, in proportion to what grip is
worth there, is the day, and what one takes less beyond that came of what was changed in it. Slowest
speeds tell it only where there is no price: they scatter with the line, and are two to five times
as far off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.action_values import find_middle, subtract, values_of
from lapwright.driving.ledger_bases import robust_sd
from lapwright.driving.passes import CornerPass
from lapwright.driving.review_goals import OF_MEDIAN

Array = NDArray[np.float64]
#: From so many corners on a day is told from what changed in two of them.
LEAST_CORNERS = 5
#: A stretch's price of grip is right to no better than this, s, on a usual other day.
LEAST_ERROR_S = 0.01
#: A stretch so many standard errors from the day has no part in it: Tukey's biweight.
FAR, ROUNDS = 4.0, 20


@dataclass(frozen=True, slots=True)
class DayChange:
    """Grip asked for, now over before, in the middle of ``corners``; its standard error.

    A driver who asks for more or less everywhere cannot be told from the day: both are in it.
    """

    grip: float
    error: float
    corners: int


@dataclass(frozen=True, slots=True)
class Braking:
    """How one driver brakes for one corner: metres to the slowest place, m/s there, m/s²."""

    length_m: float
    slowest_mps: float
    deceleration_mps2: float


def find_day_change(before: Mapping[str, float], now: Mapping[str, float]) -> DayChange | None:
    """Find the change of grip from the slowest speeds, m/s, by corner.

    On the same line v² is proportional to grip where the tyres carry the car round, so the
    middle of (v now / v before)² over the corners is the change: a goal moves a few of them,
    the day all. None with fewer than `LEAST_CORNERS`.
    """
    ratios = np.array([(v / before[c]) ** 2 for c, v in now.items() if before.get(c, 0.0) > 0.0])
    if ratios.size < LEAST_CORNERS:
        return None
    error = OF_MEDIAN * robust_sd(ratios) / np.sqrt(ratios.size)
    return DayChange(float(np.median(ratios)), float(error), int(ratios.size))


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stretch of the road now and before: s more in the mean, and the standard error.

    ``price_s`` is what a whole grip less would cost there, s; ``told`` that a goal was set for it.
    """

    more_s: float
    error_s: float
    price_s: float
    told: bool


def find_day_by_time(stretches: Sequence[Stretch]) -> DayChange | None:
    """Find the change of grip that explains what most stretches take more, by their prices.

    Stretches without a goal come first, the others as far as they agree with them: on a
    goal that was met the day has no say. None with fewer than `LEAST_CORNERS` that have a price.
    """
    own = [s for s in stretches if s.price_s > 0.0]
    if len(own) < LEAST_CORNERS:
        return None
    more, price, error = (
        np.array([getattr(s, k) for s in own]) for k in ("more_s", "price_s", "error_s")
    )
    # few laps tell a scatter badly: each corner's own goes half the way to the middle one
    error = np.hypot(np.sqrt(error * np.median(error)), LEAST_ERROR_S)
    free = np.array([not s.told for s in own])
    first = free if free.sum() >= LEAST_CORNERS else np.ones(free.size, dtype=bool)
    less = float(np.median((more / price)[first]))
    less, _ = _agree(more[first], price[first], error[first], less)
    less, spread = _agree(more, price, error, less)
    return DayChange(1.0 - less, spread, len(own))


def _agree(more: Array, price: Array, error: Array, less: float) -> tuple[float, float]:
    """Fit ``more`` = ``less`` · ``price``, far stretches left out; ``less`` and its error."""
    weight = np.ones(more.size)
    for _ in range(ROUNDS):
        apart = (more - price * less) / (FAR * error)
        near = np.where(np.abs(apart) < 1.0, (1.0 - apart**2) ** 2, 0.0)
        if np.count_nonzero(near) < 2:
            break
        weight = near
        less = float(np.sum(weight * price * more / error**2) / _sum(weight, price, error))
    off = (more - price * less) / error
    own = np.sqrt(np.sum((weight * off * price / error) ** 2)) / _sum(weight, price, error)
    return less, float(max(own, _sum(weight, price, error) ** -0.5))


def _sum(weight: Array, price: Array, error: Array) -> float:
    return float(np.sum(weight * (price / error) ** 2))


def find_slowest(passes: Sequence[CornerPass]) -> dict[str, float]:
    """Find the middle of the slowest speeds in each corner, m/s."""
    return _middles(passes, "minimum_speed_mps", 0.0)


def find_braking(passes: Sequence[CornerPass], length_m: float) -> dict[str, Braking]:
    """Find how each corner is braked for, where it is."""
    start, low = (_middles(passes, a, length_m) for a in ("brake_start_m", "minimum_speed_m"))
    speed, slowing = find_slowest(passes), _middles(passes, "mean_deceleration_mps2", length_m)
    out = {}
    for corner in start.keys() & low.keys() & speed.keys() & slowing.keys():
        length = subtract(low[corner], start[corner], "brake_start_m", length_m)
        if length > 0.0 and slowing[corner] > 0.0:
            out[corner] = Braking(length, speed[corner], slowing[corner])
    return out


def _middles(passes: Sequence[CornerPass], action: str, length_m: float) -> dict[str, float]:
    own = {c: values_of(passes, c, action) for c in dict.fromkeys(p.corner for p in passes)}
    return {c: find_middle(v.values(), action, length_m) for c, v in own.items() if v}


def take_day_out(value: float, action: str, grip: float, braking: Braking | None) -> float:
    """Give the value that an action would have had with the earlier day's grip.

    A slowest speed goes with the root of grip, a deceleration with grip. From v0 to
    v1 with a: d = (v0² − v1²)/2a, so with a and v1² in proportion to grip and the same v0
    the point lay (1 − grip)(d + v1²/2a) later, all as driven on this day (``braking``).
    Other actions stay.
    """
    if action == "minimum_speed_mps":
        return value / float(np.sqrt(grip))
    if action == "mean_deceleration_mps2":
        return value / grip
    if action == "brake_start_m" and braking is not None:
        speed, slowing = braking.slowest_mps, braking.deceleration_mps2
        return value + (1.0 - grip) * (braking.length_m + speed**2 / (2.0 * slowing))
    return value
