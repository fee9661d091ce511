"""A lap's plan: line, speed, and the acts of each corner as the compiled driver reads them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import envelope as ev
from lapwright.demo import layout as ly
from lapwright.demo import road as rd
from lapwright.demo.car import Car

Array = NDArray[np.float64]
AXES = (ev.SPEEDS, ev.NORMALS, ev.SHARES)


@dataclass(frozen=True, slots=True)
class Act:
    """What a corner asks of the feet, all places in m on the centre line."""

    corner: int
    lift: float
    brake: float
    release: float
    slowest: float
    loose: float
    pick: float
    end: float
    braked: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """Speed (m/s) and forces over mass (m/s²) at every grid row, and the acts in order."""

    line: Array
    ways: Array
    v: Array
    force: Array
    full: Array
    hard: Array
    acts: tuple[Act, ...]


@dataclass(frozen=True, slots=True)
class Limits:
    """The car's envelope on a day."""

    car: Car
    tables: tuple[Array, ...]
    mass: float
    density: float


def lay_ways(circuit: rd.Circuit, line: Array, share: Array, brake: Array) -> Array:
    """Gather what the envelope needs to know of each place of a line, shape (n, 8)."""
    grid, n = circuit.grid[:-1], circuit.grid.shape[0] - 1
    slope = np.gradient(grid[:, rd.GZ] + line[:n, 0] * np.tan(grid[:, rd.GBANK])) / line[:n, 5]
    return np.column_stack(
        [line[:n, 5], line[:n, 4], slope, grid[:, rd.GBANK], grid[:, rd.GVERT], grid[:, rd.GGRIP],
         share, brake]
    )  # fmt: skip


def make_plan(
    circuit: rd.Circuit, line: Array, share: Array, brake: Array, cap: Array, limits: Limits
) -> Plan:
    """Find the fastest speed on a line under the driver's shares of the envelope, and its acts."""
    ways = lay_ways(circuit, line, share, brake)
    closed = bool(cap[-1] > 90.0)
    v = ev.solve_plan(
        limits.car, limits.tables, AXES, ways, limits.mass, limits.density, cap, closed
    )
    return finish_plan(circuit, line, ways, v, limits)


def finish_plan(circuit: rd.Circuit, line: Array, ways: Array, v: Array, limits: Limits) -> Plan:
    """Work out forces and acts of a given speed along a line."""
    force, full, hard = ev.plan_force(
        limits.car, limits.tables, AXES, ways, v, limits.mass, limits.density
    )
    return Plan(line, ways, v, force, full, hard, find_acts(circuit, v, force, full, hard))


def _runs(mask: NDArray[np.bool_], gap: int) -> list[tuple[int, int]]:
    """Stretches of True as (first, one past last); gaps shorter than ``gap`` are bridged."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]])))
    runs: list[tuple[int, int]] = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if runs and first - runs[-1][1] < gap:
            runs[-1] = (runs[-1][0], int(last))
        else:
            runs.append((int(first), int(last)))
    return runs


def find_acts(
    circuit: rd.Circuit, v: Array, force: Array, full: Array, hard: Array
) -> tuple[Act, ...]:
    """Braked and lifted corners of a plan, in driving order."""
    step = circuit.step_m
    lacking = np.clip(1 - force / full, 0, 4)
    acts: list[Act] = []
    for first, last in _runs(force < 0.97 * full, 12):
        if lacking[first:last].sum() * step < 4.0:
            continue
        zone = np.zeros(v.size, dtype=bool)
        zone[first:last] = force[first:last] < -1.5
        brakes = [r for r in _runs(zone, 12) if -force[slice(*r)].sum() * step > 25.0]
        if not brakes:
            low = first + int(np.argmin(v[first : last + 5]))
            pick = min(low, last - 1)
            acts.append(_act(circuit, (first, first, first, low, first, pick, last), braked=False))
            continue
        for i, (start, end) in enumerate(brakes):
            stop = brakes[i + 1][0] if i + 1 < len(brakes) else last
            soft = np.flatnonzero(-force[start:end] < 0.85 * hard[start:end])
            soft = soft[soft > 3]
            release = start + int(soft[0]) if soft.size else end
            low = start + int(np.argmin(v[start:stop]))
            push = np.flatnonzero(force[end:stop] > 0)
            pick = end + (int(push[0]) if push.size else 0)
            acts.append(_act(circuit, (start, start, release, low, end, pick, stop), braked=True))
    return tuple(acts)


def _act(circuit: rd.Circuit, rows: tuple[int, ...], *, braked: bool) -> Act:
    lift, brake, release, low, loose, pick, end = (r * circuit.step_m for r in rows)
    middle = low if braked else (lift + end) / 2
    corner = min(circuit.bends, key=lambda b: abs(b.apex_m - middle)).number
    return Act(corner, lift, brake, release, low, loose, pick, end, braked)


def plan_grid(plan: Plan, noise: Array) -> Array:
    """Lay out the plan as the compiled loop reads it, shape (n + 1, 8)."""
    line = plan.line
    grid = np.column_stack(
        [line[:, 0], line[:, 1], line[:, 2], line[:, 3], line[:, 4],
         np.append(plan.v, plan.v[0]), np.append(plan.force, plan.force[0]),
         np.append(noise, noise[0])]
    )  # fmt: skip
    return np.ascontiguousarray(grid)


def gear_for(car: Car, v: float) -> int:
    """Choose the gear that pushes hardest at a speed below the engine's upper speed."""
    for gear, ratio in enumerate(car.gears, 1):
        if v / car.wheel_radius * ratio * car.final <= 0.9 * car.engine_up:
            return gear
    return int(car.gears.size)


#: Time in s by which the foot is early, so that the brakes bite where the plan wants it.
BITE = 0.07


def script_rows(plan: Plan, car: Car, step: float, ramp_s: float, foot_s: float) -> Array:
    """Lay out the acts for the compiled driver: all references are places, no noise."""
    rows = np.zeros((len(plan.acts), ly.SCRIPT))
    before = 0.0
    for row, act in zip(rows, plan.acts, strict=True):
        v = plan.v[int(act.brake / step)]
        brake = act.brake - v * BITE
        row[ly.Q_BEND] = act.corner
        row[ly.Q_LIFT_A] = brake - v * foot_s if act.braked else act.lift
        row[ly.Q_BRAKE_A], row[ly.Q_PLAN_BRAKE] = brake, brake
        row[ly.Q_PICK_A], row[ly.Q_PLAN_PICK] = act.pick, act.pick
        row[ly.Q_BRAKED] = float(act.braked)
        row[ly.Q_PLAN_REL], row[ly.Q_PLAN_MIN] = act.release, act.slowest
        row[ly.Q_PLAN_END], row[ly.Q_RAMP] = act.end, ramp_s
        row[ly.Q_OPEN_FROM], row[ly.Q_LOOSE] = before, act.loose
        row[ly.Q_GEAR_FLOOR] = gear_for(car, float(plan.v[int(act.slowest / step)]))
        before = act.pick
    return rows
