"""The compiled loop of a corner braked for too late."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call,no-any-return"
from __future__ import annotations

import math

import numpy as np
from numba import njit

from lapwright.physics.load import GRAVITY

#: Grip grows with the load by this share of it: less than in proportion (common practice, no
#: source); the figure was set with the invented car's late braking in one session.
LOAD_SHARE = 0.7
#: The load never falls below this share of the weight.
LEAST_LOAD = 0.1
#: Exponent of the superellipse that joins braking and turning: 2 would be the friction circle;
#: set with the invented car's late braking in two sessions.
JOINED = 1.5
#: Time in which the brake takes hold, s (usual order of size, no source).
BITE_S = 0.12
#: A driver brakes while he is faster than he wants to be by more than this, m/s.
TOO_FAST_MPS = 0.2
#: How a driver comes back to his line: own frequency, 1/s, and damping (assumed).
STEER_RADPS, STEER_DAMPING = 1.6, 0.8
STEP_S, LONGEST_S = 0.02, 12.0

#: Rows of the road that is driven on: speed, offset and direction wanted, curvature of the
#: wanted path and of the road, room from the middle to both edges, what presses the car on the
#: road at rest and per squared speed, the road's fall to the left, the pull of the hill.
SPEED, OFFSET, COURSE, CURVE, BEND, LEFT, RIGHT, PRESSED, PRESSED_PER_V2, CROSS, PULL = range(11)
ROWS = 11


@njit(cache=True)
def drive_wide(road, first_m, brake, side, tied, start_m, v, half_width_m, until_m):
    """Drive on from ``start_m`` until the road's edge, or ``until_m``.

    Parameters
    ----------
    road
        (`ROWS`, k): values at every metre from ``first_m`` on.
    brake, side, tied
        As in ``overrun.Shown``.
    start_m, v
        Place and speed at which the driver brakes and from where he steers.
    half_width_m
        How far the car reaches to each side of its line.

    Returns
    -------
    tuple
        Whether the edge was reached; the speed, the place, the side and the angle there; the
        least room.
    """
    last = road.shape[1] - 2
    until_m = min(until_m, first_m + last)
    s = start_m
    here = np.empty(ROWS)
    _read(road, first_m, last, s, here)
    n, mu = here[OFFSET], here[COURSE]
    least, nearer = math.inf, 0
    for step in range(int(LONGEST_S / STEP_S)):
        _read(road, first_m, last, s, here)
        wanted, bend, cross = here[SPEED], here[BEND], here[CROSS]
        normal = here[PRESSED] + v * v * here[PRESSED_PER_V2]
        load = max(1 + LOAD_SHARE * (normal / GRAVITY - 1), LEAST_LOAD)
        holds = side[0] + side[1] * v * v
        slows = brake[0] + brake[1] * v * v
        if tied:
            slows = max(slows, holds)
        slow = min(step * STEP_S / BITE_S, 1.0) if v > wanted + TOO_FAST_MPS else 0.0
        off, course = n - here[OFFSET], mu - here[COURSE]
        back = STEER_RADPS**2 * off + 2 * STEER_DAMPING * STEER_RADPS * v * course
        tyres = v * v * here[CURVE] - back + cross * normal
        asked = (slow**JOINED + abs(tyres / (load * holds)) ** JOINED) ** (1 / JOINED)
        share = 1.0 / max(asked, 1.0)
        ax = -slow * load * slows * share - here[PULL]
        ay = tyres * share - cross * normal
        left, right = here[LEFT], here[RIGHT]
        rate = v * math.cos(mu) / max(1 - n * bend, 0.2)
        s += STEP_S * rate
        n += STEP_S * v * math.sin(mu)
        mu += STEP_S * (ay / max(v, 2.0) - bend * rate)
        v = max(v + STEP_S * ax, 1.0)
        if left - n - half_width_m < least:
            least, nearer = left - n - half_width_m, 1
        if right + n - half_width_m < least:
            least, nearer = right + n - half_width_m, -1
        if least < 0:
            return True, v, s, nearer, abs(mu), least
        if s > until_m:
            break
    return False, v, s, nearer, abs(mu), least


@njit(cache=True)
def _read(road, first_m, last, s, here):
    """Read all rows between their metres into ``here``.

    One row by a function would be compiled anew for every row: a constant is a type of its own.
    """
    i = min(max(int(s - first_m), 0), last)
    for row in range(ROWS):
        here[row] = road[row, i] + (s - first_m - i) * (road[row, i + 1] - road[row, i])
