"""The fastest line on real circuits.

Sources: centre lines and widths of four circuits and minimum-curvature lines of two
(LGPL-3.0, © OpenStreetMap contributors), a mountain circuit's edges in space (LGPL-3.0),
kept outside the repository. The banked loop of 2,000 m is invented. `bench_possible.py`
sweeps all of them at 5, 3 and 1.5 m; here each is solved once and one at two meshes.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from lapwright.model.build_circuit import (
    Edge,
    build_circuit_from_centre,
    build_circuit_from_edges,
)
from lapwright.model.car import Car
from lapwright.model.circuit import Circuit
from lapwright.possible.fastest_line import FastestLine, solve_fastest_line
from lapwright.possible.path import build_path_over, build_path_through
from lapwright.possible.speed_profile import solve_speed_profile

Find = Callable[[str], Path]


def read_flat(path: Path) -> Circuit:
    x, y, right, left = np.loadtxt(path, delimiter=",").T
    return build_circuit_from_centre(x, y, right, left, name=path.stem)


def read_mountain(path: Path) -> Circuit:
    rows = np.loadtxt(path, delimiter=",", skiprows=1)
    return build_circuit_from_edges(Edge(*rows[:, :3].T), Edge(*rows[:, 3:].T), name="mountain")


def furthest_outside(circuit: Circuit, line: FastestLine) -> float:
    """Metres by which the line, drawn smoothly between its nodes, passes an edge."""
    at = np.r_[line.s, circuit.length_m]
    place = np.arange(0, circuit.length_m, 0.5)
    n = CubicSpline(at, np.r_[line.n, line.n[0]], bc_type="periodic")(place)
    left, right = (
        np.interp(place, circuit.s, a, period=circuit.length_m) - line.margin_m
        for a in (circuit.left, circuit.right)
    )
    return float(max((n - left).max(), (-n - right).max()))


def check_line(circuit: Circuit, line: FastestLine) -> None:
    assert line.report.solver.converged
    assert line.report.kkt < 1e-5
    assert line.use.max() <= 1.001
    assert furthest_outside(circuit, line) <= 0.02


@pytest.mark.parametrize("name", ["BrandsHatch", "Oschersleben", "Spielberg", "Suzuka"])
def test_flat_circuits_solve(name: str, shared_data: Find, oval_car: Car) -> None:
    circuit = read_flat(shared_data(f"circuits/{name}.csv"))
    line = solve_fastest_line(circuit, oval_car, mesh_m=5.0, margin_m=0.75, check=False)
    check_line(circuit, line)


def test_mountain_circuit_solves(shared_data: Find, club_car: Car) -> None:
    circuit = read_mountain(shared_data("circuits3d/mountain_circuit_bounds_xyz.csv"))
    line = solve_fastest_line(circuit, club_car, mesh_m=5.0, margin_m=0.75)
    check_line(circuit, line)
    assert line.report.replay_time_s == pytest.approx(line.time_s, rel=5e-4)
    assert line.report.finer_time_s == pytest.approx(line.time_s, rel=1.5e-3)


def make_banked_loop() -> Circuit:
    """Closed loop of 2,000 m with 60° of banking.

    Measures of the banked loop among ASAM's OpenDRIVE examples: straights of 500 m, clothoids
    of 107.3 m, arcs of R 125 m, 9 m of road to the right of the reference line (seen from
    above less where it is banked).
    """
    s = np.arange(2000.0)
    knots = [0.0, 500.0, 607.3009183012759, 892.6990816987241, 1000.0]
    part = np.interp(np.mod(s, 1000), knots, [0.0, 0.0, 1.0, 1.0, 0.0])
    curvature = 0.008 * part
    banking = -np.pi / 3 * (3 * part**2 - 2 * part**3)
    heading = np.cumsum(curvature)
    flat = np.zeros(s.size)
    return Circuit(
        "banked loop", 2000.0, s, np.cumsum(np.cos(heading)), np.cumsum(np.sin(heading)), flat,
        heading, curvature, flat, banking, flat, flat, 9 * np.cos(banking), "anticlockwise", True,
        True,
    )  # fmt: skip


@pytest.mark.parametrize("which", ["oval_car", "club_car"])
def test_banked_loop_solves(which: str, request: pytest.FixtureRequest) -> None:
    circuit, car = make_banked_loop(), request.getfixturevalue(which)
    lines = [solve_fastest_line(circuit, car, mesh_m=h, margin_m=0.75) for h in (5.0, 3.0)]
    for line in lines:
        check_line(circuit, line)
    assert lines[0].time_s == pytest.approx(lines[1].time_s, rel=2e-3)


def test_meshes_agree(shared_data: Find, oval_car: Car) -> None:
    # the circuit where they differ most
    circuit = read_flat(shared_data("circuits/Oschersleben.csv"))
    times = [
        solve_fastest_line(circuit, oval_car, mesh_m=h, margin_m=0.75, check=False).time_s
        for h in (5.0, 3.0, 1.5)
    ]
    assert times[0] == pytest.approx(times[1], rel=2e-3)
    assert times[1] == pytest.approx(times[2], rel=5e-4)


@pytest.mark.parametrize("name", ["Oschersleben", "Spielberg"])
def test_faster_than_the_published_minimum_curvature_line(
    name: str, shared_data: Find, oval_car: Car
) -> None:
    # 0.75 m kept from the edges as the published lines do: 0.5 to 5 % faster
    circuit = read_flat(shared_data(f"circuits/{name}.csv"))
    x, y = np.loadtxt(shared_data(f"circuits/{name}_mincurv_line.csv"), delimiter=",").T
    published = solve_speed_profile(build_path_over(circuit, x, y), oval_car).time_s
    again = solve_speed_profile(build_path_through(x, y), oval_car).time_s
    assert published == pytest.approx(again, rel=1e-6)
    free = solve_fastest_line(circuit, oval_car, mesh_m=3.0, margin_m=0.75, check=False).time_s
    assert 1.005 < published / free < 1.05
