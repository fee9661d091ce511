"""Time of what is possible: solve, whole command, speed profile, and the sweep of all meshes.

The circuit of 5 km and the car are invented. The sweep takes the real circuits kept outside
the repository (© OpenStreetMap contributors; a mountain circuit's edges in space), where they
are there, and a banked loop of 2,000 m.

The bars are of wall clock on two idle cores; the time of the processor stands beside, for a
machine that is shared.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "possible"))

from test_real_circuits import furthest_outside, make_banked_loop, read_flat, read_mountain

from lapwright.errors import LapwrightError
from lapwright.model.build_circuit import build_circuit_from_centre
from lapwright.model.car import Car, Limit, build_car
from lapwright.model.car_toml import read_car
from lapwright.model.circuit import Circuit
from lapwright.possible import kernels
from lapwright.possible.fastest_line import FastestLine, build_line_path, solve_fastest_line
from lapwright.possible.speed_profile import path_rows, solve_speed_profile

ROOT = Path(__file__).parents[1]
TARGET_SOLVE_S, TARGET_COMMAND_S, TARGET_NODE_US = 0.5, 3.0, 0.1
LENGTH_M, HALF_WIDTH_M, MESH_M = 5000.0, 5.0, 5.0
MOST_5_TO_3, MOST_3_TO_1_5, MOST_OUTSIDE_M, MOST_USE = 2e-3, 5e-4, 0.02, 1.001
CAR = """mass_kg = 1100
power_w = 190e3
drag_area_m2 = 0.75
downforce_area_m2 = 1.1
grip_forward = 1.2
grip_lateral = 1.3
rolling_resistance = 0.012
width_m = 1.8
"""


def draw_circuit() -> tuple[np.ndarray, np.ndarray]:
    """Centre line of an invented circuit of 5 km, points about 5 m apart."""
    turn = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
    r = 1 + 0.35 * np.cos(2 * turn + 0.4) + 0.16 * np.cos(3 * turn + 1)
    r += 0.10 * np.cos(5 * turn + 2.1) + 0.05 * np.sin(9 * turn)
    x, y = r * np.cos(turn), 0.7 * r * np.sin(turn)
    steps = np.hypot(np.diff(x, append=x[0]), np.diff(y, append=y[0]))
    scale, at = LENGTH_M / steps.sum(), np.r_[0.0, np.cumsum(steps)] * LENGTH_M / steps.sum()
    places = np.arange(0.0, LENGTH_M, 5.0)
    x, y = (np.interp(places, at, np.r_[v, v[0]] * scale) for v in (x, y))
    return x, y


def measure(work: Callable[[], Any], times: int) -> tuple[float, float]:
    """Least wall clock and least time of the processor of several runs, in s."""
    runs = []
    for _ in range(times):
        begin, spent = time.perf_counter(), time.process_time()
        work()
        runs.append((time.perf_counter() - begin, time.process_time() - spent))
    walls, spents = zip(*runs, strict=True)
    return min(walls), min(spents)


def measure_command(x: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    """Least wall clock and processor time of three whole commands, start to end, in s."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows = [f"{a:.4f},{b:.4f},{HALF_WIDTH_M},{HALF_WIDTH_M}" for a, b in zip(x, y, strict=True)]
        text = "\n".join(["# x_m,y_m,w_tr_right_m,w_tr_left_m", *rows])
        (folder / "circuit.csv").write_text(text, "utf-8")
        (folder / "car.toml").write_text(CAR, "utf-8")
        command = [
            sys.executable, "-m", "lapwright.cli", "possible", "--circuit",
            str(folder / "circuit.csv"), "--car", str(folder / "car.toml"),
        ]  # fmt: skip
        # as installed: with bytecode and compiled loops kept, which the first run makes
        env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        env.setdefault("PYTHONPYCACHEPREFIX", str(folder / "bytecode"))
        runs = []
        for _ in range(4):
            begin = time.perf_counter()
            quiet = subprocess.DEVNULL
            child = subprocess.Popen(command, stdout=quiet, stderr=quiet, env=env)
            _, status, usage = os.wait4(child.pid, 0)
            runs.append((time.perf_counter() - begin, usage.ru_utime + usage.ru_stime))
            if status:
                raise SystemExit(f"possible ended with status {status}")
    walls, spents = zip(*runs[1:], strict=True)
    return min(walls), min(spents)


def measure_profile(circuit: Circuit, car: Car, line: FastestLine) -> tuple[float, float]:
    """Microseconds a node and pass inside the compiled loops, and of a whole profile in ms."""
    path = build_line_path(circuit, line)
    whole, _ = measure(lambda: solve_speed_profile(path, car), 50)
    rows = path_rows(path, car)
    mid, top = (
        (rows + np.roll(rows, -1, axis=0)) / 2,
        kernels.highest_all(rows, np.full(len(rows), 1e4)),
    )
    first, passes, best = int(np.argmin(top)), 0, np.inf
    for _ in range(50):
        w, passes, begin = top.copy(), 0, time.perf_counter()
        for one_pass in (kernels.forward_pass, kernels.backward_pass):
            for _ in range(2):
                one_pass(mid, path.step, w, car.exponent, first, w.size)
                passes += 1
        best = min(best, (time.perf_counter() - begin) / (passes * w.size))
    return best * 1e6, whole * 1e3


def solve_plainly(line: FastestLine, curvature: np.ndarray, car: Car) -> float:
    """Write the same problem as a loop over nodes that builds the graph, and solve it.

    The same states, trapezoid rule, edges, envelope and start on the middle of the level
    road; derivatives are left to CasADi. Returns the lap time.
    """
    import casadi as ca

    nodes, h = line.s.size, line.step_m
    opti = ca.Opti()
    room = HALF_WIDTH_M - car.width_m / 2
    x = opti.variable(5, nodes)
    scale = (3.0, 0.1, 30.0, 10.0, 10.0)
    rates, total = [], 0.0
    for i in range(nodes):
        n, angle, v, ahead, side = (x[j, i] * scale[j] for j in range(5))
        level = (1 - n * curvature[i]) / ca.cos(angle)
        resist = car.drag_per_mass * v**2 + car.rolling * car.gravity
        rates.append(
            (ca.sin(angle) * level, side / v**2 * level - curvature[i], (ahead - resist) * level)
        )
        total += h * level / v
        grip = [k.at_rest + k.per_v2 * v**2 for k in (car.lateral, car.brake, car.drive)]
        for forward in (grip[1], grip[2]):
            opti.subject_to((ahead / forward) ** 2 + (side / grip[0]) ** 2 <= 1)
        opti.subject_to(ahead * v / car.power_per_mass <= 1)
        opti.subject_to(opti.bounded(-room / 3, x[0, i], room / 3))
        opti.subject_to(opti.bounded(2 / 30, x[2, i], 5))
    for i in range(nodes):
        j = (i + 1) % nodes
        for row in (0, 1):
            rise = (x[row, j] - x[row, i]) * scale[row]
            opti.subject_to(rise / 3 == h / 2 * (rates[i][row] + rates[j][row]) / 3)
        rise = (x[2, j] ** 2 - x[2, i] ** 2) * scale[2] ** 2 / 2
        opti.subject_to(rise / 100 == h / 2 * (rates[i][2] + rates[j][2]) / 100)
    opti.minimize(total)
    opti.set_initial(x[2, :], 0.8)
    quiet = {"print_level": 0, "sb": "yes", "max_iter": 400, "tol": 1e-8}
    opti.solver("ipopt", {"print_time": False}, quiet)
    return float(opti.solve().value(total))


def find_circuits() -> Iterator[tuple[Circuit, Car]]:
    """Every circuit of the sweep with the car that drives it."""
    # the published example's car as a point mass, and an invented one that banking and hills hold
    fast = build_car(
        mass_kg=800, power_w=960e3, drag_area_m2=2.0, downforce_area_m2=4.0, grip_forward=1.68,
        grip_lateral=1.68, air_density_kgpm3=1.2, gravity_mps2=9.8,
    )  # fmt: skip
    slow = Car(
        Limit(11.5, 5e-4, 1.1), Limit(10.5, 4e-4, 1.0), Limit(6.0, 3e-4, 0.6), 1.5, 130.0, 6e-4,
        0.012,
    )  # fmt: skip
    yield make_banked_loop(), slow
    data = ROOT.parent / "shared" / "data"
    for path in sorted((data / "circuits").glob("*.csv")):
        if not path.stem.endswith("_line"):
            yield read_flat(path), fast
    mountain = data / "circuits3d" / "mountain_circuit_bounds_xyz.csv"
    if mountain.exists():
        yield read_mountain(mountain), slow


def sweep() -> list[str]:
    """Solve every circuit at 5, 3 and 1.5 m, print a line each, and return what failed."""
    wrong = []
    for circuit, car in find_circuits():
        lines = {}
        for mesh in (5.0, 3.0, 1.5):
            try:
                lines[mesh] = solve_fastest_line(
                    circuit, car, mesh_m=mesh, margin_m=0.75, check=mesh > 2
                )
            except LapwrightError as error:
                wrong.append(f"{circuit.name} at {mesh} m: {error}")
        if len(lines) < 3:
            continue
        t5, t3, t15 = (line.time_s for line in lines.values())
        outside = max(furthest_outside(circuit, line) for line in lines.values())
        use = max(float(line.use.max()) for line in lines.values())
        print(
            f"{circuit.name}: {circuit.length_m:.0f} m, {t5:.3f} {t3:.3f} {t15:.3f} s, "
            f"5 to 3 m {100 * (t5 / t3 - 1):+.3f} %, 3 to 1.5 m {100 * (t3 / t15 - 1):+.3f} %, "
            f"outside {outside:.4f} m, use {use:.5f}, "
            f"tries {[len(line.report.tries) for line in lines.values()]}"
        )
        for what, value, bar in (
            ("5 to 3 m", abs(t5 / t3 - 1), MOST_5_TO_3),
            ("3 to 1.5 m", abs(t3 / t15 - 1), MOST_3_TO_1_5),
            ("outside", outside, MOST_OUTSIDE_M), ("use", use, MOST_USE),
        ):  # fmt: skip
            if value > bar:
                wrong.append(f"{circuit.name}: {what} {value:.5f} above {bar}")
    return wrong


def main() -> int:
    """Print the figures; 1 if a target is missed or a circuit fails."""
    x, y = draw_circuit()
    width = np.full(x.size, HALF_WIDTH_M)
    circuit = build_circuit_from_centre(x, y, width, width, name="invented")
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "car.toml").write_text(CAR, "utf-8")
        car = read_car(Path(name) / "car.toml")
    line = solve_fastest_line(circuit, car, mesh_m=MESH_M, check=False)

    def solve() -> FastestLine:
        return solve_fastest_line(circuit, car, mesh_m=MESH_M, check=False)

    warm, warm_cpu = measure(solve, 5)
    command, command_cpu = measure_command(x, y)
    node_us, profile_ms = measure_profile(circuit, car, line)
    print(
        f"fastest line of {circuit.length_m:.0f} m at {MESH_M:.0f} m, {line.s.size} nodes, warm: "
        f"{warm:.2f} s, processor {warm_cpu:.2f} s (target {TARGET_SOLVE_S})"
    )
    print(
        f"whole command, cold: {command:.2f} s, processor {command_cpu:.2f} s "
        f"(target {TARGET_COMMAND_S:.0f})"
    )
    print(
        f"speed profile: {node_us:.3f} us a node and pass (target {TARGET_NODE_US}), "
        f"{profile_ms:.2f} ms in all"
    )
    curvature = np.interp(line.s, circuit.s, circuit.curvature, period=circuit.length_m)
    times = []
    plain, plain_cpu = measure(lambda: times.append(solve_plainly(line, curvature, car)), 1)
    print(
        f"written plainly: {plain:.2f} s, processor {plain_cpu:.2f} s, {times[0]:.3f} s a lap "
        f"against {line.time_s:.3f}: {plain_cpu / warm_cpu:.0f} times as long"
    )
    wrong = sweep()
    print("\n".join(wrong) if wrong else "every circuit solved within the bars")
    missed = warm > TARGET_SOLVE_S or command > TARGET_COMMAND_S or node_us > TARGET_NODE_US
    return int(missed or bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
