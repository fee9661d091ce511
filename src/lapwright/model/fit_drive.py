"""Power and resistance over mass, by the energy balance of straights."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import NoAnswerError
from lapwright.model.fit_samples import Flags, Samples
from lapwright.numerics.fits import fit_quantile, noise_quantile
from lapwright.physics.drive import resistance

Array = NDArray[np.float64]
#: Straights only: tyres that turn the car also slow it.
STRAIGHT = 3.0
#: Below this share of the highest speed the tyres may limit the push, not the engine.
BY_POWER = 0.45
#: Rolling coefficient and engine braking (m/s²) of usual cars, and how far cars are from
#: them (common practice, no source): motion alone hardly tells them from power.
ROLLING, ROLLING_SD = 0.013, 0.002
ENGINE, ENGINE_SD = 0.3, 0.2
#: Samples of one session repeat each other's errors (gears, wind): it weighs like so many.
WORTH = 350.0
#: Without a throttle channel: the quantile taken, and the share supposed at full throttle.
BLIND_TAU, BLIND_SHARE = 0.85, 0.6
FEWEST = 60


@dataclass(frozen=True, slots=True)
class DriveFit:
    """What pushes and slows the car, over the mass that resists acceleration (turning parts in).

    Parameters
    ----------
    power_per_mass
        W/kg given to the road while the engine pushes.
    pushing
        Mean power at full throttle over it: what changes of gear leave.
    drag_per_mass, rolling
        ρ CdA / 2m in 1/m; a coefficient.
    engine_braking
        m/s².
    full_count, coast_count
        Samples behind them.
    """

    power_per_mass: float
    pushing: float
    drag_per_mass: float
    rolling: float
    engine_braking: float
    full_count: int
    coast_count: int

    @property
    def power_in_use(self) -> float:
        """Power per mass with the changes of gear in it, W/kg: what a lap is driven with."""
        return self.power_per_mass * self.pushing

    def resistance(self, samples: Samples) -> Array:
        """Deceleration by air and rolling at the samples in m/s²."""
        found = resistance(self.drag_per_mass, self.rolling, samples.speed, samples.normal)
        return np.asarray(found)


def choose_straights(samples: Samples) -> tuple[Flags, Flags]:
    """Choose samples for power, and for resistance alone.

    Samples about a change of gear are left out. Without a throttle channel all that push
    are taken for power: their upper envelope is full throttle.
    """
    straight = np.abs(samples.left) < STRAIGHT
    fast = samples.speed > BY_POWER * float(np.quantile(samples.speed, 0.999))
    if samples.has_throttle:
        return (
            straight & fast & samples.full & ~samples.changing,
            straight & fast & samples.coasting,
        )
    return straight & fast & (samples.ahead > -0.3), np.zeros_like(straight)


def fit_drive(samples: Samples, weights: Array) -> DriveFit:
    """Fit ahead = P/v − c N − F v² at full throttle, less engine braking − P/v when coasting.

    Parameters
    ----------
    weights
        Of the samples, (k,).

    Raises
    ------
    NoAnswerError
        When hardly anything was driven at full throttle on straights.
    """
    full, coast = choose_straights(samples)
    full, coast = full & (weights > 0), coast & (weights > 0)
    if full.sum() < FEWEST or np.ptp(samples.speed[full]) < 5.0:
        raise NoAnswerError(
            "Power and drag are not settled: hardly any full throttle on straights, or at one speed"
        )
    rows, y = np.r_[_rows(samples, full, 1.0), _rows(samples, coast, 0.0)], samples.ahead
    y = np.r_[y[full] - _lift(samples, full), y[coast]]
    stiff = _alike(weights[full]) * 0.1 / 2 / np.array([np.inf, np.inf, ROLLING_SD, ENGINE_SD]) ** 2
    beta = fit_quantile(
        rows, y, 0.5 if samples.has_throttle else BLIND_TAU,
        weights=np.r_[weights[full], weights[coast]], stiffness=stiff,
        prior=np.array([0.0, 0.0, ROLLING, ENGINE]),
    )  # fmt: skip
    power, drag = float(beta[0]), float(max(beta[1], 0.0))
    if power <= 0:
        raise NoAnswerError("Power is not settled: the car never gained speed at full throttle")
    fit = DriveFit(
        power, 1.0, drag, float(max(beta[2], 0.0)), float(beta[3]), int(full.sum()),
        int(coast.sum()),
    )  # fmt: skip
    return replace(fit, pushing=_pushing(fit, samples, weights))


def _pushing(fit: DriveFit, samples: Samples, weights: Array) -> float:
    """Mean power at full throttle over that of the fit, changes of gear in it."""
    if not samples.has_throttle:
        return 1.0
    full = samples.full & (np.abs(samples.left) < STRAIGHT) & (weights > 0)
    power = (samples.ahead + fit.resistance(samples)) * samples.speed
    return float(min(weights[full] @ power[full] / weights[full].sum() / fit.power_per_mass, 1.0))


def _alike(weights: Array) -> float:
    return max(1.0, float(weights.sum()) / WORTH)


def _rows(samples: Samples, chosen: Flags, pushed: float) -> Array:
    v, normal = samples.speed[chosen], samples.normal[chosen]
    return np.stack([pushed / v, -(v**2), -normal, np.full(v.size, pushed - 1.0)], axis=1)


def _lift(samples: Samples, chosen: Flags) -> Array:
    """Tell what noise adds to an upper envelope in m/s²; 0 where the middle is fitted."""
    z = 0.0 if samples.has_throttle else noise_quantile(BLIND_TAU, BLIND_SHARE)
    return np.asarray(z * samples.ahead_sd[chosen])


def find_drag_factors(samples: Samples, fit: DriveFit, laps: int) -> Array:
    """Drag of each lap over that of all, (laps,); 1 where a lap tells nothing."""
    full, _ = choose_straights(samples)
    v, lap = samples.speed[full], samples.lap[full]
    beta = np.array([fit.power_per_mass, fit.drag_per_mass, fit.rolling, fit.engine_braking])
    short = _rows(samples, full, 1.0) @ beta - samples.ahead[full]
    over = np.bincount(lap, short * v**2, laps)
    scale = fit.drag_per_mass * np.bincount(lap, v**4, laps)
    factor = np.where(scale > 0, over / np.where(scale > 0, scale, 1.0), 0.0)
    seen = scale > 0
    if not seen.any():  # no drag was found, or nothing was driven at full throttle
        return np.ones(laps)
    return np.where(seen, 1.0 + factor - float(np.median(factor[seen])), 1.0)
