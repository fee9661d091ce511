"""Grip limits by high quantiles: to the side, braking and drive, joined by superellipses."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from lapwright.errors import NoAnswerError
from lapwright.model.fit_forces import LEAST, Forces, Part
from lapwright.model.fit_places import Levels
from lapwright.model.fit_samples import Flags
from lapwright.numerics.fits import find_quantile, fit_least, noise_quantile
from lapwright.physics.grip import grip_use, limit_at
from lapwright.physics.load import GRAVITY

Array = NDArray[np.float64]
Support = tuple[float, float]
#: Share of the near-limit samples of a bend that the envelope holds; on exits, where
#: nothing is taken off for noise, fewer.
TAU, TAU_EXIT = 0.95, 0.85
#: A sample tells of a direction's limit when its use reaches the first, and the other
#: direction's stays below the second.
NEAR, BESIDE = 0.80, 0.30
#: Grip grows a little less than load (common practice, no source): per_load · g / at_rest
#: where the road's shape does not settle it, and how far cars are from it.
LOAD_SHARE, LOAD_SHARE_SD = 0.9, 0.15
#: The same for downforce at the bends' speeds over the limit at rest (common practice, no
#: source): it counts where bends are few or all of one speed.
DOWN_SHARE, DOWN_SHARE_SD = 0.1, 0.2
#: Bends differ by this share of the limit at least; by the second where nobody measured how
#: they are banked (3° are worth 5 %; common practice, no source).
BENDS_SD, BANKED_SD = 0.02, 0.05
#: What is within the first below a bend's level tells at which speed and load it was reached,
#: within the second at what push.
TOP, TIP = 0.05, 0.01
#: Braking and cornering are together from this share of each limit on.
TOGETHER = 0.30
#: A push tells of the drive limit from this share of it on beside less of the lateral limit
#: than the second, and beside more, from the third on, of how drive and cornering join.
PUSHED, MOST_BESIDE, LEAVING = 0.30, 0.70, 0.15
#: Exponents are sought from 1 to these: braking as `Car` holds it; drive by one axle, which
#: has grip left when the other is at its limit.
WIDEST, WIDEST_DRIVE = 2.0, 3.0
#: They are found to this.
EXPONENT_STEP = 3e-4
#: The fewest samples that can show a limit (1 s).
FEWEST = 20
#: By turns until nothing moves by more than a share of itself, so often at most; from a fit
#: of nearly the same samples twice.
MOST_ROUNDS, SETTLED, ROUNDS_AGAIN = 30, 1e-3, 2


@dataclass(frozen=True, slots=True)
class GripFit:
    """Limits as far as they were shown.

    Parameters
    ----------
    lateral
        At rest (m/s²), per v² (1/m), per load.
    brake, drive
        Multiples of it; NaN where nothing showed them.
    exponent, drive_exponent
        How braking joins cornering, and how drive does; the first NaN where not shown.
    drive_joined
        Drive as a multiple for one exponent for both, as `Car` holds them: larger than
        ``drive`` where drive joins more fully, so that exits are as they were.
    support
        Speeds in m/s that back ``lateral``, ``brake``, ``drive``.
    counts
        How many samples do.
    bends_sd
        Share of the limit by which bends were held to differ at least.
    """

    lateral: Array
    brake: float
    drive: float = float("nan")
    exponent: float = 1.5
    drive_exponent: float = 2.0
    drive_joined: float = float("nan")
    support: MappingProxyType[str, Support] = field(default_factory=lambda: MappingProxyType({}))
    counts: MappingProxyType[str, int] = field(default_factory=lambda: MappingProxyType({}))
    bends_sd: float = BENDS_SD

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
        exponent = np.where(forces.forward < 0, self.safe_exponent, self.drive_exponent)
        return np.asarray(grip_use(forces.forward, forces.left, *limits, exponent))

    @property
    def safe_exponent(self) -> float:
        """The exponent, or 1, the smallest envelope, where nothing showed it."""
        return self.exponent if np.isfinite(self.exponent) else 1.0


def fit_grip(
    forces: Forces, weights: Array, start: GripFit | None = None, bends_sd: float = BENDS_SD,
) -> GripFit:  # fmt: skip
    """Fit limits and exponents by turns.

    A limit is the middle of what the bends show: a high quantile of what was reached in each.

    Parameters
    ----------
    weights
        Of the samples, (k,); 0 leaves one out.
    start
        A fit to begin from, which saves most of the time.
    bends_sd
        Share of the limit by which bends differ at least; that of ``start`` counts before it.

    Raises
    ------
    NoAnswerError
        When nothing showed a cornering limit.
    """
    part = Part(forces, weights).chosen(weights > 0)
    fit = start or replace(_first_guess(part), bends_sd=bends_sd)
    fit = replace(fit, exponent=fit.safe_exponent)
    for _ in range(ROUNDS_AGAIN if start else MOST_ROUNDS):
        before = fit
        side, slow, push = (part.chosen(at) for at in _near(fit, part.forces))
        lateral, brake = _plane(fit, side), _brake_multiple(fit, slow)
        drive = _drive_multiple(fit, push, fit.drive_exponent)
        fit = replace(fit, lateral=lateral, brake=brake, drive=drive)
        both, leaving = (part.chosen(at) for at in _joined(fit, part.forces))
        exponent = _exponent(fit, both, WIDEST, fit.exponent)
        drive_exponent = _exponent(fit, leaving, WIDEST_DRIVE, fit.drive_exponent)
        fit = replace(fit, exponent=exponent, drive_exponent=drive_exponent)
        if _settled(before, fit):
            break
    fit = replace(fit, drive_joined=_drive_multiple(fit, push, fit.exponent))
    return _with_support(fit, part.forces, both.weights.size)


def _settled(before: GripFit, fit: GripFit) -> bool:
    was, now = (
        np.array([f.lateral[0], f.brake, f.exponent, *f.lateral[1:]]) for f in (before, fit)
    )
    scale = np.array([*now[:3], now[0] / 2500.0, now[0] / GRAVITY])  # v² of a fast bend, m²/s²
    return bool(np.all(np.abs(now - was) < SETTLED * np.abs(scale)))


def _first_guess(part: Part) -> GripFit:
    forces = part.forces
    side = np.abs(forces.left) > np.maximum(LEAST, 5 * forces.left_sd)
    side &= np.abs(forces.forward) < np.abs(forces.left)
    if side.sum() < FEWEST:
        raise NoAnswerError("No cornering limit: these laps hardly turn")
    top = find_quantile(np.abs(forces.left[side]), 0.97, part.weights[side])
    slow = (forces.forward < -LEAST) & (np.abs(forces.left) < -forces.forward)
    brake = find_quantile(-forces.forward[slow], 0.97, part.weights[slow]) / top
    held = np.array([0.85 * top, 0.15 * top / np.mean(forces.speed[side] ** 2), top / GRAVITY])
    return GripFit(held, brake if slow.sum() >= FEWEST else 1.0)


def _ratios(fit: GripFit, forces: Forces) -> tuple[Array, Array]:
    return np.abs(forces.forward) / fit.along(forces), np.abs(forces.left) / fit.limit(forces)


def _near(fit: GripFit, forces: Forces) -> tuple[Flags, Flags, Flags]:
    """Find samples near the limit to the side, in braking and in drive."""
    along, across = _ratios(fit, forces)
    near = fit.use(forces) > NEAR
    # at full throttle the engine sets the speed, so a bend taken flat shows no limit
    side = near & (along < BESIDE) & ~forces.full
    slow = near & (forces.forward < 0) & (across < BESIDE)
    push = near & (forces.forward > LEAST) & forces.may_slip
    return side, slow, push & (along > PUSHED) & (across < MOST_BESIDE)


def _joined(fit: GripFit, forces: Forces) -> tuple[Flags, Flags]:
    """Find samples near the limit of cornering together with braking, and with drive."""
    along, across = _ratios(fit, forces)
    near = fit.use(forces) > NEAR
    both = near & (forces.forward < 0) & (np.minimum(along, across) > TOGETHER)
    leaving = near & (forces.forward > LEAST) & forces.may_slip
    return both, leaving & (along > LEAVING) & (across > MOST_BESIDE)


def _lift(y: Array, sd: Array, limit: Array) -> Array:
    """Tell what noise adds to the quantile at these samples: METHOD's z σ."""
    at = float(np.mean(y > limit - 1.5 * sd)) if y.size else 0.0
    return noise_quantile(TAU, at) * sd


def _brake_multiple(fit: GripFit, part: Part) -> float:
    """Braking limit over that to the side, of the bends before which most was reached.

    The others were braked for on a curve, which takes its share, or too gently.
    """
    if part.weights.size < FEWEST:
        return fit.brake
    forces = part.forces
    y = np.abs(forces.forward)
    ratio = (y - _lift(y, forces.forward_sd, fit.along(forces))) / fit.limit(forces)
    found = part.levels(ratio, TAU).top
    return found if np.isfinite(found) else fit.brake


def _drive_multiple(fit: GripFit, part: Part, exponent: float) -> float:
    """Drive limit over that to the side: it puts the quantile of the use on exits at 1.

    Hardly anybody drives at the limit of drive alone, so this leans on the superellipse.
    NaN where too few samples tell.
    """
    if part.weights.size < FEWEST:
        return float("nan")
    limit = fit.limit(part.forces)
    across = np.minimum(np.abs(part.forces.left) / limit, MOST_BESIDE)
    left_over = (1 - across**exponent) ** (1 / exponent)
    return part.levels(part.forces.forward / (limit * left_over), TAU_EXIT).middle


def _plane(fit: GripFit, part: Part) -> Array:
    """Lateral limit through the levels of the bends, drawn to what cars usually are."""
    forces, limit = part.forces, fit.limit(part.forces)
    y = np.abs(forces.left)
    ratio = (y - _lift(y, forces.left_sd, limit)) / limit
    levels = part.levels(ratio, TAU)
    if y.size < FEWEST or levels.place.size == 0:
        raise NoAnswerError("No cornering limit: hardly anything was driven near one")
    shape = _means(forces, forces.shape(), ratio, levels, TOP)
    # what pushes against the air takes its share of the limit
    push = np.maximum(forces.forward / fit.along(forces), 0.0)
    push = np.minimum(_means(forces, push, ratio, levels, TIP), BESIDE)
    level = levels.level / (1 - push**fit.drive_exponent) ** (1 / fit.drive_exponent)
    return _through(fit, shape, level)


def _means(forces: Forces, values: Array, ratio: Array, levels: Levels, below: float) -> Array:
    """Mean of values in each bend over the samples no further below its level."""
    at = zip(levels.place, levels.level, strict=True)
    return np.array([
        values[(forces.bend == place) & (ratio > level - below)].mean(axis=0) for place, level in at
    ])  # fmt: skip


def _through(fit: GripFit, shape: Array, level: Array) -> Array:
    """Lay the plane anew through the bends' levels, shares of the plane before."""
    # a bend that lies apart, not driven at the limit or banked, pulls like its sign alone
    sd = np.sqrt(fit.bends_sd * np.maximum(np.abs(level - 1.0), fit.bends_sd))
    before = fit.lateral
    rows = shape / (shape @ before)[:, None]
    per_v2, per_load = before[0] / shape[:, 1].mean(), before[0] / GRAVITY
    prior = np.array([0.0, DOWN_SHARE * per_v2, LOAD_SHARE * per_load])
    spread = np.array([np.inf, DOWN_SHARE_SD * per_v2, LOAD_SHARE_SD * per_load])
    return fit_least(rows, level, sd**-2.0, prior, spread**-2.0)


def _exponent(fit: GripFit, part: Part, widest: float, before: float) -> float:
    """Exponent that puts the quantile of the combined use at 1: larger ones lower the use."""
    if part.weights.size < FEWEST:
        return before
    forces = part.forces
    a, b = _ratios(fit, forces)
    sd = np.hypot(a * forces.forward_sd / fit.along(forces), b * forces.left_sd / fit.limit(forces))
    sd = sd / np.hypot(a, b)

    def over(exponent: float) -> float:
        use = (a**exponent + b**exponent) ** (1 / exponent)
        return part.levels(use - _lift(use, sd, np.ones(use.size)), TAU).middle - 1.0

    at_widest = over(widest)
    if np.isnan(at_widest):
        return before
    if at_widest >= 0:
        return widest
    if over(1.0) <= 0:
        return 1.0
    return float(brentq(over, 1.0, widest, xtol=EXPONENT_STEP))


def _with_support(fit: GripFit, forces: Forces, both: int) -> GripFit:
    names = ("lateral", "brake", "drive")
    support: dict[str, Support] = {}
    counts = {"together": both}
    for name, chosen in zip(names, _near(fit, forces), strict=True):
        counts[name] = int(chosen.sum())
        if counts[name] >= FEWEST:
            low, high = np.quantile(forces.speed[chosen], [0.01, 0.99])
            support[name] = (float(low), float(high))
    nan = float("nan")
    return replace(
        fit, brake=fit.brake if "brake" in support else nan,
        exponent=fit.exponent if both >= FEWEST else nan,
        support=MappingProxyType(support), counts=MappingProxyType(counts),
    )  # fmt: skip


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
