"""The motion filter over a long recording: overlapping stretches, in parallel."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from lapwright.numerics import motion_kernels as mk
from lapwright.numerics.motion_reference import near_rough, rough_states

Array = NDArray[np.float64]
T = TypeVar("T")
R = TypeVar("R")

GATE = 6.0
PATIENCE_S = 0.4
RESET_VARIANCE = 200.0**2
#: Time constant in s of what an accelerometer reads beside the path's acceleration.
OFFSET_TIME = 2.0
CHUNK = 8000
OVERLAP_S = 5.0
#: Fewer positions in a stretch say nothing of a direction.
MIN_PLACES = 5
#: Rounds, window, weight against the mean, over-relaxation and limits (natural logarithm
#: of the share of the mean) with which the density of the disturbances follows the data.
ADAPTIONS = 2
ADAPT_S = 0.25
TRUST = 0.8
HASTE = 1.6
REACH = (-6.0, 2.5)
#: Room for the compiled loops that nobody is using, by the number of states.
_ROOMS: Final[dict[int, list[tuple[Any, ...]]]] = {mk.PATH_STATES: [], mk.STATES: []}


@dataclass(frozen=True, slots=True)
class Measurements:
    """What the filter is given.

    Parameters
    ----------
    step
        Grid step, s.
    values, offsets
        Shape (7, n), rows as ``motion_kernels.AT_*``; NaN where there is no value.
    """

    step: float
    values: Array
    offsets: Array

    @property
    def has_place(self) -> bool:
        """Whether there is any position."""
        return bool(np.isfinite(self.values[mk.AT_X]).any())

    def cut(self, start: int, stop: int) -> Measurements:
        """Take samples ``start`` to ``stop``."""
        return Measurements(self.step, self.values[:, start:stop], self.offsets[:, start:stop])


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise levels of the filter.

    Parameters
    ----------
    variance
        Of each source, shape (7,); that of ``AT_Y`` counts for both coordinates.
    jitter
        Variance of the positions' time stamps, s^2.
    acceleration, curvature
        Densities of path and of lateral acceleration, (m/s^2)^2/s.
    offset
        Stationary variances of the two accelerometers' offsets, (m/s^2)^2, shape (2,).
    slip
        Density of the sideslip rate, (rad/s)^2/s.
    """

    variance: Array
    jitter: float
    acceleration: float
    curvature: float
    offset: Array
    slip: float = 0.02


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Result of the filter.

    Parameters
    ----------
    state, spread
        Smoothed states, shape (n, 10), and the variances of the first six, shape (n, 6).
    cross
        Covariance of speed and curvature, shape (n,).
    rejected
        Shape (7, n).
    ratio
        Expected squares of the disturbances over their assumed variances, shape (n, 3).
    sums
        Shape (10, 2), see ``motion_kernels.smooth_chunk``.
    """

    state: Array
    spread: Array
    cross: Array
    rejected: NDArray[np.bool_]
    ratio: Array
    sums: Array


@dataclass(frozen=True, slots=True)
class Start:
    """State and covariance before the first sample."""

    state: Array
    spread: Array


def in_threads(work: Callable[[T], R], items: Sequence[T]) -> list[R]:
    """Do ``work`` on all items, a few at a time; the kernels let go of the lock."""
    workers = min(len(items), os.cpu_count() or 1, 8)
    if workers < 2:
        return [work(item) for item in items]
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(work, items))


def smooth(measurements: Measurements, noise: Noise, chunk: int = CHUNK) -> Smoothed:
    """Filter and smooth a whole recording.

    With positions, overlapping stretches are independent of each other; without,
    each starts from the last one's end.
    """
    count = measurements.values.shape[1]
    bounds = _bounds(measurements, chunk)
    if measurements.has_place:
        parts = in_threads(lambda b: _stretch(measurements, noise, b)[0], bounds)
    else:
        parts = _in_turn(measurements, noise, bounds)
    state = np.concatenate([p.state for p in parts])
    state[:, mk.DIRECTION] = _join_turns(parts)
    assert state.shape[0] == count
    return Smoothed(
        state,
        np.concatenate([p.spread for p in parts]),
        np.concatenate([p.cross for p in parts]),
        np.concatenate([p.rejected for p in parts], axis=1),
        np.concatenate([p.ratio for p in parts]),
        np.sum([p.sums for p in parts], axis=0),
    )


def _bounds(m: Measurements, chunk: int) -> list[tuple[int, int, int, int]]:
    """Stretches (window start, kept start, kept stop, window stop) in samples.

    A window reaches far enough to hold a second of positions on either side.
    """
    count = m.values.shape[1]
    pieces = max(round(count / chunk), 1)
    edges = np.linspace(0, count, pieces + 1).astype(int)
    margin = max(int(OVERLAP_S / m.step), 20)
    if not m.has_place:
        return [(int(a), int(a), int(b), int(min(b + margin, count))) for a, b in pairwise(edges)]
    places = np.flatnonzero(np.isfinite(m.values[mk.AT_X]))
    few = min(10, places.size)
    out = []
    for a, b in pairwise(edges):
        before = np.searchsorted(places, a) - few
        after = np.searchsorted(places, b) + few - 1
        lo = min(a - margin, int(places[before]) if before >= 0 else 0)
        hi = max(b + margin, int(places[after]) + 1 if after < places.size else count)
        out.append((int(max(lo, 0)), int(a), int(b), int(min(hi, count))))
    return out


def _in_turn(
    m: Measurements, noise: Noise, bounds: Sequence[tuple[int, int, int, int]]
) -> list[Smoothed]:
    parts = []
    start: Start | None = None
    for bound in bounds:
        part, start = _stretch(m, noise, bound, start)
        parts.append(part)
    return parts


def _stretch(
    m: Measurements, noise: Noise, bound: tuple[int, int, int, int], start: Start | None = None
) -> tuple[Smoothed, Start]:
    """Run over one stretch a few times, each time linearised about the last one's result.

    After each pass the density of the disturbances follows what was found: low on
    a straight, high where the brakes bite.
    """
    lo, keep_from, keep_to, hi = bound
    window = m.cut(lo, hi)
    rough = about = first_guess(window, noise)
    begin = first_state(window, noise, about) if start is None else start
    everything = (0, hi - lo)
    density = flat_density(noise, hi - lo)
    for _ in range(ADAPTIONS):
        whole, _tail = run(window, noise, begin, everything, about, density, False)
        density = adapt(density, whole.ratio, noise, m.step)
        about = whole.state if rough is None else near_rough(whole.state, rough)
    return run(window, noise, begin, (keep_from - lo, keep_to - lo), about, density)


def first_guess(m: Measurements, noise: Noise) -> Array | None:
    """Rough states to linearise about first; None where there are too few positions."""
    if np.isfinite(m.values[mk.AT_X]).sum() < MIN_PLACES:
        return None
    return rough_states(m.values, m.step, float(np.sqrt(noise.variance[mk.AT_Y])))


def flat_density(noise: Noise, count: int) -> Array:
    """Give the same density of the disturbances everywhere, shape (3, count)."""
    return np.repeat(_means(noise), count, axis=1)


def _means(noise: Noise) -> Array:
    return np.array([[noise.acceleration], [noise.curvature], [noise.slip]])


def adapt(density: Array, ratio: Array, noise: Noise, step: float) -> Array:
    """Move a density to what the disturbances found support.

    Where the data say nothing of a disturbance its expected square stays at the
    assumed one, and the density goes to the mean.
    """
    width = max(round(ADAPT_S / step) | 1, 3)
    mean = _means(noise)
    found = uniform_filter1d(ratio.T, width, axis=1, mode="nearest")
    local = np.log(density / mean) + HASTE * np.log(np.maximum(found, 1e-3))
    return np.asarray(mean * np.exp(np.clip(TRUST * local, *REACH)))


def run(
    m: Measurements,
    noise: Noise,
    start: Start,
    keep: tuple[int, int],
    about: Array | None,
    density: Array,
    want_spread: bool = True,
) -> tuple[Smoothed, Start]:
    """One forward and backward pass; also the prediction for the sample after those kept."""
    kept = keep[1] - keep[0]
    decay = float(np.exp(-m.step / OFFSET_TIME))
    variance = np.concatenate([noise.variance, noise.offset * (1.0 - decay**2)])
    variance[mk.AT_X] = variance[mk.AT_Y]
    whole = np.isfinite(m.values[mk.AT_YAW_RATE :]).any()
    out = Smoothed(
        np.zeros((kept, mk.STATES)),
        np.empty((kept, mk.PATH_STATES)),
        np.empty(kept),
        np.empty((mk.SOURCES, kept), np.bool_),
        np.empty((kept, 3)),
        np.zeros((mk.SUMS, 2)),
    )
    # what is not followed stays as it was before
    tail = Start(start.state.copy(), np.diag(np.diag(start.spread)))
    size = mk.WHOLE if whole else mk.PATH
    room = _take_room(m.values.shape[1], len(size))
    mk.smooth_chunk(
        np.ascontiguousarray(m.values),
        np.ascontiguousarray(m.offsets),
        np.zeros((1, mk.STATES)) if about is None else about,
        about is not None,
        start.state,
        start.spread,
        m.step,
        decay,
        density,
        variance,
        noise.jitter,
        GATE,
        _patience(m),
        RESET_VARIANCE,
        keep[0],
        keep[1],
        want_spread,
        out.state,
        out.spread,
        out.cross,
        out.rejected,
        out.ratio,
        out.sums,
        tail.state,
        tail.spread,
        size,
        room,
    )
    _give_back(room, len(size))
    return out, tail


def _take_room(count: int, states: int) -> tuple[Any, ...]:
    """Take room that was given back, if it is large enough, or make it."""
    with suppress(IndexError):
        room = _ROOMS[states].pop()
        if len(room[0]) >= count:
            return room
    return mk.make_room(count, states)


def _give_back(room: tuple[Any, ...], states: int) -> None:
    """Keep room for the next one who needs it, unless it is far more than most need."""
    if len(room[0]) <= 2 * CHUNK:
        _ROOMS[states].append(room)


def _patience(m: Measurements) -> int:
    """Rejected positions in a row after which the place is taken to be new."""
    places = np.flatnonzero(np.isfinite(m.values[mk.AT_X]))
    if places.size < 2:
        return 3
    return max(int(PATIENCE_S / (m.step * float(np.median(np.diff(places))))), 3)


def first_state(m: Measurements, noise: Noise, about: Array | None) -> Start:
    """Rough state at the start of a stretch, with a wide spread."""
    state = np.zeros(mk.STATES)
    sd = np.array([20.0, 20.0, 0.7, 6.0, 10.0, 0.03, 0.0, 0.0, 0.0, 0.0])
    if about is not None:
        state[:6] = about[0, :6]
        sd[mk.SPEED] = 6.0 + 0.3 * state[mk.SPEED]
    else:
        _start_alone(m, state, sd)
    sd[[mk.OFFSET_FORWARD, mk.OFFSET_LEFT]] = np.sqrt(noise.offset)
    # stationary spread of a critically damped process
    sd[mk.SLIP_RATE] = np.sqrt(noise.slip / (4.0 * mk.SLIP_FREQUENCY))
    sd[mk.SLIP] = sd[mk.SLIP_RATE] / mk.SLIP_FREQUENCY
    return Start(state, np.diag(sd**2))


def _start_alone(m: Measurements, state: Array, sd: Array) -> None:
    """Start without positions, in place: our own origin and first direction are exact."""
    speeds, directions = m.values[mk.AT_SPEED], m.values[mk.AT_DIRECTION]
    known = speeds[np.isfinite(speeds)]
    if known.size:
        state[mk.SPEED] = float(np.median(known[:5]))
    sd[[mk.X, mk.Y, mk.DIRECTION]] = 1e-6
    seen = directions[np.isfinite(directions)]
    if seen.size:
        state[mk.DIRECTION] = seen[0]
        sd[mk.DIRECTION] = 0.3


def _join_turns(parts: Sequence[Smoothed]) -> Array:
    """Directions without jumps of whole turns where stretches meet."""
    joined: list[Array] = []
    for part in parts:
        direction = part.state[:, mk.DIRECTION]
        if joined:
            turns = np.round((joined[-1][-1] - direction[0]) / (2.0 * np.pi))
            direction = direction + 2.0 * np.pi * turns
        joined.append(direction)
    return np.concatenate(joined)
