"""Grip limits by quantile loss: to the side, braking and drive, joined by a superellipse."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import NoAnswerError
from lapwright.model.fit_samples import Flags, Samples
from lapwright.numerics.fits import find_quantile, fit_quantile, noise_quantile
from lapwright.physics.grip import grip_use, limit_at
from lapwright.physics.load import GRAVITY

Array = NDArray[np.float64]
Support = tuple[float, float]
#: Share of the near-limit samples that the envelope holds.
TAU = 0.95
#: A sample tells of a direction's limit when its use reaches the first, and the other
#: direction's stays below the second.
NEAR, BESIDE = 0.80, 0.30
#: Grip grows a little less than load (common practice, no source): per_load · g / at_rest
#: where the road's shape does not settle it, and how far cars are from it.
LOAD_SHARE, LOAD_SHARE_SD = 0.9, 0.15
#: Braking and cornering are together from this share of each limit on.
TOGETHER = 0.30
#: A push tells of the drive limit from this share of it on; beside more of the lateral
#: limit than the second it tells nothing.
PUSHED, MOST_BESIDE = 0.30, 0.70
#: Least force in m/s² that can be a limit, and the fewest samples that can show one (1 s).
LEAST, FEWEST = 1.5, 20
#: Samples of one session repeat each other's errors (road, tyres): it weighs like so many.
WORTH = 200.0
#: Power that must be left over for a push to be the tyres' limit.
SPARE_POWER = 1.10
ROUNDS = 5


@dataclass(frozen=True, slots=True)
class Forces:
    """What the tyres gave: forward and left in m/s² with sd, beside speed and normal."""

    lap: NDArray[np.int64]
    speed: Array
    normal: Array
    forward: Array
    left: Array
    forward_sd: Array
    left_sd: Array
    may_slip: Flags

    def shape(self) -> Array:
        """Columns of a limit: 1, v², normal − g."""
        columns = np.ones(self.speed.size), self.speed**2, self.normal - GRAVITY
        return np.stack(columns, axis=1)


@dataclass(frozen=True, slots=True)
class GripFit:
    """Lateral limit (at rest, per v², per load); braking and drive as multiples of it.

    ``brake``, ``drive`` and ``exponent`` are NaN where nothing showed them. ``support``
    holds the speeds that did, in m/s, ``counts`` how many samples.
    """

    lateral: Array
    brake: float
    drive: float
    exponent: float
    support: MappingProxyType[str, Support] = field(default_factory=lambda: MappingProxyType({}))
    counts: MappingProxyType[str, int] = field(default_factory=lambda: MappingProxyType({}))

    def limit(self, forces: Forces) -> Array:
        """Limit to the side at the samples in m/s²."""
        at_rest, per_v2, per_load = self.lateral
        return np.asarray(limit_at(at_rest, per_v2, per_load, forces.speed, forces.normal))

    def along(self, forces: Forces) -> Array:
        """Limit along the car at the samples, drive or braking by the force's sign, m/s²."""
        brake = self.brake if np.isfinite(self.brake) else 1.0
        drive = self.drive if np.isfinite(self.drive) else brake
        return self.limit(forces) * np.where(forces.forward < 0, brake, drive)

    def use(self, forces: Forces) -> Array:
        """Share of the envelope in use at the samples."""
        limits = self.along(forces), self.limit(forces)
        return np.asarray(grip_use(forces.forward, forces.left, *limits, self.safe_exponent))

    @property
    def safe_exponent(self) -> float:
        """The exponent, or 1, the smallest envelope, where nothing showed it."""
        return self.exponent if np.isfinite(self.exponent) else 1.0


def build_forces(samples: Samples, resistance: Array, power_per_mass: float, keep: Flags) -> Forces:
    """Take the resistance (m/s²) out of the samples: what is left the tyres gave."""
    forward = samples.ahead + resistance
    spare = power_per_mass / samples.speed > SPARE_POWER * forward
    return Forces(
        samples.lap[keep], samples.speed[keep], samples.normal[keep], forward[keep],
        samples.left[keep], samples.ahead_sd[keep], samples.left_sd[keep],
        (spare & ~samples.full)[keep],
    )  # fmt: skip


def choose_hard(samples: Samples, resistance: Array) -> Flags:
    """Tell which samples can have anything to do with a limit: half of the hardest or more."""
    size = np.hypot(samples.ahead + resistance, samples.left)
    return np.asarray(size > max(LEAST, 0.35 * float(np.quantile(size, 0.99))))


def fit_grip(forces: Forces, weights: Array, start: GripFit | None = None) -> GripFit:
    """Fit limits and exponent by turns.

    Parameters
    ----------
    weights
        Of the samples, (k,); 0 leaves one out.
    start
        A fit to begin from, which saves most of the time.

    Raises
    ------
    NoAnswerError
        When nothing showed a cornering limit.
    """
    fit = start or _first_guess(forces, weights)
    fit = replace(fit, exponent=fit.safe_exponent)
    for _ in range(2 if start else ROUNDS):
        side, slow, push = _near(fit, forces, weights)
        if side.sum() < FEWEST:
            raise NoAnswerError("No cornering limit: hardly anything was driven near one")
        brake = _brake_multiple(fit, forces, weights, slow)
        drive = _drive_multiple(fit, forces, weights, push)
        fit = GripFit(fit.lateral, brake, drive, fit.exponent)
        fit = GripFit(_plane(fit, forces, weights, side, slow), brake, drive, fit.exponent)
        both = _both(fit, forces, weights)
        if both.sum() >= FEWEST:
            fit = replace(fit, exponent=_exponent(fit, forces, weights, both))
    return _with_support(fit, forces, weights, int(both.sum()))


def _first_guess(forces: Forces, weights: Array) -> GripFit:
    on = weights > 0
    side = on & (np.abs(forces.left) > np.maximum(LEAST, 5 * forces.left_sd))
    side &= np.abs(forces.forward) < np.abs(forces.left)
    if side.sum() < FEWEST:
        raise NoAnswerError("No cornering limit: these laps hardly turn")
    top = find_quantile(np.abs(forces.left[side]), 0.97, weights[side])
    slow = on & (forces.forward < -LEAST) & (np.abs(forces.left) < -forces.forward)
    brake = find_quantile(-forces.forward[slow], 0.97, weights[slow]) / top
    held = np.array([0.85 * top, 0.15 * top / np.mean(forces.speed[side] ** 2), top / GRAVITY])
    return GripFit(held, brake if slow.sum() >= FEWEST else 1.0, np.nan, 1.5)


def _ratios(fit: GripFit, forces: Forces) -> tuple[Array, Array]:
    return np.abs(forces.forward) / fit.along(forces), np.abs(forces.left) / fit.limit(forces)


def _near(fit: GripFit, forces: Forces, weights: Array) -> tuple[Flags, Flags, Flags]:
    """Find samples near the limit to the side, in braking and in drive."""
    along, across = _ratios(fit, forces)
    use = (along**fit.exponent + across**fit.exponent) ** (1 / fit.exponent)
    near = (use > NEAR) & (weights > 0)
    side = near & (along < BESIDE)
    slow = near & (forces.forward < 0) & (across < BESIDE)
    push = (weights > 0) & (use > NEAR) & (forces.forward > LEAST) & forces.may_slip
    return side, slow, push & (along > PUSHED) & (across < MOST_BESIDE)


def _lift(y: Array, sd: Array, limit: Array) -> Array:
    """Tell what noise adds to the quantile at these samples: METHOD's z σ."""
    at = float(np.mean(y > limit - 1.5 * sd)) if y.size else 0.0
    return noise_quantile(TAU, at) * sd


def _brake_multiple(fit: GripFit, forces: Forces, weights: Array, chosen: Flags) -> float:
    """Braking limit over that to the side, from the chosen samples."""
    if chosen.sum() < FEWEST:
        return fit.brake
    limit = fit.limit(forces)[chosen]
    y = np.abs(forces.forward[chosen])
    lift = _lift(y, forces.forward_sd[chosen], fit.along(forces)[chosen])
    return find_quantile((y - lift) / limit, TAU, weights[chosen])


def _drive_multiple(fit: GripFit, forces: Forces, weights: Array, push: Flags) -> float:
    """Drive limit over that to the side: it puts the quantile of the use on exits at 1.

    Hardly anybody drives at the limit of drive alone, so this leans on the superellipse.
    NaN where too few samples tell.
    """
    if push.sum() < FEWEST:
        return float("nan")
    limit = fit.limit(forces)[push]
    across = np.minimum(np.abs(forces.left[push]) / limit, MOST_BESIDE)
    left_over = (1 - across**fit.exponent) ** (1 / fit.exponent)
    ratio = forces.forward[push] / (limit * left_over)
    return find_quantile(ratio, TAU - 0.1, weights[push])


def _plane(fit: GripFit, forces: Forces, weights: Array, side: Flags, slow: Flags) -> Array:
    """Lateral limit from cornering and, over its multiple, from braking."""
    shape, limit = forces.shape(), fit.limit(forces)
    y = np.abs(forces.left[side])
    y = y - _lift(y, forces.left_sd[side], limit[side])
    z = np.abs(forces.forward[slow]) / fit.brake
    z = z - _lift(z, forces.forward_sd[slow] / fit.brake, limit[slow])
    rest = fit.lateral[0] / GRAVITY
    much = float(weights[side].sum() + weights[slow].sum())
    stiff = 0.5 * max(1.0, much / WORTH) / (LOAD_SHARE_SD * rest) ** 2
    found = fit_quantile(
        np.r_[shape[side], shape[slow]],
        np.r_[y, z],
        TAU,
        weights=np.r_[weights[side], weights[slow]],
        start=fit.lateral,
        prior=np.array([0.0, 0.0, LOAD_SHARE * rest]),
        stiffness=np.array([0.0, 0.0, stiff]),
    )
    # Braking may only lend its shape: its own multiple would follow it to any height.
    return found * find_quantile(y / (shape[side] @ found), TAU, weights[side])


def _both(fit: GripFit, forces: Forces, weights: Array) -> Flags:
    """Find samples of braking and cornering together near the limit."""
    along, across = _ratios(fit, forces)
    both = (weights > 0) & (np.minimum(along, across) > TOGETHER) & (forces.forward < 0)
    return np.asarray(both & (along**fit.exponent + across**fit.exponent > NEAR**fit.exponent))


def _exponent(fit: GripFit, forces: Forces, weights: Array, both: Flags) -> float:
    """Exponent that puts the quantile of the combined use at 1: larger ones lower the use."""
    along, across = _ratios(fit, forces)
    a, b, w = along[both], across[both], weights[both]
    sd = np.hypot(
        a * forces.forward_sd[both] / fit.along(forces)[both],
        b * forces.left_sd[both] / fit.limit(forces)[both],
    ) / np.hypot(a, b)

    def over(exponent: float) -> float:
        use = (a**exponent + b**exponent) ** (1 / exponent)
        return find_quantile(use - _lift(use, sd, np.ones(use.size)), TAU, w) - 1.0

    low, high = 1.0, 2.0
    if over(high) >= 0:
        return high
    if over(low) <= 0:
        return low
    for _ in range(12):
        middle = (low + high) / 2
        low, high = (middle, high) if over(middle) > 0 else (low, middle)
    return (low + high) / 2


def _with_support(fit: GripFit, forces: Forces, weights: Array, both: int) -> GripFit:
    names = ("lateral", "brake", "drive")
    support: dict[str, Support] = {}
    counts = {"together": both}
    for name, chosen in zip(names, _near(fit, forces, weights), strict=True):
        counts[name] = int(chosen.sum())
        if counts[name] >= FEWEST:
            low, high = np.quantile(forces.speed[chosen], [0.01, 0.99])
            support[name] = (float(low), float(high))
    brake = fit.brake if "brake" in support else float("nan")
    exponent = fit.exponent if both >= FEWEST else float("nan")
    return GripFit(
        fit.lateral, brake, fit.drive, exponent, MappingProxyType(support), MappingProxyType(counts)
    )


def find_grip_factors(fit: GripFit, forces: Forces, laps: int) -> Array:
    """Grip of each lap over the middle one, (laps,): a high quantile of its near-limit use."""
    use = fit.use(forces)
    near = use > NEAR
    found = np.array(
        [find_quantile(use[near & (forces.lap == k)], 0.85) for k in range(laps)], dtype=float
    )
    seen = np.isfinite(found)
    middle = float(np.median(found[seen])) if seen.any() else 1.0
    return np.where(seen, found / middle, 1.0)


def shown_push(fit: GripFit, forces: Forces) -> float:
    """Largest push over the lateral limit: what the tyres held without showing a limit."""
    pushed = forces.forward > 0
    return find_quantile((forces.forward / fit.limit(forces))[pushed], 0.99)
