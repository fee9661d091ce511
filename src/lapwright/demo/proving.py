"""A proving ground: plain manoeuvres of the demo's car, to hold it against closed forms."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call,no-any-return"
from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lapwright.demo import layout as ly
from lapwright.demo.car import Car
from lapwright.demo.driver_kernels import change_gear, hands
from lapwright.demo.kernels import car_step, place_on_road, torque_at, write_row

Array = NDArray[np.float64]
STEP_S = 0.001
SKILL = np.array([1.0, 2.6, 0.9, 0.02, 0.05, 0.04, 2.0, 0.8, 0.0])


def ring(radius_m: float, bank_rad: float = 0.0, vertical: float = 0.0) -> tuple[Array, float]:
    """Grid of a circular road, anticlockwise, and its step in m; bank positive helps."""
    n = max(int(2 * np.pi * radius_m), 60)
    turn = np.arange(n + 1) * 2 * np.pi / n
    grid = np.zeros((n + 1, 15))
    grid[:, ly.GX], grid[:, ly.GY] = radius_m * np.sin(turn), radius_m * (1 - np.cos(turn))
    grid[:, ly.GHEADING], grid[:, ly.GCURVE] = turn, 1 / radius_m
    grid[:, ly.GBANK], grid[:, ly.GVERT] = -bank_rad, vertical
    grid[:, ly.GLEFT], grid[:, ly.GRIGHT], grid[:, ly.GGRIP] = 50.0, 50.0, 1.0
    return grid, radius_m * 2 * np.pi / n


def straight(length_m: float = 6000.0, slope: float = 0.0, vertical: float = 0.0) -> Array:
    """Grid of a straight road with a step of 1 m; the slope is dz/ds."""
    grid = np.zeros((int(length_m) + 1, 15))
    grid[:, ly.GX] = np.arange(grid.shape[0])
    grid[:, ly.GSLOPE], grid[:, ly.GVERT] = slope, vertical
    grid[:, ly.GLEFT], grid[:, ly.GRIGHT], grid[:, ly.GGRIP] = 50.0, 50.0, 1.0
    return grid


def standing(car: Car, speed: float = 0.0) -> Array:
    """State of a car at the origin, straight ahead, at a speed in the gear that suits."""
    st = np.zeros(ly.STATES)
    st[ly.VX], st[ly.RPM], st[ly.CAP_F] = speed, car.engine_idle, 9000.0
    st[ly.W0 : ly.W3 + 1] = speed / car.wheel_radius
    st[ly.GEAR] = 1
    while st[ly.GEAR] < car.gears.size and (
        speed / car.wheel_radius * car.gears[int(st[ly.GEAR]) - 1] * car.final > car.engine_up
    ):
        st[ly.GEAR] += 1
    return st


@njit(cache=True, error_model="numpy")
def run_straight(car, st, grid, day, throttle, brake, neutral, dt, count, calm, out):
    """Hold the pedals on a straight, the brake pressed in half a second.

    ``calm`` eases them where a tyre passes its peak.
    """
    road, loads = np.zeros(15), np.zeros(4)
    place_on_road(st, grid, 1.0, road)
    ease = 1.0
    for i in range(count):
        aim = 1.0 - 6.0 * max(max(st[ly.RHO_F], st[ly.RHO_R]) - 0.97, 0.0) if calm else 1.0
        ease += dt / 0.02 * (min(max(aim, 0.1), 1.0) - ease)
        st[ly.THR] = throttle * ease
        st[ly.BRK] = brake * ease * (1.0 - np.exp(-i * dt / 0.15))
        if neutral:
            st[ly.SHIFT] = 1.0
        elif brake == 0.0:
            change_gear(car, st, 1.0, dt)
        car_step(car, st, road, 0.5, day, dt, loads)
        place_on_road(st, grid, 1.0, road)
        write_row(st, road, (i + 1) * dt, out, i)
        if brake > 0 and st[ly.VX] < 1.0:
            return i + 1
    return count


@njit(cache=True, error_model="numpy")
def run_ring(car, st, grid, step, plan, skill, day, v_from, rate, dt, count, out):
    """Follow a ring with a slowly rising speed until the car leaves its line by 0.6 m."""
    road, line, loads = np.zeros(15), np.zeros(8), np.zeros(4)
    place_on_road(st, grid, step, road)
    mass = car.mass + day[ly.D_MASS]
    for i in range(count):
        target = v_from + rate * i * dt
        hands(car, st, plan, step, line, skill, mass, dt, 0.0)
        ratio = car.gears[int(st[ly.GEAR]) - 1] * car.final
        push = torque_at(car, st[ly.RPM], 1.0, day[ly.D_RHO]) * ratio / car.wheel_radius
        want = mass * 2.0 * (target - st[ly.VX]) + 0.5 * day[ly.D_RHO] * car.drag_area * target**2
        want += mass * 0.6
        st[ly.THR] += dt / 0.05 * (min(max(want / push, 0.0), 1.0) - st[ly.THR])
        change_gear(car, st, 1.0, dt)
        car_step(car, st, road, 0.5, day, dt, loads)
        place_on_road(st, grid, step, road)
        write_row(st, road, (i + 1) * dt, out, i)
        if abs(st[ly.N]) > 0.6 and i > 3000:
            return i + 1
    return count


def ring_limit(
    car: Car, radius_m: float, day: Array, v_from: float, bank_rad: float = 0.0,
    vertical: float = 0.0, rate: float = 0.12,
) -> float:  # fmt: skip
    """Highest speed in m/s at which the car holds a ring, found by speeding up slowly."""
    grid, step = ring(radius_m, bank_rad, vertical)
    plan = np.zeros((grid.shape[0], 8))
    plan[:, ly.LX], plan[:, ly.LY] = grid[:, ly.GX], grid[:, ly.GY]
    plan[:, ly.LH], plan[:, ly.LK] = grid[:, ly.GHEADING], grid[:, ly.GCURVE]
    st = standing(car, v_from)
    st[ly.R] = v_from / radius_m
    out = np.zeros((int(60 / STEP_S), ly.OUTPUTS))
    count = run_ring(car, st, grid, step, plan, SKILL, day, v_from, rate, STEP_S, out.shape[0], out)
    if count == out.shape[0]:
        raise RuntimeError("the car never left the ring: start faster")
    speed = np.hypot(out[:count, ly.O_VX], out[:count, ly.O_VY])
    return float(speed[np.abs(out[:count, ly.O_N]) < 0.4].max())


def hold_pedals(
    car: Car, speed: float, day: Array, seconds: float, *, throttle: float = 0.0,
    brake: float = 0.0, neutral: bool = False, calm: bool = False, grid: Array | None = None,
) -> Array:  # fmt: skip
    """Rows of a run on a straight with the pedals held."""
    road = straight() if grid is None else grid
    st = standing(car, speed)
    out = np.zeros((int(seconds / STEP_S), ly.OUTPUTS))
    count = run_straight(
        car, st, road, day, throttle, brake, neutral, STEP_S, out.shape[0], calm, out
    )
    return out[:count]
