"""The speed profile against `toppra` (MIT): fastest motion along a path under limits."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lapwright.model.car import Car, Limit
from lapwright.possible.path import build_flat_path
from lapwright.possible.speed_profile import solve_speed_profile


def _winding(length: int = 900) -> np.ndarray:
    """Smooth curvature of an invented road, 1/m at whole metres."""
    s = np.arange(length + 1.0)
    return 0.018 * np.sin(s / 47) * np.exp(-(((s - 450) / 260) ** 2)) + 0.008 * np.sin(s / 29) ** 3


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::SyntaxWarning")
def test_speed_profile_agrees_with_toppra() -> None:
    import toppra as ta
    import toppra.algorithm as algo
    import toppra.constraint as constraint

    # the rhombus |ax|/Ax + |ay|/Ay ≤ 1 is linear in (s'', s'²), so toppra takes it exactly
    side, ahead = 14.0, 9.0
    car = Car(Limit(side), Limit(ahead), Limit(ahead), 1.0, float("inf"), 0.0)
    curvature = _winding()
    s = np.arange(curvature.size, dtype=float)

    class Rhombus(constraint.LinearConstraint):  # type: ignore[misc]
        """a = 0, b = 1: forward acceleration s'', lateral k s'²."""

        def __init__(self) -> None:
            super().__init__()
            self.identical = True

        def compute_constraint_params(self, _: Any, gridpoints: Any) -> tuple[Any, ...]:
            k = np.interp(gridpoints, s, curvature)
            n = len(gridpoints)
            a = np.zeros((n, 2))
            b = np.zeros((n, 2))
            c = np.zeros((n, 2))
            a[:, 0] = 1.0
            b[:, 1] = k
            f = np.array([[i / ahead, j / side] for i in (1, -1) for j in (1, -1)])
            return a, b, c, f, np.ones(4), None, None

    grid = np.linspace(0, s[-1], 2 * curvature.size - 1)
    path = ta.SplineInterpolator(s, np.column_stack([s, np.zeros_like(s)]))
    instance = algo.TOPPRA([Rhombus()], path, gridpoints=grid, solver_wrapper="seidel")
    _, speed, _ = instance.compute_parameterization(20.0, 20.0)
    reference = float((2 * np.diff(grid) / (speed[1:] + speed[:-1])).sum())
    fine = build_flat_path(0.5, np.interp(grid, s, curvature), closed=False)
    profile = solve_speed_profile(fine, car, entry_mps=20.0, exit_mps=20.0)
    assert profile.time_s == pytest.approx(reference, rel=1e-3)
    assert profile.v == pytest.approx(speed, rel=0.02)
