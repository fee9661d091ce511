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

Array = NDArray[np.float64]

STATES = 10
X, Y, DIRECTION, SPEED, ACCELERATION, CURVATURE, OFFSET_FORWARD, OFFSET_LEFT = range(8)
SLIP, SLIP_RATE = 8, 9

#: Rows of the measurement arrays; ``AT_X`` also stands for the error along the path
#: and ``AT_Y`` for that across it in all variances.
SOURCES = 7
AT_X, AT_Y, AT_SPEED, AT_YAW_RATE, AT_FORWARD, AT_LEFT, AT_DIRECTION = range(SOURCES)

#: Rows of the sums that re-estimate the noise: sources, then the accelerometers' offsets,
#: then the squared speed at accepted positions.
SUM_OFFSET_FORWARD, SUM_OFFSET_LEFT, SUM_SPEED = range(SOURCES, SOURCES + 3)
SUMS = SOURCES + 3

#: Other sources than positions are left out beyond this multiple of the gate: their
#: innovations are also large where the car does something sudden.
WIDER = 2.0

#: Natural frequency of sideslip in rad/s, critically damped.
SLIP_FREQUENCY = 2.0

#: Below this speed (m/s) the curvature noise no longer grows.
SLOW = 6.0
#: Below this speed (m/s) the curvature fades, within a second at rest.
CRAWL = 3.0
#: Largest density of the direction's own disturbance, rad^2/s, at half that speed.
CRAWL_TURN = 0.1


@njit(cache=True, nogil=True)
def _transition(m, dt, decay, f, step):  # type: ignore[no-untyped-def]
    """Non-trivial entries of the transition at the state ``m``; ``step`` is its image."""
    s = m[3] * dt + 0.5 * m[4] * dt * dt
    turn = m[5] * s
    mid = m[2] + 0.5 * turn
    c, n = np.cos(mid), np.sin(mid)
    shrink = 1.0 - turn * turn / 24.0
    half = 0.5 * s * m[5]
    f[0] = -s * n  # x by direction
    f[1] = (c - half * n) * dt  # x by speed
    f[2] = 0.5 * f[1] * dt  # x by acceleration
    f[3] = -0.5 * s * s * n  # x by curvature
    f[4] = s * c
    f[5] = (n + half * c) * dt
    f[6] = 0.5 * f[5] * dt
    f[7] = 0.5 * s * s * c
    f[8] = m[5] * dt  # direction by speed
    f[9] = 0.5 * f[8] * dt
    f[10] = s  # direction by curvature
    f[11] = dt
    f[12] = decay
    # a car that hardly moves shows no curvature; without this it would wander off
    fade = np.exp(-dt * max(0.0, 1.0 - abs(m[3]) / CRAWL))
    f[19] = fade
    fade_slip = np.exp(-SLIP_FREQUENCY * dt)
    f[20] = fade_slip * (1.0 + SLIP_FREQUENCY * dt)
    f[21] = fade_slip * dt
    f[22] = -fade_slip * SLIP_FREQUENCY * SLIP_FREQUENCY * dt
    f[23] = fade_slip * (1.0 - SLIP_FREQUENCY * dt)
    # a disturbance arrives as a ramp within the step
    f[13] = c * dt * dt / 6.0
    f[14] = n * dt * dt / 6.0
    f[15] = 0.5 * dt
    f[16] = -n * s * s / 6.0
    f[17] = c * s * s / 6.0
    f[18] = 0.5 * s
    step[0] = m[0] + s * c * shrink
    step[1] = m[1] + s * n * shrink
    step[2] = m[2] + turn
    step[3] = m[3] + m[4] * dt
    step[4] = m[4]
    step[5] = fade * m[5]
    step[6] = decay * m[6]
    step[7] = decay * m[7]
    step[8] = f[20] * m[8] + f[21] * m[9]
    step[9] = f[22] * m[8] + f[23] * m[9]


@njit(cache=True, nogil=True)
def _apply(f, d, out):  # type: ignore[no-untyped-def]
    """Transition times a vector."""
    out[0] = d[0] + f[0] * d[2] + f[1] * d[3] + f[2] * d[4] + f[3] * d[5]
    out[1] = d[1] + f[4] * d[2] + f[5] * d[3] + f[6] * d[4] + f[7] * d[5]
    out[2] = d[2] + f[8] * d[3] + f[9] * d[4] + f[10] * d[5]
    out[3] = d[3] + f[11] * d[4]
    out[4] = d[4]
    out[5] = f[19] * d[5]
    out[6] = f[12] * d[6]
    out[7] = f[12] * d[7]
    out[8] = f[20] * d[8] + f[21] * d[9]
    out[9] = f[22] * d[8] + f[23] * d[9]


@njit(cache=True, nogil=True)
def _apply_back(f, d, out):  # type: ignore[no-untyped-def]
    """Transposed transition times a vector."""
    out[0] = d[0]
    out[1] = d[1]
    out[2] = d[2] + f[0] * d[0] + f[4] * d[1]
    out[3] = d[3] + f[1] * d[0] + f[5] * d[1] + f[8] * d[2]
    out[4] = d[4] + f[2] * d[0] + f[6] * d[1] + f[9] * d[2] + f[11] * d[3]
    out[5] = f[19] * d[5] + f[3] * d[0] + f[7] * d[1] + f[10] * d[2]
    out[6] = f[12] * d[6]
    out[7] = f[12] * d[7]
    out[8] = f[20] * d[8] + f[22] * d[9]
    out[9] = f[21] * d[8] + f[23] * d[9]


@njit(cache=True, nogil=True)
def _both_sides(f, p, work, back):  # type: ignore[no-untyped-def]
    """``p`` becomes F p F' (or F' p F with ``back``); ``p`` is symmetric."""
    for i in range(STATES):
        if back:
            _apply_back(f, p[i], work[i])
        else:
            _apply(f, p[i], work[i])
    row = np.empty(STATES)
    for j in range(STATES):
        if back:
            _apply_back(f, work[:, j], row)
        else:
            _apply(f, work[:, j], row)
        for i in range(STATES):
            p[j, i] = row[i]


@njit(cache=True, nogil=True)
def _push(p, g0, g1, g2, g3, i0, i1, i2, i3, q):  # type: ignore[no-untyped-def]
    """Add the noise of one disturbance that reaches four states."""
    g = (g0, g1, g2, g3)
    at = (i0, i1, i2, i3)
    for a in range(4):
        for b in range(4):
            p[at[a], at[b]] += q * g[a] * g[b]


@njit(cache=True, nogil=True)
def _row(source, m, at, c, n, h):  # type: ignore[no-untyped-def]
    """Measurement row ``h`` at state ``m``, ``at`` seconds off the grid; the prediction."""
    for i in range(STATES):
        h[i] = 0.0
    v = m[3] + m[4] * at
    if source == AT_X:  # along the path
        h[0] = c
        h[1] = n
        h[3] = at
        h[4] = 0.5 * at * at
        return c * m[0] + n * m[1] + at * m[3] + 0.5 * at * at * m[4]
    if source == AT_Y:  # across the path
        h[0] = -n
        h[1] = c
        h[2] = at * m[3]
        h[5] = 0.5 * at * at * m[3] * m[3]
        return -n * m[0] + c * m[1] + 0.5 * at * at * m[3] * m[3] * m[5]
    if source == AT_SPEED:
        sign = 1.0 if v >= 0.0 else -1.0
        h[3] = sign
        h[4] = sign * at
        return sign * v
    if source == AT_YAW_RATE:
        h[3] = m[5]
        h[4] = m[5] * at
        h[5] = v
        h[9] = -1.0
        return m[5] * v - m[9]
    if source == AT_FORWARD:
        h[4] = 1.0
        h[6] = 1.0
        return m[4] + m[6]
    if source == AT_LEFT:
        h[3] = 2.0 * m[5] * v
        h[4] = h[3] * at
        h[5] = v * v
        h[7] = 1.0
        return m[5] * v * v + m[7]
    h[2] = 1.0
    h[3] = m[5] * at
    h[5] = v * at
    h[8] = -1.0
    return m[2] + m[5] * v * at - m[8]


@njit(cache=True, nogil=True)
def _update(x, p, error, s, gain):  # type: ignore[no-untyped-def]
    """Scalar update of state and covariance."""
    for i in range(STATES):
        x[i] += gain[i] * error
    for i in range(STATES):
        for j in range(STATES):
            p[i, j] -= gain[i] * s * gain[j]


@njit(cache=True, nogil=True)
def _gain(p, h, variance, gain):  # type: ignore[no-untyped-def]
    """Gain vector and innovation variance of a scalar measurement."""
    s = variance
    for i in range(STATES):
        total = 0.0
        for j in range(STATES):
            total += p[i, j] * h[j]
        gain[i] = total
        s += h[i] * total
    for i in range(STATES):
        gain[i] /= s
    return s


@njit(cache=True, nogil=True)
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
):
    """Filter forward and smooth backward over one stretch.

    Parameters
    ----------
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
        Outputs: smoothed states (m, 10), their variances (m, 10), and the covariance of
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
    xs = np.empty((n, STATES))
    ps = np.empty((n, STATES, STATES))
    fs = np.empty((n, 24))
    gains = np.empty((n, SOURCES, STATES))
    rows = np.empty((n, SOURCES, STATES))
    innovation = np.empty((n, SOURCES))
    total = np.zeros((n, SOURCES))
    assumed = np.empty((n, 3))
    drop = np.zeros((n, SOURCES), np.bool_)
    x = x0.copy()
    p = p0.copy()
    m = np.empty(STATES)
    d = np.empty(STATES)
    step = np.empty(STATES)
    work = np.empty((STATES, STATES))
    lost = 0
    for k in range(n):
        if k > 0:
            for i in range(STATES):
                m[i] = about[k - 1, i] if relinearise else x[i]
                d[i] = x[i] - m[i]
            _transition(m, dt, decay, fs[k], step)
            _apply(fs[k], d, x)
            for i in range(STATES):
                x[i] += step[i]
            _both_sides(fs[k], p, work, False)
            f = fs[k]
            v = max(abs(m[3]), SLOW)
            qa = noise[0, k] * dt
            qc = noise[1, k] * dt / v**4
            assumed[k, 0] = qa
            assumed[k, 1] = qc
            qs = noise[2, k] * dt
            assumed[k, 2] = qs
            _push(p, f[13], f[14], f[15], 1.0, 0, 1, 3, 4, qa)
            _push(p, f[16], f[17], f[18], 1.0, 0, 1, 2, 5, qc)
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
            tail_state[:] = x
            tail_spread[:] = p
        for i in range(STATES):
            xs[k, i] = x[i]
            for j in range(STATES):
                ps[k, i, j] = p[i, j]
            m[i] = about[k, i] if relinearise else x[i]
        c, sn = np.cos(m[2]), np.sin(m[2])
        has_place = not (np.isnan(values[AT_X, k]) or np.isnan(values[AT_Y, k]))
        if has_place:
            for source in (AT_X, AT_Y):
                at = offsets[AT_X, k]
                h = rows[k, source]
                guess = _row(source, m, at, c, sn, h)
                e = (
                    c * values[AT_X, k] + sn * values[AT_Y, k]
                    if source == AT_X
                    else -sn * values[AT_X, k] + c * values[AT_Y, k]
                ) - guess
                s = variance[source] + (jitter * m[3] * m[3] if source == AT_X else 0.0)
                for i in range(STATES):
                    e -= h[i] * (x[i] - m[i])
                    for j in range(STATES):
                        s += h[i] * p[i, j] * h[j]
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
            guess = _row(source, m, at, c, sn, h)
            if source == AT_X:
                e = c * values[AT_X, k] + sn * values[AT_Y, k] - guess
                r += jitter * m[3] * m[3]
            elif source == AT_Y:
                e = -sn * values[AT_X, k] + c * values[AT_Y, k] - guess
            else:
                e = values[source, k] - guess
            for i in range(STATES):
                e -= h[i] * (x[i] - m[i])
            if source == AT_DIRECTION:
                e -= 2.0 * np.pi * np.round(e / (2.0 * np.pi))
            g = gains[k, source]
            s = _gain(p, h, r, g)
            if source > AT_Y and e * e > WIDER * WIDER * gate * gate * s:
                drop[k, source] = True
                total[k, source] = -WIDER * WIDER * gate * gate * r
                continue
            innovation[k, source] = e
            total[k, source] = s
            _update(x, p, e, s, g)
    _backward(
        xs, ps, fs, gains, rows, innovation, total, assumed, drop, variance, jitter,
        keep_from, keep_to, want_spread, state, spread, cross, rejected, ratio, sums,
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _backward(  # type: ignore[no-untyped-def]
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
):
    """Backward recursion on the adjoint ``lam`` and its information ``big``."""
    n = xs.shape[0]
    lam = np.zeros(STATES)
    big = np.zeros((STATES, STATES))
    work = np.empty((STATES, STATES))
    bg = np.empty(STATES)
    row = np.empty(STATES)
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
            for i in range(STATES):
                t = 0.0
                for j in range(STATES):
                    t += big[i, j] * g[j]
                bg[i] = t
                gbg += g[i] * t
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
            weight = gbg + 1.0 / s
            a = e / s + gl
            for i in range(STATES):
                lam[i] -= h[i] * a
                for j in range(STATES):
                    big[i, j] += h[i] * h[j] * weight - h[i] * bg[j] - bg[i] * h[j]
        if inside:
            o = k - keep_from
            p = ps[k]
            for i in range(STATES):
                t = 0.0
                for j in range(STATES):
                    t += p[i, j] * lam[j]
                state[o, i] = xs[k, i] - t
            for i in range(STATES if want_spread else 0):
                # big times one column of p, then the diagonal entry
                t = 0.0
                u = 0.0
                for a_ in range(STATES):
                    q = 0.0
                    for b_ in range(STATES):
                        q += big[a_, b_] * p[b_, i]
                    t += p[i, a_] * q
                    if i == 5:
                        u += p[3, a_] * q
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
            _disturbance(lam, big, f, assumed[k], variance, sums, ratio[k - keep_from])
        _apply_back(f, lam, row)
        for i in range(STATES):
            lam[i] = row[i]
        _both_sides(f, big, work, True)


@njit(cache=True, nogil=True)
def _disturbance(lam, big, f, assumed, variance, sums, ratio):  # type: ignore[no-untyped-def]
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
    for which in range(2):
        q = variance[SOURCES + which]
        i = 6 + which
        sums[SUM_OFFSET_FORWARD + which, 0] += q * (lam[i] * lam[i] - big[i, i]) + 1.0
        sums[SUM_OFFSET_FORWARD + which, 1] += 1.0
    half = 0.5 * f[11]
    t = half * lam[8] + lam[9]
    u = half * half * big[8, 8] + 2.0 * half * big[8, 9] + big[9, 9]
    ratio[2] = assumed[2] * (t * t - u) + 1.0
