"""Another day's air and wind: found where the driver is flat before and now, taken out of time.

At full throttle nobody's skill decides what a metre of road adds to the speed. Per unit of mass,
with E = v²/2, power p, drag k, air thicker by r, and w m/s more wind from behind:
dE/ds = p/v − k v², so a small change goes by dΔE/ds = −(p/v³ + 2k) ΔE + (p/v − k v²) r + 2k v w
(elementary mechanics; an engine that breathes pushes by the air's density, as its drag does).
A straight is taken in pieces, each from what it begins with: the corner before it, the driver, the
grip and a gear taken late have no say in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.ledger_bases import robust_sd
from lapwright.driving.ledger_traces import LedgerTrace
from lapwright.driving.redrive_pass import Motor

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
#: Wanted distance between samples, m.
STEP_M = 10.0
#: A piece of a straight has so many steps: over fewer the speed's own error is most of a change,
#: over more a gear taken late spoils more than its own piece. So many pieces tell the air.
PIECE, LEAST_PIECES = 5, 6
#: The throttle is full from here on, and a place is flat where so many of the laps are at it.
FULL, FLAT_SHARE = 0.95, 0.9
#: Behind a straight what the air did fades over so many steps, about a braking distance.
CARRIED = 10
#: A piece's change of ΔE is right to no better than this, m²/s².
LEAST_ERROR, ROUNDS = 1.0, 20
#: What a m/s more or less wind does in a corner besides, s: 0.005 to 0.008 in simulated sessions.
IN_CORNER_S = 0.007
#: Usual change from day to day: share of density, m/s of wind along each axis.
USUAL = (0.06, 3.0, 3.0)


@dataclass(frozen=True, slots=True)
class Pace:
    """Mean speed of some laps at equal steps of the road, both ends included, (k,), m/s.

    ``flat`` tells where these laps are at full throttle.
    """

    speed: Array
    flat: Flags


@dataclass(frozen=True, slots=True)
class AirChange:
    """Air now over air before.

    Parameters
    ----------
    thicker
        Density, as a share more.
    wind_x_mps, wind_y_mps
        More wind towards +x and +y.
    cost
        Seconds that each of the three costs for a unit of it, from the start line, (3, k).
    covariance
        Of the three, (3, 3).
    """

    thicker: float
    wind_x_mps: float
    wind_y_mps: float
    cost: Array
    covariance: Array

    def cost_of(self, start: float, end: float) -> tuple[float, float]:
        """Cost of a corner and its straight, between shares of the lap: s, and the standard error.

        What wind does where the driver is not flat is not found: it is in the error.
        """
        places = np.linspace(0.0, 1.0, self.cost.shape[1])
        each = np.array([np.diff(np.interp((start, end), places, c))[0] for c in self.cost])
        change = np.array([self.thicker, self.wind_x_mps, self.wind_y_mps])
        unseen = IN_CORNER_S * float(np.hypot(self.wind_x_mps, self.wind_y_mps))
        error = np.hypot(np.sqrt(each @ self.covariance @ each), unseen)
        return float(each @ change), float(error)


def find_pace(traces: Sequence[LedgerTrace], length_m: float) -> Pace | None:
    """Find the pace of laps; None where the throttle was not logged on all of them."""
    pedals = [t.throttle for t in traces if t.throttle is not None]
    if not traces or len(pedals) < len(traces):
        return None
    places = np.linspace(0.0, 1.0, round(length_m / STEP_M) + 1)
    own = np.linspace(0.0, 1.0, traces[0].speed.size)
    speed = np.mean([np.interp(places, own, t.speed) for t in traces], axis=0)
    full = np.mean([np.interp(places, own, p) >= FULL for p in pedals], axis=0)
    return Pace(speed, full >= FLAT_SHARE)


def find_air_change(
    before: Pace, now: Pace, heading: Array, length_m: float, motor: Motor
) -> AirChange | None:
    """Find what of the change of speed on straights is of the air.

    Parameters
    ----------
    heading
        Direction of the road at the samples, rad from +x, (k,).

    Returns
    -------
    AirChange or None
        None where too little is flat on both days, or the power is not known.
    """
    if not np.isfinite(motor.power):
        return None
    speed, step = (before.speed + now.speed) / 2, length_m / (before.speed.size - 1)
    gained = (now.speed**2 - before.speed**2) / 2
    along = 2 * motor.drag * speed
    push = np.array([
        motor.power / speed - motor.drag * speed**2,
        along * np.cos(heading), along * np.sin(heading),
    ])  # fmt: skip
    kept = 1.0 - step * np.minimum(motor.power / speed**3 + 2 * motor.drag, 0.5 / step)
    flat = before.flat & now.flat
    runs = _find_runs(flat)
    added = _add_up(runs, kept, step * push)
    if flat[0] and flat[-1]:  # a straight over the start line goes on
        added = _add_up(runs, kept, step * push, added[:, -1])
    rows, values = _cut(runs, kept, added, gained)
    if values.size < LEAST_PIECES:
        return None
    change, covariance = _fit(rows, values)
    slower = -_carry_on(runs, added) / speed**3 * step
    cost = np.cumsum(np.column_stack([np.zeros(3), (slower[:, 1:] + slower[:, :-1]) / 2]), axis=1)
    thicker, wind_x, wind_y = (float(x) for x in change)
    return AirChange(thicker, wind_x, wind_y, cost, covariance)


def _add_up(
    runs: Sequence[tuple[int, int]], kept: Array, push: Array, began: Array | None = None
) -> Array:
    """Add up what the air does to ΔE on each straight, (3, k); the lap may begin with some."""
    added = np.zeros_like(push)
    if began is not None:
        added[:, 0] = began
    for first, last in runs:
        for i in range(first + 1, last):
            added[:, i] = kept[i - 1] * added[:, i - 1] + push[:, i - 1]
    return added


def _carry_on(runs: Sequence[tuple[int, int]], added: Array) -> Array:
    """Let what a straight ends with fade while the driver brakes: it is still there at first."""
    out = added.copy()
    for (_, last), then in zip(
        runs, [*(first for first, _ in runs[1:]), out.shape[1]], strict=True
    ):
        end = min(last + CARRIED, then)
        left = 1.0 - np.arange(1, end - last + 1) / (CARRIED + 1)
        out[:, last:end] = added[:, [last - 1]] * left
    return out


def _cut(
    runs: Sequence[tuple[int, int]], kept: Array, added: Array, gained: Array
) -> tuple[Array, Array]:
    """Cut straights into pieces: what each adds to ΔE by unit of change, (m, 3), and did, (m,)."""
    starts = [i for first, last in runs for i in range(first, last - PIECE, PIECE)]
    left = np.array([np.prod(kept[i : i + PIECE]) for i in starts])
    ends = np.array(starts, dtype=int) + PIECE
    began = ends - PIECE
    return (added[:, ends] - left * added[:, began]).T, gained[ends] - left * gained[began]


def _find_runs(flat: Flags) -> list[tuple[int, int]]:
    """Find flat stretches as (first, one past last)."""
    edges = np.flatnonzero(np.diff(np.r_[0, flat.astype(int), 0]))
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return [(int(a), int(b)) for a, b in pairs if b - a > PIECE]


def _fit(rows: Array, values: Array) -> tuple[Array, Array]:
    """Fit the three changes to pieces by Huber's weights; and their covariance."""
    usual = np.diag(1.0 / np.array(USUAL) ** 2)
    change, inverse = np.zeros(3), np.linalg.inv(usual)
    for _ in range(ROUNDS):
        off = values - rows @ change
        scatter = max(robust_sd(off), LEAST_ERROR)
        weight = 1.0 / np.maximum(np.abs(off) / scatter, 1.0)
        inverse = np.linalg.inv((rows.T * weight) @ rows / scatter**2 + usual)
        change = inverse @ (rows.T * weight) @ values / scatter**2
    return change, np.asarray(inverse, float)
