"""Power and resistance over mass, by the energy balance of straights."""

from __future__ import annotations

from dataclasses import dataclass

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
ROLLING, ROLLING_SD = 0.013, 0.004
ENGINE, ENGINE_SD = 0.3, 0.2
#: Samples of one session repeat each other's errors (gears, wind): it weighs like so many.
WORTH = 350.0
#: Without a throttle channel: the quantile taken, and the share supposed at full throttle.
BLIND_TAU, BLIND_SHARE = 0.85, 0.6
FEWEST = 60
#: Gears must spread speed over engine speed by so much, to tell the engine from the air.
GEARS_APART = 0.05


@dataclass(frozen=True, slots=True)
class DriveFit:
    """Power, resistance, and how many samples told of them.

    Parameters
    ----------
    power_per_mass
        W/kg at the wheels, the mean over what was driven at full throttle on straights.
    drag_per_mass
        ρ CdA / 2m, 1/m.
    rolling
        Dimensionless.
    engine_braking
        m/s².
    curve
        How power changes with engine speed: see `_engine_rows`; empty where power is
        taken for one number.
    full_count, coast_count
        Samples at full throttle and coasting.
    """

    power_per_mass: float
    drag_per_mass: float
    rolling: float
    engine_braking: float
    curve: Array
    full_count: int
    coast_count: int

    def resistance(self, samples: Samples) -> Array:
        """Deceleration by air and rolling at the samples in m/s²."""
        found = resistance(self.drag_per_mass, self.rolling, samples.speed, samples.normal)
        return np.asarray(found)


def choose_straights(samples: Samples) -> tuple[Flags, Flags]:
    """Choose samples for power, and for resistance alone.

    Without a throttle channel all that push are taken for power: their upper envelope
    is full throttle.
    """
    straight = np.abs(samples.left) < STRAIGHT
    fast = samples.speed > BY_POWER * float(np.quantile(samples.speed, 0.999))
    if samples.has_throttle:
        return straight & fast & samples.full, straight & fast & samples.coasting
    return straight & fast & (samples.ahead > -0.3), np.zeros_like(straight)


def fit_drive(samples: Samples, weights: Array) -> DriveFit:
    """Fit ahead = P/v − c N − F v² at full throttle, less engine braking − P/v when coasting.

    Where engine speed and gears are known, power follows the engine's speed: one curve in
    all gears. Taken for one number, its fall behind each change up passes for less drag.

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
    engine = _engine_rows(samples)
    rows = np.c_[rows, np.r_[engine[full], 0.0 * engine[coast]]]
    spare = np.full(engine.shape[1], np.inf)
    spread = np.r_[np.inf, np.inf, ROLLING_SD, ENGINE_SD, spare]
    stiff = _alike(weights[full]) * 0.1 / 2 / spread**2
    beta = fit_quantile(
        rows, y, 0.5 if samples.has_throttle else BLIND_TAU,
        weights=np.r_[weights[full], weights[coast]], stiffness=stiff,
        prior=np.r_[0.0, 0.0, ROLLING, ENGINE, 0.0 * engine[0]],
    )  # fmt: skip
    power, drag = float(beta[0]), float(max(beta[1], 0.0))
    if power <= 0:
        raise NoAnswerError("Power is not settled: the car never gained speed at full throttle")
    return DriveFit(
        power, drag, float(max(beta[2], 0.0)), float(beta[3]), beta[4:], int(full.sum()),
        int(coast.sum()),
    )  # fmt: skip


def _engine_rows(samples: Samples) -> Array:
    """Columns (k, 2) of power over and under its mean by engine speed and its square, over v.

    No columns where an engine speed is missing, or goes with road speed in one gear: then
    the engine's curve and the air's drag cannot be told apart.
    """
    full, _ = choose_straights(samples)
    turn = samples.engine
    known = bool(np.isfinite(turn[full]).all() and (turn[full] > 0).all() and full.any())
    if not known or np.std(np.log(samples.speed[full] / turn[full])) < GEARS_APART:
        return np.zeros((turn.size, 0))
    ratio = turn / np.median(turn[full]) - 1.0
    powers = np.stack([ratio, ratio**2], axis=1)
    return np.asarray((powers - powers[full].mean(axis=0)) / samples.speed[:, None])


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
    pushed = _rows(samples, full, 1.0) @ beta + (_engine_rows(samples)[full] @ fit.curve)
    short = pushed - samples.ahead[full]
    over = np.bincount(lap, short * v**2, laps)
    scale = fit.drag_per_mass * np.bincount(lap, v**4, laps)
    factor = np.where(scale > 0, over / np.where(scale > 0, scale, 1.0), 0.0)
    seen = scale > 0
    if not seen.any():
        return np.ones(laps)
    return np.where(seen, 1.0 + factor - float(np.median(factor[seen])), 1.0)
