"""The compiled inner loops of the speed profile.

Each row of ``rows`` holds what a place on the path asks and allows, all linear in
w = v²: the columns below. A zero power share never occurs; no power limit is ``inf``.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call,no-any-return"
from __future__ import annotations

import numpy as np
from numba import njit

# lateral force asked, lateral limit, brake limit, drive limit, resistance, power over mass
ASK0, ASK1, SIDE0, SIDE1, BRAKE0, BRAKE1, DRIVE0, DRIVE1, RESIST0, RESIST1, POWER = range(11)
COLUMNS = 11
SLOWEST = 0.01  # m²/s²: below it power over speed has no meaning


@njit(cache=True)
def rest_of_grip(row, w, exponent):
    """Share of the forward limit that is left beside the lateral force asked at w."""
    side = row[SIDE0] + row[SIDE1] * w
    ask = abs(row[ASK0] + row[ASK1] * w)
    if ask >= side:
        return 0.0
    if exponent == 2.0:
        return np.sqrt(1.0 - (ask / side) ** 2)
    if exponent == 1.0:
        return 1.0 - ask / side
    return (1.0 - (ask / side) ** exponent) ** (1.0 / exponent)


@njit(cache=True)
def gain(row, w, exponent):
    """Largest dv/dt in m/s² at w."""
    push = row[POWER] / np.sqrt(max(w, SLOWEST))
    drive = max(row[DRIVE0] + row[DRIVE1] * w, 0.0)
    # the superellipse holds its chord: where power is below even that, no root is needed
    if push * (row[SIDE0] + row[SIDE1] * w) > drive * (
        row[SIDE0] + row[SIDE1] * w - abs(row[ASK0] + row[ASK1] * w)
    ):
        push = min(push, drive * rest_of_grip(row, w, exponent))
    return push - row[RESIST0] - row[RESIST1] * w


@njit(cache=True)
def loss(row, w, exponent):
    """Largest −dv/dt in m/s² at w."""
    grip = max(row[BRAKE0] + row[BRAKE1] * w, 0.0) * rest_of_grip(row, w, exponent)
    return grip + row[RESIST0] + row[RESIST1] * w


@njit(cache=True)
def highest_w(row, cap):
    """Largest v² that the lateral limit and a cap (m²/s²) allow at a place."""
    w = cap
    for sign in (1.0, -1.0):
        slope = sign * row[ASK1] - row[SIDE1]
        room = row[SIDE0] - sign * row[ASK0]
        if slope > 0:
            w = min(w, max(room / slope, 0.0))
    return w


@njit(cache=True)
def highest_all(rows, cap):
    """`highest_w` of every place."""
    out = np.empty(rows.shape[0])
    for i in range(out.size):
        out[i] = highest_w(rows[i], cap[i])
    return out


@njit(cache=True)
def forward_pass(mid, step, w, exponent, first, count):
    """Lower w so that no step gains more than `gain`; return the largest change.

    ``mid`` holds the rows half-way to the next place: one midpoint (second-order
    Runge–Kutta) step each, from place ``first``, ``count`` times around.
    """
    n = w.size
    change = 0.0
    for turn in range(count):
        i = (first + turn) % n
        j = (i + 1) % n
        half = w[i] + step[i] * gain(mid[i], w[i], exponent)
        reach = w[i] + 2 * step[i] * gain(mid[i], max(half, 0.0), exponent)
        if reach < w[j]:
            change = max(change, w[j] - reach)
            w[j] = max(reach, 0.0)
    return change


@njit(cache=True)
def backward_pass(mid, step, w, exponent, last, count):
    """Lower w so that no step loses more than `loss`; return the largest change."""
    n = w.size
    change = 0.0
    for turn in range(count):
        j = (last - turn) % n
        i = (j - 1) % n
        half = w[j] + step[i] * loss(mid[i], w[j], exponent)
        reach = w[j] + 2 * step[i] * loss(mid[i], half, exponent)
        if reach < w[i]:
            change = max(change, w[i] - reach)
            w[i] = max(reach, 0.0)
    return change
