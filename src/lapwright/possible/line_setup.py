"""From circuit and car to the numbers of a programme: mesh, bounds, start."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError, NoAnswerError
from lapwright.messages import Message
from lapwright.model.car import Car
from lapwright.model.circuit import Circuit
from lapwright.possible import collocation as co
from lapwright.possible.path import Path, build_path
from lapwright.possible.road import Road, read_road
from lapwright.possible.speed_profile import FASTEST_MPS, solve_speed_profile

Array = NDArray[np.float64]
SLOWEST_MPS = 2.0
_WIDEST_ANGLE = 1.2
_MOST_ACCELERATION = 300.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the lap instead of all of it.

    Parameters
    ----------
    start_m, end_m
        Places along the reference line; ``end_m`` at or below ``start_m`` runs past the
        start line.
    entry_mps, exit_mps
        Speed at the start; highest speed at the end. None is free.
    entry_n_m, exit_n_m
        Offsets at the ends. None is free.
    entry_angle, exit_angle
        Angle to the reference line at the ends in rad. None is free.
    """

    start_m: float
    end_m: float
    entry_mps: float | None = None
    exit_mps: float | None = None
    entry_n_m: float | None = None
    exit_n_m: float | None = None
    entry_angle: float | None = None
    exit_angle: float | None = None


@dataclass(frozen=True, slots=True)
class Mesh:
    """Places of the nodes and the road there; ``low`` and ``high`` bound the car's middle.

    ``low_between`` and ``high_between`` do so half-way to the next node.
    """

    s: Array
    step_m: float
    closed: bool
    flat: bool
    road: Road
    low: Array
    high: Array
    low_between: Array
    high_between: Array


def build_mesh(
    circuit: Circuit, car: Car, mesh_m: float, margin_m: float, stretch: Stretch | None
) -> Mesh:
    """Lay nodes about ``mesh_m`` apart along the lap or the stretch."""
    start, span, closed = 0.0, circuit.length_m, True
    if stretch is not None:
        start, closed = stretch.start_m, False
        span = (stretch.end_m - start) % circuit.length_m or circuit.length_m
    cells = max(round(span / mesh_m), 8)
    h = span / cells
    s: Array = start + h * np.arange(cells if closed else cells + 1, dtype=float)
    road = read_road(circuit, s, h)
    flat = not any(np.any(a) for a in (circuit.slope, circuit.vertical_curvature, circuit.banking))
    keep = car.width_m / 2 + margin_m
    middle = read_road(circuit, s + h / 2, h)
    return Mesh(
        s, h, closed, flat, road, keep - road.right, road.left - keep, keep - middle.right,
        middle.left - keep,
    )  # fmt: skip


def build_parameters(mesh: Mesh, car: Car, factors: Array | None = None) -> Array:
    """Parameters of the programme in its order."""
    road = mesh.road
    rows = np.zeros((co.ROAD_ROWS, mesh.s.size))
    rows[:5] = (
        road.curvature, road.height_slope, road.height_bend, road.cross, road.cross_rate,
    )  # fmt: skip
    joins = mesh.s.size if mesh.closed else mesh.s.size - 1
    charge = co.SMOOTHING * (co.SCALE[co.LEFT] / car.lateral.at_rest) ** 2
    given = np.ones(len(co.FACTORS)) if factors is None else factors
    steps, last = np.full(joins, mesh.step_m), np.array([charge])
    return np.asarray(np.concatenate([rows.ravel("F"), co.car_column(car), given, steps, last]))


def build_bounds(mesh: Mesh, stretch: Stretch | None) -> dict[str, Array]:
    """Bounds of variables and constraints by CasADi's names."""
    n = mesh.s.size
    low = np.tile([0, -_WIDEST_ANGLE, SLOWEST_MPS, 0, 0, 0, 0], (n, 1)).T.copy()
    high = np.tile([0, _WIDEST_ANGLE, FASTEST_MPS, *[_MOST_ACCELERATION] * 4], (n, 1)).T.copy()
    low[co.N], high[co.N] = mesh.low, mesh.high
    if stretch is not None:
        _fix_ends(low, high, stretch)
    joins = n if mesh.closed else n - 1
    return {
        "lbx": (low / co.SCALE[:, None]).ravel("F"),
        "ubx": (high / co.SCALE[:, None]).ravel("F"),
        "lbg": np.r_[
            np.zeros(3 * joins), mesh.low_between[:joins] / co.SCALE[co.N], np.full(2 * n, -np.inf)
        ],
        "ubg": np.r_[
            np.zeros(3 * joins), mesh.high_between[:joins] / co.SCALE[co.N], np.ones(2 * n)
        ],
    }


def _fix_ends(low: Array, high: Array, stretch: Stretch) -> None:
    ends = (
        (0, co.V, stretch.entry_mps), (0, co.N, stretch.entry_n_m),
        (0, co.ANGLE, stretch.entry_angle), (-1, co.N, stretch.exit_n_m),
        (-1, co.ANGLE, stretch.exit_angle),
    )  # fmt: skip
    for node, row, value in ends:
        if value is not None:
            if row == co.N and not low[row, node] - 1e-6 <= value <= high[row, node] + 1e-6:
                found = f"offset {value:.2f} m at the stretch's end lies outside the road"
                raise InputError([Message("refused", "stretch", found)])
            low[row, node] = high[row, node] = value
    if stretch.exit_mps is not None:
        high[co.V, -1] = stretch.exit_mps


def build_start(mesh: Mesh, circuit: Circuit, car: Car, n: Array, pace: float) -> Array:
    """Variables for a start on the line of offsets ``n`` at a share of its speed profile."""
    inside = np.clip(n, mesh.low + 1e-3, mesh.high - 1e-3)
    path = build_path(circuit, mesh.s, inside, closed=mesh.closed)
    v = start_speed(path, car) * pace
    state = np.zeros((co.STATES, mesh.s.size))
    state[co.N], state[co.V] = inside, np.maximum(v, 1.5 * SLOWEST_MPS)
    rate = np.gradient(inside, mesh.step_m)
    state[co.ANGLE] = np.arctan2(rate, 1 - inside * mesh.road.curvature)
    state[co.DRIVE] = state[co.BRAKE] = 0.1 * car.brake.at_rest
    most = 0.9 * car.lateral.at_rest
    side = np.clip(path.curvature * state[co.V] ** 2, -most, most)
    state[co.LEFT] = 0.05 * car.lateral.at_rest + np.maximum(side, 0)
    state[co.RIGHT] = state[co.LEFT] - side
    return np.asarray((state / co.SCALE[:, None]).ravel("F"))


def start_speed(path: Path, car: Car) -> Array:
    """Speed along a path for a start; a slow constant one where the car cannot hold it."""
    try:
        return solve_speed_profile(path, car).v
    except NoAnswerError:
        return np.full(path.step.size, 10.0)
