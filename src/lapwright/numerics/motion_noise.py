"""Noise levels of the sources and of the motion itself, found in the data.

Expectation-maximisation on a few stretches of driving: the smoother's own
residuals and disturbances, with their posterior variances, give the next
estimate (Shumway and Stoffer, *J. Time Series Analysis* 3, 1982, for the
principle), over-relaxed because the plain iteration is slow.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np
from numpy.typing import NDArray

from lapwright.numerics import motion_kernels as mk
from lapwright.numerics.motion_chunks import (
    HASTE,
    Measurements,
    Noise,
    adapt,
    first_state,
    flat_density,
    in_threads,
    run,
)

Array = NDArray[np.float64]

STRETCHES = 6
STRETCH_S = 25.0
ROUNDS = 9
#: No sensor is taken to be better than this (m, m, m/s, rad/s, m/s^2, m/s^2, rad).
FLOOR = np.array([2e-3, 2e-3, 5e-3, 5e-4, 0.02, 0.02, 1e-3])
#: Order of difference that takes the motion out of a source, for the first guess.
_ORDER = (3, 3, 2, 2, 1, 1, 2)
_GAIN = {1: 2.0, 2: 6.0, 3: 20.0}


def guess_noise(m: Measurements) -> Noise:
    """First guess: robust scatter of differences."""
    sd = np.array([_scatter(row, order) for row, order in zip(m.values, _ORDER, strict=True)])
    sd = np.fmax(sd, FLOOR)
    place = float(np.sqrt(0.5 * (sd[0] ** 2 + sd[1] ** 2)))
    sd[:2] = min(place, 5.0)
    return Noise(sd**2, 0.0, 60.0, 60.0, np.array([0.1, 0.1]))


def _scatter(row: Array, order: int) -> float:
    values = row[np.isfinite(row)]
    if values.size < 10:
        return 0.0
    steps = np.abs(np.diff(values, order))
    return float(np.median(steps) / 0.6745 / np.sqrt(_GAIN[order]))


def pick_stretches(m: Measurements) -> list[Measurements]:
    """Stretches of driving, evenly over the recording."""
    length = min(max(int(STRETCH_S / m.step), 100), m.values.shape[1])
    spare = m.values.shape[1] - length
    wanted = min(STRETCHES, 1 + 2 * spare // length)
    starts = np.unique(np.linspace(0, spare, max(wanted * 3, 1)).astype(int))
    travel = np.array([_travel(m.cut(s, s + length)) for s in starts])
    best = starts[np.sort(np.argsort(-travel, kind="stable")[:wanted])]
    return [m.cut(s, s + length) for s in best]


def _travel(m: Measurements) -> float:
    """Whether a stretch moves, roughly: full marks above 10 m/s, so that slow ones come last."""
    if m.has_place:
        x, y = m.values[:2, np.isfinite(m.values[mk.AT_X])]
        if x.size < 2:
            return 0.0
        few = max(x.size // 10, 1)
        far = float(np.hypot(np.diff(x[::few]), np.diff(y[::few])).sum())
    else:
        far = float(np.nansum(np.abs(m.values[mk.AT_SPEED]))) * m.step
    return float(min(far / (m.values.shape[1] * m.step), 10.0))


def fit_noise(
    stretches: list[Measurements], guess: Noise, known: Mapping[int, float], rounds: int = ROUNDS
) -> Noise:
    """Noise levels that the data support.

    Parameters
    ----------
    stretches
        Pieces of the recording.
    guess
        Where to start.
    known
        Variances that are given and stay, by source.
    rounds
        Number of iterations.
    """
    noise = _with_known(guess, known)
    densities = [flat_density(noise, m.values.shape[1]) for m in stretches]
    for _ in range(rounds):
        found = in_threads(
            partial(_one_round, noise=noise), list(zip(stretches, densities, strict=True))
        )
        sums = np.sum([s for s, _ in found], axis=0)
        driven = np.concatenate([q for _, q in found], axis=1)
        noise = _with_known(_next_noise(noise, sums, driven.mean(axis=1)), known)
        densities = [
            adapt(density, (q / density).T, noise, m.step)
            for m, density, (_, q) in zip(stretches, densities, found, strict=True)
        ]
    return noise


def _with_known(noise: Noise, known: Mapping[int, float]) -> Noise:
    variance = noise.variance.copy()
    for source, value in known.items():
        variance[source] = value
    return Noise(variance, noise.jitter, noise.acceleration, noise.curvature, noise.offset)


def _one_round(piece: tuple[Measurements, Array], noise: Noise) -> tuple[Array, Array]:
    """Find the sums of the noise and the expected densities (2, n) of the disturbances."""
    m, density = piece
    count = m.values.shape[1]
    out, _ = run(m, noise, first_state(m, noise), (0, count), None, density)
    return out.sums, density * out.ratio.T


def _next_noise(noise: Noise, sums: Array, driven: Array) -> Noise:
    variance = noise.variance.copy()
    for source in range(1, mk.SOURCES):
        total, count = sums[source]
        if count > 20:
            variance[source] *= _haste(total / count / variance[source])
    variance = np.maximum(variance, FLOOR**2)
    jitter = noise.jitter
    if sums[mk.AT_X, 1] > 20:
        along = sums[mk.AT_X, 0] / sums[mk.AT_X, 1] - variance[mk.AT_Y]
        jitter = max(along / max(sums[mk.SUM_SPEED, 0] / sums[mk.SUM_SPEED, 1], 1.0), 0.0)
    ratio = np.ones(2)
    for which in range(2):
        total, count = sums[mk.SUM_OFFSET_FORWARD + which]
        if count > 20:
            ratio[which] = _haste(total / count)
    return Noise(
        variance,
        jitter,
        float(np.clip(driven[0], 1.0, 2000.0)),
        float(np.clip(driven[1], 1.0, 2000.0)),
        np.clip(noise.offset * ratio, 1e-4, 4.0),
    )


def _haste(ratio: float) -> float:
    return float(np.clip(ratio, 0.05, 20.0) ** HASTE)
