"""Forces that the tyres gave, and what a bend shows of them."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from lapwright.model.fit_places import Levels, Places, find_levels
from lapwright.model.fit_samples import Flags, Samples
from lapwright.physics.load import GRAVITY

Array = NDArray[np.float64]
#: Least force in m/s² that can be a limit.
LEAST = 1.5
#: Power that must be left over for a push to be the tyres' limit.
SPARE_POWER = 1.10


@dataclass(frozen=True, slots=True)
class Forces:
    """What the tyres gave, arrays of shape (k,).

    Parameters
    ----------
    lap, bend
        As in `Samples`.
    speed, normal
        m/s; apparent gravity in m/s².
    forward, left
        m/s², with standard deviations.
    full
        Settled full throttle.
    may_slip
        A push with power left over, and not at full throttle: tyres may limit it.
    """

    lap: NDArray[np.int64]
    bend: Places
    speed: Array
    normal: Array
    forward: Array
    left: Array
    forward_sd: Array
    left_sd: Array
    full: Flags
    may_slip: Flags

    def shape(self) -> Array:
        """Columns of a limit: 1, v², normal − g."""
        columns = np.ones(self.speed.size), self.speed**2, self.normal - GRAVITY
        return np.stack(columns, axis=1)

    def chosen(self, chosen: Flags) -> Forces:
        """Only some of the samples."""
        return Forces(*(getattr(self, f.name)[chosen] for f in fields(self)))


@dataclass(frozen=True, slots=True)
class Part:
    """Chosen samples with their weights."""

    forces: Forces
    weights: Array

    def chosen(self, chosen: Flags) -> Part:
        """Only some of the samples."""
        return Part(self.forces.chosen(chosen), self.weights[chosen])

    def levels(self, values: Array, tau: float) -> Levels:
        """Find what each bend shows of values at the samples."""
        return find_levels(values, self.forces.bend, tau, self.weights)


def build_forces(samples: Samples, resistance: Array, power_per_mass: float, keep: Flags) -> Forces:
    """Take the resistance (m/s²) out of the samples: what is left the tyres gave."""
    forward = samples.ahead + resistance
    spare = power_per_mass / samples.speed > SPARE_POWER * forward
    every = Forces(
        samples.lap, samples.bend, samples.speed, samples.normal, forward, samples.left,
        samples.ahead_sd, samples.left_sd, samples.full, spare & ~samples.full,
    )  # fmt: skip
    return every.chosen(keep)


def choose_hard(samples: Samples, resistance: Array) -> Flags:
    """Tell which samples can have anything to do with a limit: half of the hardest or more."""
    size = np.hypot(samples.ahead + resistance, samples.left)
    return np.asarray(size > max(LEAST, 0.35 * float(np.quantile(size, 0.99))))
