"""Compiled loops of the motion filter: one forward and one backward pass.

State (10): x, y, path direction, speed, path acceleration, path curvature, the
slowly varying offsets of the two accelerometers (road slope, banking, roll of
the body and sideslip show up there), sideslip and its rate, by which the yaw of
the body differs from the turning of the path. Acceleration and curvature are
driven by white noise whose density is given for each sample; sideslip is a
damped second-order process, so that it comes back and the yaw rate stays right
in the long run.

Forward: extended Kalman filter with scalar updates. Backward: modified
Bryson-Frazier recursion (Bierman, *Factorization Methods for Discrete
Sequential Estimation*, 1977), which needs no inverse and gives the smoothed
disturbances, from which noise levels are re-estimated, at no extra cost.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lapwright.numerics.motion_steps import (
    ACCELERATION,
    AT_DIRECTION,
    AT_FORWARD,
    AT_LEFT,
    AT_SPEED,
    AT_X,
    AT_Y,
    AT_YAW_RATE,
    CRAWL,
    CRAWL_TURN,
    CURVATURE,
    DIRECTION,
    MOST_SHOWN,
    OFFSET_FORWARD,
    OFFSET_LEFT,
    PATH,
    PATH_STATES,
    SHOWN,
    SLIP,
    SLIP_FREQUENCY,
    SLIP_RATE,
    SLOW,
    SOURCES,
    SPEED,
    STATES,
    SUM_OFFSET_FORWARD,
    SUM_OFFSET_LEFT,
    SUM_SPEED,
    SUMS,
    WHOLE,
    WIDER,
    X,
    Y,
    apply,
    apply_back,
    both_sides,
    gain,
    push,
    row,
    transition,
    update,
)

__all__ = [
    "ACCELERATION",
    "AT_DIRECTION",
    "AT_FORWARD",
    "AT_LEFT",
    "AT_SPEED",
    "AT_X",
    "AT_Y",
    "AT_YAW_RATE",
    "CRAWL",
    "CRAWL_TURN",
    "CURVATURE",
    "DIRECTION",
    "OFFSET_FORWARD",
    "OFFSET_LEFT",
    "PATH",
    "PATH_STATES",
    "SLIP",
    "SLIP_FREQUENCY",
    "SLIP_RATE",
    "SLOW",
    "SOURCES",
    "SPEED",
    "STATES",
    "SUMS",
    "SUM_OFFSET_FORWARD",
    "SUM_OFFSET_LEFT",
    "SUM_SPEED",
    "WHOLE",
    "WIDER",
    "X",
    "Y",
    "make_room",
    "smooth_chunk",
]

Array = NDArray[np.float64]
#: Entries of a transition that are kept.
ENTRIES = 24


def make_room(count: int, states: int) -> tuple[Array | NDArray[np.bool_], ...]:
    """Make the arrays that `smooth_chunk` keeps from its forward for its backward pass.

    They are larger than all its results, and asking for them anew each time takes longer than
    filling them.
    """
    shapes = (
        (states,),
        (states, states),
        (ENTRIES,),
        (SOURCES, states),
        (SOURCES, MOST_SHOWN),
        (SOURCES,),
        (SOURCES,),
        (3,),
    )
    return (*(np.empty((count, *s)) for s in shapes), np.empty((count, SOURCES), np.bool_))


@njit(cache=True, nogil=True, fastmath={"contract"}, error_model="numpy")
def smooth_chunk(  # type: ignore[no-untyped-def]
    values,
    offsets,
    about,
    relinearise,
    x0,
    p0,
    dt,
    decay,
    noise,
    variance,
    jitter,
    gate,
    patience,
    reset_variance,
    keep_from,
    keep_to,
    want_spread,
    state,
    spread,
    cross,
    rejected,
    ratio,
    sums,
    tail_state,
    tail_spread,
    size,
    room,
):
    """Filter forward and smooth backward over one stretch.

    Parameters
    ----------
    room
        Arrays of `make_room` for as many samples at least.
    size
        `WHOLE`, or `PATH` where no source shows the offsets and the sideslip: these states
        then stay as in ``x0`` and ``p0`` says nothing of them.
    values, offsets
        Measurements and their distance from the grid in seconds, shape (7, n); NaN where
        there is none.
    about
        States to linearise about, shape (n, 10); used when ``relinearise``.
    relinearise
        Linearise about ``about`` instead of the running estimate.
    x0, p0
        State before the first sample, shapes (10,) and (10, 10).
    dt, decay
        Grid step in s; share of an accelerometer's offset left after one step.
    noise
        Densities by sample, shape (3, n): of acceleration and of lateral acceleration in
        (m/s^2)^2/s, of the sideslip rate in (rad/s)^2/s.
    variance
        Variance of each source (7,) and of the offsets' steps (2).
    jitter
        Variance of the positions' time stamps in s^2.
    gate
        Innovations beyond this many standard deviations are left out.
    patience
        After so many rejected positions in a row the position starts anew.
    reset_variance
        Variance of a coordinate when it starts anew.
    keep_from, keep_to
        Samples to write into the outputs.
    want_spread
        Whether to fill ``spread`` and ``cross``, which cost a quarter of the time.
    state, spread, cross
        Outputs: smoothed states (m, 10), variances of the first six (m, 6), covariance of
        speed with curvature (m,).
    rejected
        Output (7, m): True where a value was left out.
    ratio
        Output (m, 3): expected square of the step's disturbance of acceleration, of
        curvature and of the sideslip rate over its assumed variance.
    sums
        Output (10, 2), sum and count: expected squared noise of each source; expected
        squares of the offsets' steps over their assumed variances; squared
        speed.
    tail_state, tail_spread
        Outputs (10,), (10, 10): prediction for sample ``keep_to`` from all before it, with
        which a following stretch can go on.
    """
    n = values.shape[1]
    states = len(size)
    xs, ps, fs, gains, rows, innovation, total, assumed, drop = room
    for k in range(n):
        for source in range(SOURCES):
            total[k, source] = 0.0
            drop[k, source] = False
    x = x0[:states].copy()
    p = p0[:states, :states].copy()
    m = np.zeros(STATES)
    d = np.empty(states)
    step = np.empty(states)
    work = np.empty((states, states))
    lost = 0
    for k in range(n):
        if k > 0:
            f = fs[k]
            for i in range(states):
                m[i] = about[k - 1, i] if relinearise else x[i]
                d[i] = x[i] - m[i]
            transition(m, dt, decay, f, step, size)
            apply(f, d, x, size)
            for i in range(states):
                x[i] += step[i]
            both_sides(f, p, work, d, False, size)
            v = max(abs(m[3]), SLOW)
            qa = noise[0, k] * dt
            qc = noise[1, k] * dt / v**4
            assumed[k, 0] = qa
            assumed[k, 1] = qc
            qs = noise[2, k] * dt
            assumed[k, 2] = qs
            push(p, f[13], f[14], f[15], 1.0, 0, 1, 3, 4, qa)
            push(p, f[16], f[17], f[18], 1.0, 0, 1, 2, 5, qc)
            if states > PATH_STATES:
                p[6, 6] += variance[SOURCES]
                p[7, 7] += variance[SOURCES + 1]
                half = 0.5 * dt
                p[8, 8] += half * half * qs
                p[8, 9] += half * qs
                p[9, 8] += half * qs
                p[9, 9] += qs
            # at a crawl a car turns as no curvature can tell; at rest it does not
            crawl = min(abs(m[3]) / CRAWL, 1.0)
            p[2, 2] += CRAWL_TURN * dt * 4.0 * crawl * (1.0 - crawl)
            if lost > patience:
                # the place is new, and what was dead-reckoned since may be wrong
                p[0, 0] += reset_variance
                p[1, 1] += reset_variance
                p[2, 2] += 0.3
                p[3, 3] += 100.0
                p[4, 4] += 50.0
                p[5, 5] += 1e-3
                lost = 0
        if k == keep_to:
            for i in range(states):
                tail_state[i] = x[i]
                for j in range(states):
                    tail_spread[i, j] = p[i, j]
        for i in range(states):
            xs[k, i] = x[i]
            for j in range(states):
                ps[k, i, j] = p[i, j]
            m[i] = about[k, i] if relinearise else x[i]
        c, sn = np.cos(m[2]), np.sin(m[2])
        has_place = not (np.isnan(values[AT_X, k]) or np.isnan(values[AT_Y, k]))
        if has_place:
            for source in (AT_X, AT_Y):
                at = offsets[AT_X, k]
                h = rows[k, source]
                guess = row(source, m, at, c, sn, h)
                e = (
                    c * values[AT_X, k] + sn * values[AT_Y, k]
                    if source == AT_X
                    else -sn * values[AT_X, k] + c * values[AT_Y, k]
                ) - guess
                s = variance[source] + (jitter * m[3] * m[3] if source == AT_X else 0.0)
                shown = SHOWN[source]
                for i in range(MOST_SHOWN):
                    a = shown[i]
                    e -= h[i] * (x[a] - m[a])
                    for j in range(MOST_SHOWN):
                        s += h[i] * p[a, shown[j]] * h[j]
                if e * e > gate * gate * s:
                    drop[k, AT_X] = True
                    drop[k, AT_Y] = True
                    total[k, source] = -gate * gate * variance[source]
            if drop[k, AT_X]:
                lost += 1
            else:
                lost = 0
        for source in range(SOURCES):
            if drop[k, source] or np.isnan(values[source, k]):
                continue
            if source <= AT_Y and not has_place:
                continue
            h = rows[k, source]
            r = variance[source]
            at = offsets[AT_X if source == AT_Y else source, k]
            guess = row(source, m, at, c, sn, h)
            if source == AT_X:
                e = c * values[AT_X, k] + sn * values[AT_Y, k] - guess
                r += jitter * m[3] * m[3]
            elif source == AT_Y:
                e = -sn * values[AT_X, k] + c * values[AT_Y, k] - guess
            else:
                e = values[source, k] - guess
            shown = SHOWN[source]
            for i in range(MOST_SHOWN):
                e -= h[i] * (x[shown[i]] - m[shown[i]])
            if source == AT_DIRECTION:
                e -= 2.0 * np.pi * np.round(e / (2.0 * np.pi))
            g = gains[k, source]
            s = gain(p, source, h, r, g, size)
            if source > AT_Y and e * e > WIDER * WIDER * gate * gate * s:
                drop[k, source] = True
                total[k, source] = -WIDER * WIDER * gate * gate * r
                continue
            innovation[k, source] = e
            total[k, source] = s
            update(x, p, e, s, g, size)
    _backward(
        n, xs, ps, fs, gains, rows, innovation, total, assumed, drop, variance, jitter,
        keep_from, keep_to, want_spread, state, spread, cross, rejected, ratio, sums, size,
    )  # fmt: skip


@njit(cache=True, nogil=True, fastmath={"contract"}, error_model="numpy")
def _backward(  # type: ignore[no-untyped-def]
    n,
    xs,
    ps,
    fs,
    gains,
    rows,
    innovation,
    total,
    assumed,
    drop,
    variance,
    jitter,
    keep_from,
    keep_to,
    want_spread,
    state,
    spread,
    cross,
    rejected,
    ratio,
    sums,
    size,
):
    """Backward recursion on the adjoint ``lam`` and its information ``big``."""
    states = len(size)
    lam = np.zeros(states)
    big = np.zeros((states, states))
    work = np.empty((states, states))
    bg = np.empty(states)
    row = np.empty(states)
    for k in range(n - 1, -1, -1):
        inside = keep_from <= k < keep_to
        for source in range(SOURCES - 1, -1, -1):
            s = total[k, source]
            if s < 0.0 and inside:
                # counted at the gate: leaving it out would let a variance that is too
                # small confirm itself
                sums[source, 0] -= s
                sums[source, 1] += 1.0
            if s <= 0.0:
                continue
            h = rows[k, source]
            g = gains[k, source]
            e = innovation[k, source]
            gl = 0.0
            gbg = 0.0
            for i in range(states):
                bg[i] = 0.0
            for j in range(states):
                for i in range(states):
                    bg[i] += big[j, i] * g[j]
            for i in range(states):
                gbg += g[i] * bg[i]
                gl += g[i] * lam[i]
            if inside:
                r = variance[source]
                if source == AT_X:
                    v = xs[k, 3]
                    r += jitter * v * v
                    sums[SUM_SPEED, 0] += v * v
                    sums[SUM_SPEED, 1] += 1.0
                u = e / s + gl
                sums[source, 0] += r * r * (u * u - (1.0 / s + gbg)) + r
                sums[source, 1] += 1.0
            # big += h h' (gbg + 1/s) - h bg' - bg h', whose last two take half of the first each
            half = 0.5 * (gbg + 1.0 / s)
            a = e / s + gl
            shown = SHOWN[source]
            for i in range(MOST_SHOWN):
                lam[shown[i]] -= h[i] * a
                bg[shown[i]] -= h[i] * half
            for i in range(MOST_SHOWN):
                for j in range(states):
                    change = h[i] * bg[j]
                    big[shown[i], j] -= change
                    big[j, shown[i]] -= change
        if inside:
            o = k - keep_from
            p = ps[k]
            for i in range(states):
                row[i] = xs[k, i]
            for j in range(states):
                for i in range(states):
                    row[i] -= p[j, i] * lam[j]
            for i in range(states):
                state[o, i] = row[i]
            for i in range(PATH_STATES if want_spread else 0):
                # big times one column of p, then the diagonal entry
                for a_ in range(states):
                    row[a_] = 0.0
                for b_ in range(states):
                    for a_ in range(states):
                        row[a_] += big[b_, a_] * p[i, b_]
                t = 0.0
                u = 0.0
                for a_ in range(states):
                    t += p[i, a_] * row[a_]
                    if i == 5:
                        u += p[3, a_] * row[a_]
                spread[o, i] = max(p[i, i] - t, 0.0)
                if i == 5:
                    cross[o] = p[3, 5] - u
            for source in range(SOURCES):
                rejected[source, o] = drop[k, source]
        if k == 0:
            if inside:
                ratio[0, 0] = 1.0
                ratio[0, 1] = 1.0
                ratio[0, 2] = 1.0
            break
        f = fs[k]
        if inside:
            _disturbance(lam, big, f, assumed[k], variance, sums, ratio[k - keep_from], size)
        apply_back(f, lam, row, size)
        for i in range(states):
            lam[i] = row[i]
        both_sides(f, big, work, row, True, size)


@njit(cache=True, nogil=True, fastmath={"contract"}, error_model="numpy")
def _disturbance(  # type: ignore[no-untyped-def]
    lam, big, f, assumed, variance, sums, ratio, size
):
    """Find expected squares of the smoothed disturbances over their assumed variances."""
    for which in range(2):
        if which == 0:
            at = (0, 1, 3, 4)
            g = (f[13], f[14], f[15], 1.0)
        else:
            at = (0, 1, 2, 5)
            g = (f[16], f[17], f[18], 1.0)
        t = 0.0
        u = 0.0
        for a in range(4):
            t += g[a] * lam[at[a]]
            for b in range(4):
                u += g[a] * g[b] * big[at[a], at[b]]
        q = assumed[which]
        ratio[which] = q * (t * t - u) + 1.0
    ratio[2] = 1.0
    if len(size) == PATH_STATES:
        return  # nothing shows the others: they are what they were taken to be
    for which in range(2):
        q = variance[SOURCES + which]
        i = 6 + which
        sums[SUM_OFFSET_FORWARD + which, 0] += q * (lam[i] * lam[i] - big[i, i]) + 1.0
        sums[SUM_OFFSET_FORWARD + which, 1] += 1.0
    half = 0.5 * f[11]
    t = half * lam[8] + lam[9]
    u = half * half * big[8, 8] + 2.0 * half * big[8, 9] + big[9, 9]
    ratio[2] = assumed[2] * (t * t - u) + 1.0
