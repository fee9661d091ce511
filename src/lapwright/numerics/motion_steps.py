"""The parts of the motion filter's loops: state, transition, measurements, updates.

See ``motion_kernels`` for the whole.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]

STATES = 10
#: The states that a log without accelerometers, yaw rate and heading says something of.
PATH_STATES = 6
#: The number of states as the compiled loops take it: the length of a tuple is a constant there.
WHOLE, PATH = (0,) * STATES, (0,) * PATH_STATES
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

#: The states that each source shows; one that stands twice counts nothing the second time.
SHOWN = np.array(
    [
        [X, Y, SPEED, ACCELERATION],
        [X, Y, DIRECTION, CURVATURE],
        [SPEED, ACCELERATION, X, X],
        [SPEED, ACCELERATION, CURVATURE, SLIP_RATE],
        [ACCELERATION, OFFSET_FORWARD, X, X],
        [SPEED, ACCELERATION, CURVATURE, OFFSET_LEFT],
        [DIRECTION, SPEED, CURVATURE, SLIP],
    ]
)
#: How many they are at most.
MOST_SHOWN = 4

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
def transition(m, dt, decay, f, step, size):  # type: ignore[no-untyped-def]
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
    if len(size) > PATH_STATES:
        step[6] = decay * m[6]
        step[7] = decay * m[7]
        step[8] = f[20] * m[8] + f[21] * m[9]
        step[9] = f[22] * m[8] + f[23] * m[9]


@njit(cache=True, nogil=True, fastmath={"contract"})
def apply(f, d, out, size):  # type: ignore[no-untyped-def]
    """Transition times a vector."""
    out[0] = d[0] + f[0] * d[2] + f[1] * d[3] + f[2] * d[4] + f[3] * d[5]
    out[1] = d[1] + f[4] * d[2] + f[5] * d[3] + f[6] * d[4] + f[7] * d[5]
    out[2] = d[2] + f[8] * d[3] + f[9] * d[4] + f[10] * d[5]
    out[3] = d[3] + f[11] * d[4]
    out[4] = d[4]
    out[5] = f[19] * d[5]
    if len(size) > PATH_STATES:
        out[6] = f[12] * d[6]
        out[7] = f[12] * d[7]
        out[8] = f[20] * d[8] + f[21] * d[9]
        out[9] = f[22] * d[8] + f[23] * d[9]


@njit(cache=True, nogil=True, fastmath={"contract"})
def apply_back(f, d, out, size):  # type: ignore[no-untyped-def]
    """Transposed transition times a vector."""
    out[0] = d[0]
    out[1] = d[1]
    out[2] = d[2] + f[0] * d[0] + f[4] * d[1]
    out[3] = d[3] + f[1] * d[0] + f[5] * d[1] + f[8] * d[2]
    out[4] = d[4] + f[2] * d[0] + f[6] * d[1] + f[9] * d[2] + f[11] * d[3]
    out[5] = f[19] * d[5] + f[3] * d[0] + f[7] * d[1] + f[10] * d[2]
    if len(size) > PATH_STATES:
        out[6] = f[12] * d[6]
        out[7] = f[12] * d[7]
        out[8] = f[20] * d[8] + f[22] * d[9]
        out[9] = f[21] * d[8] + f[23] * d[9]


@njit(cache=True, nogil=True, fastmath={"contract"})
def both_sides(f, p, work, column, back, size):  # type: ignore[no-untyped-def]
    """``p`` becomes F p F' (or F' p F with ``back``); ``p`` is symmetric.

    ``work`` and ``column`` are room for a matrix and a vector; a column passed as it lies would
    have the transition compiled a second time.
    """
    n = len(size)
    for i in range(n):
        if back:
            apply_back(f, p[i], work[i], size)
        else:
            apply(f, p[i], work[i], size)
    for j in range(n):
        for i in range(n):
            column[i] = work[i, j]
        if back:
            apply_back(f, column, p[j], size)
        else:
            apply(f, column, p[j], size)


@njit(cache=True, nogil=True)
def push(p, g0, g1, g2, g3, i0, i1, i2, i3, q):  # type: ignore[no-untyped-def]
    """Add the noise of one disturbance that reaches four states."""
    g = (g0, g1, g2, g3)
    at = (i0, i1, i2, i3)
    for a in range(4):
        for b in range(4):
            p[at[a], at[b]] += q * g[a] * g[b]


@njit(cache=True, nogil=True)
def row(source, m, at, c, n, h):  # type: ignore[no-untyped-def]
    """Entries ``h`` of the measurement row for the states of `SHOWN`; the prediction.

    At state ``m``, ``at`` seconds off the grid.
    """
    h[2] = 0.0
    h[3] = 0.0
    v = m[3] + m[4] * at
    if source == AT_X:  # along the path
        h[0] = c
        h[1] = n
        h[2] = at
        h[3] = 0.5 * at * at
        return c * m[0] + n * m[1] + at * m[3] + 0.5 * at * at * m[4]
    if source == AT_Y:  # across the path
        h[0] = -n
        h[1] = c
        h[2] = at * m[3]
        h[3] = 0.5 * at * at * m[3] * m[3]
        return -n * m[0] + c * m[1] + 0.5 * at * at * m[3] * m[3] * m[5]
    if source == AT_SPEED:
        sign = 1.0 if v >= 0.0 else -1.0
        h[0] = sign
        h[1] = sign * at
        return sign * v
    if source == AT_YAW_RATE:
        h[0] = m[5]
        h[1] = m[5] * at
        h[2] = v
        h[3] = -1.0
        return m[5] * v - m[9]
    if source == AT_FORWARD:
        h[0] = 1.0
        h[1] = 1.0
        return m[4] + m[6]
    if source == AT_LEFT:
        h[0] = 2.0 * m[5] * v
        h[1] = h[0] * at
        h[2] = v * v
        h[3] = 1.0
        return m[5] * v * v + m[7]
    h[0] = 1.0
    h[1] = m[5] * at
    h[2] = v * at
    h[3] = -1.0
    return m[2] + m[5] * v * at - m[8]


@njit(cache=True, nogil=True, fastmath={"contract"})
def update(x, p, error, s, gain, size):  # type: ignore[no-untyped-def]
    """Scalar update of state and covariance."""
    n = len(size)
    for i in range(n):
        x[i] += gain[i] * error
    for i in range(n):
        less = gain[i] * s
        for j in range(n):
            p[i, j] -= less * gain[j]


@njit(cache=True, nogil=True, fastmath={"contract"})
def gain(p, source, h, variance, gain, size):  # type: ignore[no-untyped-def]
    """Gain vector and innovation variance of a scalar measurement."""
    n = len(size)
    at = SHOWN[source]
    for i in range(n):
        gain[i] = h[0] * p[at[0], i] + h[1] * p[at[1], i] + h[2] * p[at[2], i] + h[3] * p[at[3], i]
    s = variance
    for q in range(MOST_SHOWN):
        s += h[q] * gain[at[q]]
    for i in range(n):
        gain[i] /= s
    return s
