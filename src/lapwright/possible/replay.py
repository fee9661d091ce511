"""An independent check of a line: its controls driven forward by another integrator."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.model.car import Car
from lapwright.model.circuit import Circuit
from lapwright.physics.drive import resistance
from lapwright.physics.load import apparent_gravity, curvature_held, downhill_pull
from lapwright.possible.road import Road, read_road

Array = NDArray[np.float64]
PIECE_M = 60.0
_SUBSTEP_M = 1.3


@dataclass(frozen=True, slots=True)
class Replay:
    """How a forward integration in pieces met the line.

    Parameters
    ----------
    time_s
        Sum of the pieces' times.
    offset_m, speed_mps
        Largest difference at the pieces' ends.
    """

    time_s: float
    offset_m: float
    speed_mps: float


def _rates(state: Array, road: Road, forward: Array, side: Array, car: Car) -> Array:
    """Take the derivatives of (n, angle, v, t) by s from plain Newton, shape (4, pieces)."""
    n, angle, v, _ = state
    sine, cosine = np.sin(angle), np.cos(angle)
    slope, cross, bend = road.tilt(n, sine, cosine)
    normal = apparent_gravity(v, slope, cross, bend, car.gravity)
    turning = curvature_held(v, side, slope, cross, normal)
    level = (1 - n * road.curvature) / cosine
    metres = level * np.sqrt(1 + slope**2)
    push = forward - resistance(car.drag_per_mass, car.rolling, v, normal)
    push = push - downhill_pull(slope, car.gravity)
    return np.array([sine * level, turning * level - road.curvature, push * metres / v, metres / v])


def replay_line(
    circuit: Circuit, car: Car, s: Array, nodes: Array, forward: Array, side: Array, closed: bool
) -> Replay:
    """Drive the accelerations of a line forward by Runge–Kutta steps of 1.3 m or less.

    The lap is cut in pieces of about 60 m that start on the line, for a heading error
    in the open loop grows without bound. All pieces run side by side. The road is read
    anew at every substep.

    Parameters
    ----------
    s
        (m,) places of the nodes, evenly spaced.
    nodes
        (3, m): offset, angle, speed at the nodes.
    forward, side
        (m,) tyre accelerations in m/s², straight between nodes.
    """
    h = float(s[1] - s[0])
    joins = s.size if closed else s.size - 1
    each = max(min(round(PIECE_M / h), joins), 1)
    first = np.arange(0, joins, each)
    last = np.minimum(first + each, joins)
    substeps = max(int(np.ceil(h / _SUBSTEP_M)), 1)
    ds = h / substeps
    state = np.vstack([nodes[:, first], np.zeros(first.size)])
    wrapped = [np.append(a, a[0]) if closed else a for a in (forward, side)]
    at_nodes = np.arange(wrapped[0].size)

    def rates(state: Array, place: NDArray[np.floating]) -> Array:
        road = read_road(circuit, np.asarray(s[0] + place * h, float), ds)
        now = [np.interp(place, at_nodes, a) for a in wrapped]
        return _rates(state, road, now[0], now[1], car)

    for step in range(each * substeps):
        place = first + step / substeps
        half = 0.5 / substeps
        k1 = rates(state, place)
        k2 = rates(state + ds / 2 * k1, place + half)
        k3 = rates(state + ds / 2 * k2, place + half)
        k4 = rates(state + ds * k3, place + 2 * half)
        running = place + 1e-9 < last
        state = np.where(running, state + ds / 6 * (k1 + 2 * k2 + 2 * k3 + k4), state)
    miss = np.abs(state[:3] - nodes[:, last % s.size])
    return Replay(float(state[3].sum()), float(miss[0].max()), float(miss[2].max()))
