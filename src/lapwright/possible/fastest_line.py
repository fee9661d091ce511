"""The fastest line of a car within the edges of a road, and how far to trust it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import NoAnswerError, UsageError
from lapwright.model.car import Car, check_car
from lapwright.model.circuit import Circuit
from lapwright.numerics.solve import Answer, Limits, SolveReport, Start, solve_programme
from lapwright.possible import collocation as co
from lapwright.possible.line_setup import (
    Mesh,
    Stretch,
    build_bounds,
    build_mesh,
    build_parameters,
    build_start,
)
from lapwright.possible.min_curvature import solve_min_curvature
from lapwright.possible.path import Path
from lapwright.possible.replay import Replay, replay_line
from lapwright.possible.road import check_road

Array = NDArray[np.float64]

#: What an accepted line must keep: seconds per scaled unit, and shares of the lap time.
MOST_STATIONARITY = 1e-3
MOST_INFEASIBILITY = 1e-5
MOST_MESH_DIFFERENCE = 3e-3
MOST_REPLAY_DIFFERENCE = 3e-3
#: What a solve is held to of which only the lap time is wanted: it costs 1e-5 of it.
FINER_TOLERANCE = 1e-6
_ROOM_LEFT = 0.2


@dataclass(frozen=True, slots=True)
class LineReport:
    """How far a line is to be trusted.

    Parameters
    ----------
    solver
        The optimiser's report.
    mesh_m
        Distance between nodes.
    kkt
        Largest of the Lagrangian's gradient (s per scaled variable), violated constraint
        and complementarity (s), worked out anew from the answer.
    finer_time_s, replay_time_s
        Lap time on a mesh twice as fine, and of the controls driven forward; None when
        not checked.
    replay_offset_m
        Largest distance by which the forward drive missed the line over 60 m.
    tries
        Starts that were tried, in words; the last one led to the answer.
    """

    solver: SolveReport
    mesh_m: float
    kkt: float
    finer_time_s: float | None
    replay_time_s: float | None
    replay_offset_m: float | None
    tries: tuple[str, ...]
    seconds: float


@dataclass(frozen=True, slots=True)
class FastestLine:
    """The fastest line: arrays of shape (m,), node by node.

    Parameters
    ----------
    s, n
        Place along the reference line and offset from it in m, left positive.
    angle
        To the reference line in rad.
    v, t
        Speed in m/s and time from the first node in s.
    drive, brake, side
        Tyre accelerations in m/s²: forward, backward (both 0 or more), to the left.
    curvature
        Of the line seen from above, 1/m.
    use
        Share of the envelope in use.
    left_worth, right_worth
        Seconds for each metre of road more on that side, over a metre of length: s/m².
        Sum over a zone times the step for s/m.
    factors
        Seconds for each 100 % more grip, power, drag, downforce, mass.
    time_s
        Of the lap or stretch.
    """

    s: Array
    n: Array
    angle: Array
    v: Array
    t: Array
    drive: Array
    brake: Array
    side: Array
    curvature: Array
    use: Array
    left_worth: Array
    right_worth: Array
    factors: dict[str, float]
    time_s: float
    step_m: float
    closed: bool
    margin_m: float
    report: LineReport
    answer: Answer


@dataclass(frozen=True, slots=True)
class _Task:
    """One solve: what and how."""

    circuit: Circuit
    car: Car
    margin_m: float
    stretch: Stretch | None
    limits: Limits

    def mesh(self, mesh_m: float) -> Mesh:
        return build_mesh(self.circuit, self.car, mesh_m, self.margin_m, self.stretch)


def solve_fastest_line(
    circuit: Circuit, car: Car, *, mesh_m: float = 5.0, margin_m: float = 0.0,
    stretch: Stretch | None = None, near: FastestLine | None = None, check: bool = True,
    limits: Limits | None = None,
) -> FastestLine:  # fmt: skip
    """Find the line and the speeds that take the least time between the edges.

    A point mass on the ribbon under the car's envelope, by direct collocation (see
    `lapwright.possible.collocation`) and IPOPT. The answer is accepted only when the
    solver converged, the KKT residual worked out anew is small, a mesh twice as fine
    gives the same lap time within 0.3 %, and an independent forward integration of the
    controls does so too. A failed solve is tried again from the minimum-curvature line,
    then from a coarser mesh's answer, then slower.

    Parameters
    ----------
    circuit, car
        Road and envelope. Half the car's width is kept from the edges.
    mesh_m
        Distance of the nodes, 1 to 10 m.
    margin_m
        More room to keep from each edge.
    stretch
        A part of the lap with its entry and exit; None is the whole lap.
    near
        A line to start from: on the same mesh for a small change of car or edges, or of the
        same car on another mesh.
    check
        Without it the finer mesh and the forward drive are left out.
    limits
        Of each solve: iterations and seconds.

    Raises
    ------
    InputError
        For a circuit or car that cannot be: too narrow, folded, NaN, no grip.
    UsageError
        For a mesh outside 0.5 to 20 m.
    NoAnswerError
        When no start led to an answer that holds.
    """
    if not 0.5 <= mesh_m <= 20:
        raise UsageError(f"mesh_m: {mesh_m}; needed: 0.5 to 20 m")
    check_car(car)
    check_road(circuit, car.width_m + 2 * margin_m + _ROOM_LEFT)
    begin = time.perf_counter()
    task = _Task(circuit, car, margin_m, stretch, limits or Limits())
    mesh = task.mesh(mesh_m)
    answer, tries = _solve_with_retries(task, mesh, near)
    line = _line(task, mesh, answer, tries)
    if check:
        line = _checked(task, line, answer, mesh)
    seconds = time.perf_counter() - begin
    return replace(line, report=replace(line.report, seconds=seconds))


def _graph(task: _Task, mesh: Mesh) -> co.Graph:
    return co.build_graph(mesh.s.size, mesh.closed, mesh.flat, task.limits)


def _given(task: _Task, mesh: Mesh) -> dict[str, Array]:
    return {"p": build_parameters(mesh, task.car), **build_bounds(mesh, task.stretch)}


def _solve_with_retries(
    task: _Task, mesh: Mesh, near: FastestLine | None
) -> tuple[Answer, tuple[str, ...]]:
    graph, given = _graph(task, mesh), _given(task, mesh)
    tries: list[str] = []
    status = "no start"
    if near is not None and near.closed == mesh.closed:
        same = near.s.size == mesh.s.size
        tries.append("a near answer" if same else "an answer on another mesh")
        answer = solve_programme(*_from_near(graph, given, near, mesh))
        if answer.report.converged:
            return answer, tuple(tries)
    for name, start in _starts(task, mesh):
        tries.append(name)
        try:
            x0 = start()
        except (NoAnswerError, UsageError):
            continue
        answer = solve_programme(graph.solver("far"), given | {"x0": x0})
        if answer.report.converged:
            return answer, tuple(tries)
        status = answer.report.status
    raise NoAnswerError(
        f"the fastest line on {task.circuit.name} did not converge from {', '.join(tries)} "
        f"(last: {status}); try another mesh or check the road's edges"
    )


def _from_near(
    graph: co.Graph, given: dict[str, Array], near: FastestLine, mesh: Mesh
) -> tuple[Any, dict[str, Array]]:
    """Solver and start from a line, with its multipliers where the mesh is the same."""
    old = near.answer
    if near.s.size == mesh.s.size:
        return graph.solver("warm"), given | {
            "x0": old.x, "lam_x0": old.lam_x, "lam_g0": old.lam_g,
        }  # fmt: skip
    x0 = _interpolated(old.x.reshape(-1, co.STATES), near, mesh).ravel()
    return graph.solver("close"), given | {"x0": x0}


def _starts(task: _Task, mesh: Mesh) -> list[tuple[str, Callable[[], Array]]]:
    middle = (mesh.low + mesh.high) / 2

    def on(n: Array, pace: float) -> Array:
        return build_start(mesh, task.circuit, task.car, n, pace)

    return [
        ("the middle of the road", lambda: on(_eased(middle, mesh), 0.9)),
        ("the minimum-curvature line", lambda: on(solve_min_curvature(mesh), 0.9)),
        ("a coarser mesh", lambda: _from_coarser(task, mesh)),
        ("the minimum-curvature line, slowly", lambda: on(solve_min_curvature(mesh), 0.6)),
    ]


def _eased(n: Array, mesh: Mesh) -> Array:
    """Smooth the middle of the road by a mean over about 50 m."""
    width = max(round(25 / mesh.step_m), 1)
    window = np.ones(2 * width + 1) / (2 * width + 1)
    padded = np.pad(n, width, mode="wrap" if mesh.closed else "edge")
    return np.convolve(padded, window, mode="valid")


def _from_coarser(task: _Task, mesh: Mesh) -> Array:
    coarse = task.mesh(2 * mesh.step_m)
    x0 = build_start(coarse, task.circuit, task.car, solve_min_curvature(coarse), 0.8)
    answer = solve_programme(_graph(task, coarse).solver("far"), _given(task, coarse) | {"x0": x0})
    if not answer.report.converged:
        raise NoAnswerError("the coarser mesh did not converge either")
    return _interpolated(answer.x.reshape(-1, co.STATES), coarse, mesh).ravel()


def _interpolated(rows: Array, old: Mesh | FastestLine, new: Mesh) -> Array:
    """Read rows (m, k) at the nodes of another mesh of the same stretch."""
    at, values = old.s, rows
    if old.closed:
        at = np.append(at, at[0] + old.step_m * old.s.size)
        values = np.vstack([rows, rows[:1]])
    return np.column_stack([np.interp(new.s, at, column) for column in values.T])


def _line(task: _Task, mesh: Mesh, answer: Answer, tries: tuple[str, ...]) -> FastestLine:
    graph, p = _graph(task, mesh), build_parameters(mesh, task.car)
    state = answer.x.reshape(-1, co.STATES) * co.SCALE
    total, out = graph.outputs(answer.x, p)
    rates = np.asarray(out, float)
    steps = (rates[co.SECONDS] + np.roll(rates[co.SECONDS], -1)) * mesh.step_m / 2
    n, angle = state[:, co.N], state[:, co.ANGLE]
    turning = rates[co.D_ANGLE] + mesh.road.curvature
    ahead = np.cos(angle) / (1 - n * mesh.road.curvature)
    grad_x, grad_f = (
        np.asarray(v, float).ravel() for v in graph.gradients()(answer.x, p, answer.lam_g)
    )
    left, right = _edge_worth(mesh, answer)
    kkt = _residual(answer, grad_x, build_bounds(mesh, task.stretch))
    report = LineReport(answer.report, mesh.step_m, kkt, None, None, None, tries, 0.0)
    if kkt > MOST_STATIONARITY:
        raise NoAnswerError(
            f"the fastest line on {task.circuit.name} has a KKT residual of {kkt:.1e}"
        )
    return FastestLine(
        mesh.s, n, angle, state[:, co.V], np.r_[0.0, np.cumsum(steps)[:-1]],
        state[:, co.DRIVE], state[:, co.BRAKE], state[:, co.LEFT] - state[:, co.RIGHT],
        turning * ahead, rates[co.USE] ** (1 / task.car.exponent), left, right,
        dict(zip(co.FACTORS, map(float, grad_f), strict=True)), float(total), mesh.step_m,
        mesh.closed, task.margin_m, report, answer,
    )  # fmt: skip


def _edge_worth(mesh: Mesh, answer: Answer) -> tuple[Array, Array]:
    """Seconds a metre of width and length on the left and right, from the multipliers.

    Those half-way between nodes count for both neighbours.
    """
    nodes = answer.lam_x.reshape(-1, co.STATES)[:, co.N]
    joins = mesh.s.size if mesh.closed else mesh.s.size - 1
    between = answer.lam_g[3 * joins : 4 * joins] / 2

    def density(sign: float) -> Array:
        parts = np.maximum(sign * nodes, 0) + _one_sided(between, sign, mesh.closed)
        return np.asarray(parts / (co.SCALE[co.N] * mesh.step_m))

    return density(1.0), density(-1.0)


def _one_sided(between: Array, sign: float, closed: bool) -> Array:
    part = np.maximum(sign * between, 0)
    if closed:
        return np.asarray(part + np.roll(part, 1))
    return np.asarray(np.append(part, 0.0) + np.insert(part, 0, 0.0))


def _residual(answer: Answer, gradient: Array, bounds: dict[str, Array]) -> float:
    """Largest of stationarity, infeasibility and complementarity, worked out anew."""
    stationarity = np.abs(gradient + answer.lam_x).max()
    slack_up = np.where(np.isfinite(bounds["ubx"]), bounds["ubx"] - answer.x, 0.0)
    slack_down = np.where(np.isfinite(bounds["lbx"]), answer.x - bounds["lbx"], 0.0)
    up, down = np.maximum(answer.lam_x, 0), np.maximum(-answer.lam_x, 0)
    complementarity = max((up * slack_up).max(), (down * slack_down).max())
    return float(max(stationarity, answer.report.infeasibility, complementarity))


def _checked(task: _Task, line: FastestLine, answer: Answer, mesh: Mesh) -> FastestLine:
    """Line with its finer mesh and its forward drive, refused when they disagree."""
    finer = _finer_time(task, answer, mesh)
    again = _replayed(task, line)
    report = replace(
        line.report, finer_time_s=finer, replay_time_s=again.time_s, replay_offset_m=again.offset_m
    )
    name = task.circuit.name
    if abs(finer / line.time_s - 1) > MOST_MESH_DIFFERENCE:
        raise NoAnswerError(
            f"the fastest line on {name} takes {line.time_s:.3f} s on this mesh and {finer:.3f} s "
            f"on one twice as fine; use a mesh below {mesh.step_m:.1f} m"
        )
    if abs(again.time_s / line.time_s - 1) > MOST_REPLAY_DIFFERENCE:
        raise NoAnswerError(
            f"the fastest line on {name} takes {line.time_s:.3f} s, and {again.time_s:.3f} s "
            f"driven forward; use a mesh below {mesh.step_m:.1f} m"
        )
    return replace(line, report=report)


def _finer_time(task: _Task, answer: Answer, mesh: Mesh) -> float:
    limits = replace(task.limits, tolerance=max(task.limits.tolerance, FINER_TOLERANCE))
    task, fine = replace(task, limits=limits), task.mesh(mesh.step_m / 2)
    x0 = _interpolated(answer.x.reshape(-1, co.STATES), mesh, fine).ravel()
    graph, given = _graph(task, fine), _given(task, fine)
    starts: tuple[Start, ...] = ("close", "far")
    for start in starts:
        found = solve_programme(graph.solver(start), given | {"x0": x0})
        if found.report.converged:
            return float(graph.outputs(found.x, given["p"])[0])
    raise NoAnswerError(
        f"the fastest line on {task.circuit.name} could not be confirmed on a finer mesh"
    )


def _replayed(task: _Task, line: FastestLine) -> Replay:
    nodes = np.array([line.n, line.angle, line.v])
    return replay_line(
        task.circuit, task.car, line.s, nodes, line.drive - line.brake, line.side, line.closed
    )


def build_line_path(circuit: Circuit, line: FastestLine) -> Path:
    """Build the path of a fastest line from its own curvature, for `solve_speed_profile`."""
    from lapwright.possible.road import read_road

    road = read_road(circuit, line.s, line.step_m)
    slope, cross, bend = road.tilt(line.n, np.sin(line.angle), np.cos(line.angle))
    level = (1 - line.n * road.curvature) / np.cos(line.angle)
    rate = level * np.sqrt(1 + slope**2)
    step = line.step_m * (rate + np.roll(rate, -1)) / 2
    if not line.closed:
        step[-1] = 0.0
    return Path(step, line.curvature, slope, cross, bend, line.closed, line.s)
