"""The fastest line against the same optimum written with CasADi's plain `Opti`."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lapwright.model.car import Car
from lapwright.model.circuit import Circuit
from lapwright.possible.fastest_line import solve_fastest_line
from lapwright.possible.line_setup import Stretch


def _opti_time(circuit: Circuit, car: Car, start: float, end: float, entry: float) -> float:
    """Least time over an open stretch on the flat by CasADi's Opti.

    States are the offset, the angle and v²; controls are the line's curvature and the
    forward force, held over each step; fourth-order Runge–Kutta steps between shooting
    points. The envelope is a circle, checked at both ends of a step.
    """
    import casadi as ca

    cells = round((end - start) / 2.0)
    h = (end - start) / cells
    fine = start + h / 2 * np.arange(2 * cells + 1)
    k = np.interp(fine, circuit.s, circuit.curvature, period=circuit.length_m)
    opti = ca.Opti()
    state, control = opti.variable(3, cells + 1), opti.variable(2, cells)

    def rates(x: Any, u: Any, bend: float) -> tuple[Any, Any]:
        n, angle, w = 3 * x[0], x[1] / 10, 1000 * x[2]
        level = (1 - n * bend) / ca.cos(angle)
        force = u[1] * 10 - car.drag_per_mass * w
        turn = u[0] / 100 * level - bend
        slopes = ca.vertcat(ca.sin(angle) * level / 3, turn * 10, 2 * force * level / 1000)
        return slopes, level / ca.sqrt(w)

    total: Any = 0
    for i in range(cells):
        x, u = state[:, i], control[:, i]
        k1, t1 = rates(x, u, k[2 * i])
        k2, t2 = rates(x + h / 2 * k1, u, k[2 * i + 1])
        k3, t3 = rates(x + h / 2 * k2, u, k[2 * i + 1])
        k4, t4 = rates(x + h * k3, u, k[2 * i + 2])
        opti.subject_to(state[:, i + 1] == x + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4))
        total += h / 6 * (t1 + 2 * t2 + 2 * t3 + t4)
        w = 500 * (x[2] + state[2, i + 1])
        grip = car.lateral.at_rest + car.lateral.per_v2 * w
        opti.subject_to((u[0] / 100 * w / grip) ** 2 + (u[1] * 10 / grip) ** 2 <= 1)
        opti.subject_to(u[1] * 10 * ca.sqrt(w) / car.power_per_mass <= 1)
    opti.subject_to(opti.bounded(-circuit.right[0] / 3, state[0, :], circuit.left[0] / 3))
    opti.subject_to(opti.bounded(-5, state[1, :], 5))
    opti.subject_to(opti.bounded(0.1, state[2, :], 20))
    opti.subject_to([state[0, 0] == 0, state[1, 0] == 0, state[2, 0] == entry**2 / 1000])
    opti.minimize(total)
    opti.set_initial(state[2, :], 0.8)
    opti.set_initial(control[0, :], 100 * k[1::2])
    quiet = {"print_level": 0, "sb": "yes", "max_iter": 200}
    opti.solver("ipopt", {"print_time": False}, quiet)
    return float(opti.solve().value(total))


def test_fastest_line_agrees_with_another_formulation(oval: Circuit, oval_car: Car) -> None:
    start, end, entry = 60.0, 330.0, 55.0
    reference = _opti_time(oval, oval_car, start, end, entry)
    stretch = Stretch(start, end, entry_mps=entry, entry_n_m=0.0, entry_angle=0.0)
    line = solve_fastest_line(oval, oval_car, mesh_m=1.5, stretch=stretch, check=False)
    assert line.time_s == pytest.approx(reference, rel=1e-3)
