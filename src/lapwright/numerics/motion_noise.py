"""Noise levels of the sources and of the motion itself, found in the data.

Expectation-maximisation on a few stretches of driving: the smoother's own
residuals and disturbances, with their posterior variances, give the next
estimate (Shumway and Stoffer, *J. Time Series Analysis* 3, 1982, for the
principle), over-relaxed because the plain iteration is slow.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from lapwright.numerics import motion_kernels as mk
from lapwright.numerics.motion_chunks import (
    HASTE,
    Measurements,
    Noise,
    Smoothed,
    adapt,
    first_guess,
    first_state,
    flat_density,
    in_threads,
    run,
)
from lapwright.numerics.motion_reference import near_rough

Array = NDArray[np.float64]

STRETCHES = 6
STRETCH_S = 25.0
ROUNDS = 9
#: No sensor is taken to be better than this (m, m, m/s, rad/s, m/s^2, m/s^2, rad).
FLOOR = np.array([5e-3, 5e-3, 5e-3, 5e-4, 0.02, 0.02, 1e-3])
#: First guesses are not below these either: a source too trusted at first bends the motion,
#: and the others then look noisy for good.
MODEST = np.array([5e-3, 5e-3, 0.05, 0.01, 0.2, 0.2, 0.01])
#: Mean densities of path and lateral acceleration that a car can have, (m/s^2)^2/s: more
#: would take errors of the positions for jerks.
DENSITIES = (1.0, 200.0)
#: The same of the sideslip rate, (rad/s)^2/s.
SLIP_DENSITIES = (1e-4, 1.0)
#: Order of difference that takes the motion out of a source, for the first guess.
_ORDER = (3, 3, 2, 2, 1, 1, 2)
_GAIN = {1: 2.0, 2: 6.0, 3: 20.0}


def guess_noise(m: Measurements) -> Noise:
    """First guess: robust scatter of differences."""
    sd = np.array([_scatter(row, order) for row, order in zip(m.values, _ORDER, strict=True)])
    sd = np.fmax(sd, MODEST)
    place = float(np.sqrt(0.5 * (sd[0] ** 2 + sd[1] ** 2)))
    sd[:2] = min(place, 5.0)
    jitter = _time_scatter(m, float(sd[mk.AT_Y]))
    return Noise(sd**2, jitter, 60.0, 60.0, np.array([0.1, 0.1]))


def _time_scatter(m: Measurements, scatter: float) -> float:
    """Variance of the positions' time stamps: what scatters along the path, not across it.

    Not robust on purpose: hiccups of a logger's clock are rare and large.
    """
    places = np.flatnonzero(np.isfinite(m.values[mk.AT_X]) & np.isfinite(m.values[mk.AT_Y]))
    if places.size < 50:
        return 0.0
    at = m.values[:2, places]
    chord = (at[:, 3:] - at[:, :-3]) / ((places[3:] - places[:-3]) * m.step)
    speed = np.hypot(*chord)
    moving = (
        (speed > 5.0) & (speed < 150.0) & (places[3:] - places[:-3] < 4 * np.diff(places).min())
    )
    if moving.sum() < 50:
        return 0.0
    rough = np.diff(at, 3, axis=1)[:, moving] / np.sqrt(_GAIN[3])
    along = np.sum(rough * chord[:, moving], axis=0) / speed[moving]
    along = np.abs(along)
    along = np.minimum(along, np.quantile(along, 0.99))
    return float(max(np.mean(along**2) - scatter**2, 0.0) / np.mean(speed[moving] ** 2))


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
    able = starts[travel >= 0.8 * travel.max()]
    best = able[np.unique(np.linspace(0, able.size - 1, min(wanted, able.size)).astype(int))]
    return [m.cut(s, s + length) for s in best]


def _travel(m: Measurements) -> float:
    """Mean speed of a stretch, roughly; 10 m/s and more count the same."""
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
    roughs = abouts = [first_guess(m, noise) for m in stretches]
    for _ in range(rounds):
        found = in_threads(
            partial(_one_round, noise=noise), list(zip(stretches, densities, abouts, strict=True))
        )
        sums = np.sum([out.sums for out in found], axis=0)
        driven = [d * out.ratio.T for d, out in zip(densities, found, strict=True)]
        mean = np.concatenate(driven, axis=1).mean(axis=1)
        noise = _with_known(_next_noise(noise, sums, mean), known)
        densities = [
            adapt(d, out.ratio, noise, m.step)
            for m, d, out in zip(stretches, densities, found, strict=True)
        ]
        abouts = [
            out.state if rough is None else near_rough(out.state, rough)
            for out, rough in zip(found, roughs, strict=True)
        ]
    return noise


def _with_known(noise: Noise, known: Mapping[int, float]) -> Noise:
    variance = noise.variance.copy()
    for source, value in known.items():
        variance[source] = value
    return replace(noise, variance=variance)


def _one_round(piece: tuple[Measurements, Array, Array | None], noise: Noise) -> Smoothed:
    m, density, about = piece
    everything = (0, m.values.shape[1])
    return run(m, noise, first_state(m, noise, about), everything, about, density, False)[0]


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
        fresh = max(along / max(sums[mk.SUM_SPEED, 0] / sums[mk.SUM_SPEED, 1], 1.0), 0.0)
        jitter = jitter * _haste(fresh / jitter) if jitter > 1e-12 else fresh
    ratio = np.ones(2)
    for which in range(2):
        total, count = sums[mk.SUM_OFFSET_FORWARD + which]
        if count > 20:
            ratio[which] = _haste(total / count)
    return Noise(
        variance,
        jitter,
        float(np.clip(driven[0], *DENSITIES)),
        float(np.clip(driven[1], *DENSITIES)),
        np.clip(noise.offset * ratio, 1e-4, 4.0),
        float(np.clip(driven[2], *SLIP_DENSITIES)),
    )


def _haste(ratio: float) -> float:
    return float(np.clip(ratio, 0.05, 20.0) ** HASTE)
