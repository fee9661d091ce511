"""The same driver in a car of somebody else's making, for a smaller set of truth tests.

The multi-body model and parameter set 2 of the open package
commonroad-vehicle-models (BSD-3-Clause; M. Althoff and G. Würsching,
*CommonRoad: Vehicle Models*, 2020): sprung and unsprung masses, compliant
joints, its own tyre formula. A road car of about 90 W/kg that ends at
50.8 m/s. The model knows a flat road only, so heights, banking, kerbs and
patches do not act here; air drag is added to its acceleration input. The
package is a dependency of the tests only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import driver_kernels as dk
from lapwright.demo import kernels as kn
from lapwright.demo import lap as lp
from lapwright.demo import layout as ly
from lapwright.demo import plan as pl
from lapwright.demo import road as rd
from lapwright.demo.car import Car
from lapwright.demo.drivers import Day, Driver, Fault
from lapwright.demo.envelope import envelope_tables
from lapwright.demo.sensors import Channel, Sensors, measure

Array = NDArray[np.float64]
DRAG_AREA = 0.70
TOP_SPEED = 50.0
_CONTROL_S = 0.002
_MODEL_STEPS = 2


def seen_by_the_driver() -> Car:
    """Give the car as its driver takes it to be: numbers that his plan is made with."""
    speed = np.arange(0, 1000, 40.0)
    power = 1093.3 * 11.5 * 7.319
    return Car(
        height=0.575, roll_share=0.5, tyre_grip=1.03, tyre_fade=0.0, slip_x=0.08, slip_y=0.13,
        rear_grip=1.0, brake_force=1093.3 * 11.5, brake_bias=0.66, rolling=0.0,
        drag_area=DRAG_AREA, down_area=0.0, driveline=1.0, engine_drag=0.0, engine_inertia=0.0,
        engine_torque=np.where(speed > 300, power / np.maximum(speed, 1), power / 300),
        gears=np.array([3.6, 2.4, 1.7, 1.25, 0.95]),
    )  # fmt: skip


def flat(circuit: rd.Circuit) -> rd.Circuit:
    """Take heights, banking and surfaces from a circuit."""
    grid = circuit.grid.copy()
    grid[:, [ly.GSLOPE, ly.GBANK, ly.GVERT, ly.GROUGH, ly.GZ]] = 0.0
    grid[:, ly.GGRIP] = 1.0
    return replace(circuit, grid=grid)


def _model() -> tuple[Any, Any, Any]:
    try:
        init = import_module("vehiclemodels.init_mb").init_mb
        parameters = import_module("vehiclemodels.parameters_vehicle2").parameters_vehicle2
        dynamics = import_module("vehiclemodels.vehicle_dynamics_mb").vehicle_dynamics_mb
    except ImportError as error:
        raise ImportError(
            "the second car needs the package commonroad-vehicle-models (tests only)"
        ) from error
    return init, parameters(), dynamics


def _mirror(st: Array, x: list[float], f: list[float], h: float) -> None:
    """Copy the model's state into the places that the driver reads, in place."""
    st[[ly.X, ly.Y, ly.PSI, ly.VX, ly.VY, ly.R]] = x[0], x[1], x[4], x[3], x[10], x[5]
    st[ly.W0 : ly.W3 + 1] = x[23:27]
    st[ly.AXT], st[ly.AYT] = f[3] - x[5] * x[10], f[10] + x[5] * x[3]
    st[ly.FELT_X], st[ly.FELT_Y] = st[ly.AXT], st[ly.AYT]
    st[ly.AX] += h / 0.06 * (st[ly.AXT] - st[ly.AX])


def _feel(st: Array, car: Car) -> None:
    """Set what the driver feels of his tyres: front slip, how near their peaks they are."""
    v = max(st[ly.VX], 3.0)
    st[ly.SLIP_F] = np.arctan2(st[ly.VY] + car.axle_f * st[ly.R], v)
    side_f = np.tan(st[ly.SLIP_F] - st[ly.STEER]) / car.slip_y
    side_r = (st[ly.VY] - car.axle_r * st[ly.R]) / v / car.slip_y
    spin = (st[ly.W0 : ly.W3 + 1] * car.wheel_radius / v - 1) / car.slip_x
    st[ly.RHO_F] = np.hypot(side_f, 0.5 * (spin[0] + spin[1]))
    st[ly.RHO_R] = np.hypot(side_r, 0.5 * (spin[2] + spin[3]))
    length = car.axle_f + car.axle_r
    load = car.mass * (9.81 * car.axle_r - st[ly.AX] * car.height) / length
    st[ly.CAP_F] = car.tyre_grip * max(load, 500.0)
    st[ly.NORM] = 9.81
    turns = v / car.wheel_radius * car.gears[int(st[ly.GEAR]) - 1] * car.final
    st[ly.RPM] = max(turns, car.engine_idle)


def _pull(st: Array, car: Car, day: Array) -> float:
    """Acceleration input of the model (m/s²) from pedals and air."""
    ratio = car.gears[int(st[ly.GEAR]) - 1] * car.final / car.wheel_radius
    engaged = st[ly.SHIFT] <= 0
    push = kn.torque_at(car, st[ly.RPM], st[ly.THR], 1.225) * ratio if engaged else 0.0
    drag = 0.5 * day[ly.D_RHO] * DRAG_AREA * st[ly.VX] ** 2
    return float((push - car.brake_force * st[ly.BRK] - drag) / car.mass)


def _plan(
    driver: Driver, car: Car, circuit: rd.Circuit, seed: int, lap: int, faults: Sequence[Fault]
) -> tuple[pl.Plan, Array, Array, Array]:
    """Make a lap's plan, its grid, script and marks for this car."""
    density = Day().density
    tables = envelope_tables(car, 0.0, density, 1.0)
    limits = pl.Limits(car, tables, car.mass, density)
    noise = {b.number: lp.corner_noise(driver, seed, lap, b.number) for b in circuit.bends}
    cap = np.full(circuit.grid.shape[0] - 1, TOP_SPEED)
    cap[-1] = 99.0
    plan, usual = lp.lap_plan(circuit, driver, limits, noise, faults, (1.0, cap))
    script, marks = lp.lap_script(circuit, driver, car, plan, noise, faults, {}, usual)
    return plan, pl.plan_grid(plan, lp.unrest(noise, circuit)), script, marks


@dataclass(frozen=True, slots=True)
class Twin:
    """Where the car stands: the driver's state, the model's state and its rates."""

    st: Array
    x: list[float]
    f: list[float]


def roll_off(plan: pl.Plan, car: Car, circuit: rd.Circuit, at_m: float, speed: float) -> Twin:
    """Put the second car on its line at a speed, full throttle."""
    init, p, dynamics = _model()
    st = lp.start_state(car, plan, circuit, at_m, speed)
    st[ly.THR] = 1.0
    row = plan.line[int(at_m)]
    x = [float(value) for value in init([row[1], row[2], 0.0, speed, row[3], 0.0, 0.0], p)]
    return Twin(st, x, dynamics(x, [0.0, 0.0], p))


def drive_second_car(
    driver: Driver, seed: int = 1, lap: int = 1, faults: Sequence[Fault] = (),
    start: Twin | float = 250.0, to_m: float | None = None,
) -> tuple[lp.LapRun, Twin]:  # fmt: skip
    """Drive a stretch of the flat circuit: from a place (m, flying) or where a run ended.

    ``driver.share`` near 0.9 suits this car: the plan's tyre is simpler than the
    model's. Returns rows at 1 kHz and where the car stands.
    """
    _, p, dynamics = _model()
    circuit, car = flat(rd.quillbeck()), seen_by_the_driver()
    plan, grid, script, marks = _plan(driver, car, circuit, seed, lap, faults)
    if isinstance(start, float):
        start = roll_off(plan, car, circuit, start, min(45.0, float(plan.v[int(start)])))
    st, x, f = start.st.copy(), list(start.x), list(start.f)
    st[ly.CORNER], st[ly.WARP], st[ly.TRIG] = 0.0, 0.0, -1.0
    day = np.array([1.0, 0.0, 0.0, 0.0, Day().density])
    events = np.full((len(script), ly.EVENTS, 2), np.nan)
    rows = np.zeros((200_000, ly.OUTPUTS))
    road, line, here = np.zeros(15), np.zeros(8), np.zeros(8)
    skill, count, h = lp.skill_row(driver), 0, _CONTROL_S / _MODEL_STEPS
    finish = circuit.length_m if to_m is None else to_m
    while st[ly.S] < finish and count < len(rows) - _MODEL_STEPS:
        _feel(st, car)
        dk.pilot(
            car, st, circuit.step_m, grid, script, marks, skill, day, count * h, _CONTROL_S, line,
            here, events,
        )  # fmt: skip
        turn, pull = (st[ly.STEER] - x[2]) / _CONTROL_S, _pull(st, car, day)
        st[ly.SHIFT] -= _CONTROL_S if st[ly.SHIFT] > 0 else 0.0
        for _ in range(_MODEL_STEPS):
            f = dynamics(x, [turn, pull], p)
            x = [a + h * b for a, b in zip(x, f, strict=True)]
            _mirror(st, x, f, h)
            kn.place_on_road(st, circuit.grid, circuit.step_m, road)
            count += 1
            kn.write_row(st, road, count * h, rows, count - 1)
    run = lp.LapRun(rows[:count].copy(), events, plan.acts, plan, st, count * h)
    return run, Twin(st, x, f)


def second_session(
    driver: Driver, laps: int, seed: int = 1, faults: Sequence[Fault] = (),
    sensors: Sensors | None = None,
) -> tuple[dict[str, Channel], list[lp.LapRun]]:  # fmt: skip
    """Drive a part lap, ``laps`` whole laps and the beginning of another in the second car.

    Returns the log's channels and the runs; about 10 s of work for each lap.
    """
    circuit, car = rd.quillbeck(), seen_by_the_driver()
    runs, parts = [], []
    at: Twin | float = circuit.length_m - 600.0
    clock = 0.0
    for lap in range(laps + 2):
        mine = [f for f in faults if f.lap == lap]
        last = 200.0 if lap == laps + 1 else None
        run, twin = drive_second_car(driver, seed, lap, mine, at, last)
        runs.append(run)
        part = run.rows.copy()
        part[:, ly.O_T] += clock
        parts.append(part)
        clock += run.seconds
        twin.st[ly.S] -= circuit.length_m
        at = twin
    rows = np.concatenate(parts)
    rows[:, ly.O_PSI] = np.unwrap(rows[:, ly.O_PSI])
    return measure(rows, car, sensors or Sensors(), seed), runs
