"""The door to the optimiser on two known problems, and how it says that it gave up."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lapwright.numerics.solve import Answer, Limits, build_solver, solve_programme


def _solve(nlp: dict[str, Any], x0: Any, low: Any, high: Any, limits: Limits) -> Answer:
    n = int(nlp["g"].numel())
    return solve_programme(
        build_solver(nlp, {}, limits),
        {
            "x0": np.asarray(x0, float), "lbx": np.asarray(low, float),
            "ubx": np.asarray(high, float), "lbg": np.zeros(n), "ubg": np.zeros(n),
            "p": np.zeros(0),
        },
    )  # fmt: skip


def _minimum_time_car(cells: int, limits: Limits) -> Answer:
    """dv/dt = u − v with 0 ≤ u ≤ 1 and v ≤ 1 − ½ sin 2πp, from rest at p 0 to p 1."""
    import casadi as ca

    p, v, u = (ca.MX.sym(name, cells + 1) for name in "pvu")
    end = ca.MX.sym("T")
    h = end / cells
    rise = u - v
    limit = 1 - ca.sin(2 * np.pi * p) / 2
    slack = ca.MX.sym("slack", cells + 1)
    defects = ca.vertcat(
        p[1:] - p[:-1] - h / 2 * (v[1:] + v[:-1]),
        v[1:] - v[:-1] - h / 2 * (rise[1:] + rise[:-1]),
        limit - v - slack,
    )
    x = ca.vertcat(p, v, u, slack, end)
    n = cells + 1
    low, high = np.full(4 * n + 1, -np.inf), np.full(4 * n + 1, np.inf)
    low[2 * n : 3 * n], high[2 * n : 3 * n], low[3 * n : 4 * n] = 0, 1, 0
    low[-1] = 0.1
    for at, value in ((0, 0.0), (n - 1, 1.0), (n, 0.0)):
        low[at] = high[at] = value
    x0 = np.r_[np.linspace(0, 1, n), np.full(n, 0.5), np.full(n, 0.5), np.full(n, 0.2), 2.0]
    return _solve({"x": x, "f": end, "g": defects}, x0, low, high, limits)


def test_minimum_time_car() -> None:
    # a known example of minimum time: T 1.9046, computed elsewhere for 100 to 400 cells
    answer = _minimum_time_car(200, Limits())
    assert answer.report.converged
    assert answer.report.infeasibility < 1e-8
    assert answer.objective == pytest.approx(1.9046, abs=1e-3)


def test_brachistochrone() -> None:
    # from (0, 10) down to (10, 5) without friction, g 9.80665: 1.8016 s (from memory)
    import casadi as ca

    cells, g = 200, 9.80665
    x, y, v, angle = (ca.MX.sym(name, cells + 1) for name in ("x", "y", "v", "angle"))
    end = ca.MX.sym("T")
    h = end / cells
    rates = (v * ca.sin(angle), -v * ca.cos(angle), g * ca.cos(angle))
    defects = ca.vertcat(
        *[s[1:] - s[:-1] - h / 2 * (r[1:] + r[:-1]) for s, r in zip((x, y, v), rates, strict=True)]
    )
    n = cells + 1
    low, high = np.full(4 * n + 1, -np.inf), np.full(4 * n + 1, np.inf)
    low[-1] = 0.1
    ends = ((0, 0.0), (n - 1, 10.0), (n, 10.0), (2 * n - 1, 5.0), (2 * n, 0.0))
    for at, value in ends:
        low[at] = high[at] = value
    x0 = np.r_[np.linspace(0, 10, n), np.linspace(10, 5, n), np.linspace(0, 9.9, n),
               np.linspace(0.1, 1.6, n), 2.0]  # fmt: skip
    unknown = ca.vertcat(x, y, v, angle, end)
    answer = _solve({"x": unknown, "f": end, "g": defects}, x0, low, high, Limits())
    assert answer.report.converged
    assert answer.objective == pytest.approx(1.8016, abs=1e-4)


@pytest.mark.parametrize("limits", [Limits(iterations=2), Limits(seconds=1e-6)])
def test_limits_end_a_solve(limits: Limits) -> None:
    report = _minimum_time_car(50, limits).report
    assert not report.converged
    assert "Exceeded" in report.status
