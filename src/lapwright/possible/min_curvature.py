"""The line of least curvature within the edges: a start, and something to compare with."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import NoAnswerError
from lapwright.numerics.solve import Limits, build_solver, solve_programme
from lapwright.possible.line_setup import Mesh

Array = NDArray[np.float64]
_SCALE = np.array([3.0, 0.1, 0.01])
_WIDEST_ANGLE = 1.2


@lru_cache(maxsize=8)
def _build_graph(nodes: int, closed: bool) -> Any:
    """Programme in offset, angle and curvature of the line: least ∫ k² dl, trapezoid rule."""
    import casadi as ca

    x, k = ca.SX.sym("x", 3), ca.SX.sym("k")
    n, angle, turning = (x[i] * _SCALE[i] for i in range(3))
    level = (1 - n * k) / ca.cos(angle)
    rates = ca.vertcat(
        ca.sin(angle) * level / _SCALE[0], (turning * level - k) / _SCALE[1], x[2] ** 2 * level
    )
    one = ca.Function("node", [x, k], [rates], {"cse": True}).map(nodes)
    z, road, h = ca.MX.sym("z", 3 * nodes), ca.MX.sym("k", 1, nodes), ca.MX.sym("h")
    states = ca.reshape(z, 3, nodes)
    out = one(states, road)
    joins = nodes if closed else nodes - 1

    def ends(row: Any) -> tuple[Any, Any]:
        return row[:, :joins], ca.horzcat(row[:, 1:], row[:, :1])[:, :joins]

    defects = []
    for row in (0, 1):
        (a, b), (ra, rb) = ends(states[row, :]), ends(out[row, :])
        defects.append(ca.vec(b - a - h / 2 * (ra + rb)))
    cost = h * ca.sum2(out[2, :]) / (nodes * 1.0)
    return build_solver(
        {"x": z, "p": ca.vertcat(ca.vec(road), h), "f": cost, "g": ca.vertcat(*defects)},
        {}, Limits(iterations=200, seconds=20.0),
    )  # fmt: skip


def solve_min_curvature(mesh: Mesh) -> Array:
    """Find the offsets (m,) of least squared curvature by length between the mesh's bounds.

    Raises
    ------
    NoAnswerError
        When the optimiser fails.
    """
    size = mesh.s.size
    joins = size if mesh.closed else size - 1
    middle = (mesh.low + mesh.high) / 2
    state = np.zeros((3, size))
    state[0], state[2] = middle, mesh.road.curvature
    wide = np.full(size, _WIDEST_ANGLE)
    free = np.full(size, 2.0)
    low, high = np.array([mesh.low, -wide, -free]), np.array([mesh.high, wide, free])
    scale = _SCALE[:, None]
    answer = solve_programme(
        _build_graph(size, mesh.closed),
        {
            "x0": (state / scale).ravel("F"), "lbx": (low / scale).ravel("F"),
            "ubx": (high / scale).ravel("F"), "lbg": np.zeros(2 * joins),
            "ubg": np.zeros(2 * joins), "p": np.r_[mesh.road.curvature, mesh.step_m],
        },
    )  # fmt: skip
    if not answer.report.converged:
        raise NoAnswerError(f"the minimum-curvature line: {answer.report.status}")
    return np.asarray(answer.x.reshape(-1, 3)[:, 0] * _SCALE[0])
