"""The quasi-steady envelope of the demo's car, and a speed plan under it.

The same tyres and load transfer as the moving car, solved for equilibrium:
what the car can do, against which a driver's use of it is measured.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call,no-any-return"
from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lapwright.demo.car import Car
from lapwright.demo.kernels import G, torque_at, tyre_peak, tyre_slip, wheel_loads

Array = NDArray[np.float64]

SPEEDS = np.arange(4.0, 90.0, 4.0)
NORMALS = np.arange(2.0, 20.1, 1.5)
SHARES = np.sin(np.linspace(0, np.pi / 2, 17))

# columns of the way: what the plan needs to know of the driven line
WAY_DS, WAY_CURVE, WAY_SLOPE, WAY_BANK, WAY_VERT, WAY_GRIP, WAY_SHARE, WAY_BRAKE = range(8)


@njit(cache=True, error_model="numpy")
def axle_holds(left, right, fx, fy, driven):
    """Tell whether an axle with these peaks (N) can give ``fx`` and ``fy`` together.

    Brakes pull both wheels alike, so the lighter one locks first; a driven axle
    shares by its locking differential, so its peaks add up.
    """
    if driven:
        return np.hypot(fx, fy) <= left + right
    half = fx / 2
    if half > min(left, right):
        return False
    return fy <= np.sqrt(left**2 - half**2) + np.sqrt(right**2 - half**2)


@njit(cache=True, error_model="numpy")
def car_holds(car, v, normal, fx, ay, mass, density, grip, loads):
    """Tell whether both axles hold at tyre accelerations ``fx``, ``ay`` (m/s²)."""
    down = 0.5 * density * car.down_area * v * v
    drag = 0.5 * density * car.drag_area * v * v
    wheel_loads(car, mass, normal, down, fx - drag / mass, ay, loads)
    length = car.axle_f + car.axle_r
    share = car.brake_bias if fx < 0 else 0.0
    front = axle_holds(
        tyre_peak(car, loads[0], grip), tyre_peak(car, loads[1], grip),
        mass * abs(fx) * share, mass * ay * car.axle_r / length, False,
    )  # fmt: skip
    return front and axle_holds(
        tyre_peak(car, loads[2], grip * car.rear_grip),
        tyre_peak(car, loads[3], grip * car.rear_grip),
        mass * abs(fx) * (1 - share), mass * ay * car.axle_f / length, fx > 0,
    )  # fmt: skip


@njit(cache=True, error_model="numpy")
def reach(car, v, normal, dx, dy, mass, density, grip, loads):
    """Largest length of the tyre acceleration in the direction (dx, dy), by halving."""
    low, high = 0.0, 60.0
    for _ in range(36):
        mid = 0.5 * (low + high)
        if car_holds(car, v, normal, mid * dx, mid * dy, mass, density, grip, loads):
            low = mid
        else:
            high = mid
    return low


@njit(cache=True, error_model="numpy")
def reach_at(car, v, normal, sign, ay, mass, density, grip, loads):
    """Largest braking (sign -1) or drive (+1) beside a given ``ay``, by halving."""
    low, high = 0.0, 60.0
    for _ in range(36):
        mid = 0.5 * (low + high)
        if car_holds(car, v, normal, sign * mid, ay, mass, density, grip, loads):
            low = mid
        else:
            high = mid
    return low


@njit(cache=True, error_model="numpy", nogil=True)
def solve_envelope(car, mass, density, grip, speeds, normals, shares):
    """Tables of the lateral limit (v, normal) and of braking and drive (v, normal, share)."""
    loads = np.zeros(4)
    side = np.zeros((speeds.size, normals.size))
    brake = np.zeros((speeds.size, normals.size, shares.size))
    drive = np.zeros((speeds.size, normals.size, shares.size))
    for i in range(speeds.size):
        for j in range(normals.size):
            v, g = speeds[i], normals[j]
            side[i, j] = reach(car, v, g, 0.0, 1.0, mass, density, grip, loads)
            for k in range(shares.size):
                ay = side[i, j] * shares[k]
                brake[i, j, k] = reach_at(car, v, g, -1.0, ay, mass, density, grip, loads)
                drive[i, j, k] = reach_at(car, v, g, 1.0, ay, mass, density, grip, loads)
    return side, brake, drive


@njit(cache=True, error_model="numpy")
def use_of(car, rows, felt, grip, mass, density):
    """Share of the envelope in use at each row (v, normal, forward, left), shape (k,)."""
    loads = np.zeros(4)
    out = np.zeros(rows.shape[0])
    for i in range(rows.shape[0]):
        size = np.hypot(felt[i, 0], felt[i, 1])
        if size > 0.5:
            dx, dy = felt[i, 0] / size, abs(felt[i, 1]) / size
            out[i] = size / reach(car, rows[i, 0], rows[i, 1], dx, dy, mass, density, grip, loads)
    return out


@njit(cache=True, error_model="numpy")
def spot(axis, value):
    """Index and part for linear interpolation on a rising axis, held at the ends."""
    if value <= axis[0]:
        return 0, 0.0
    if value >= axis[-1]:
        return axis.size - 2, 1.0
    i = np.searchsorted(axis, value) - 1
    return i, (value - axis[i]) / (axis[i + 1] - axis[i])


@njit(cache=True, error_model="numpy")
def read2(table, i, a, j, b):
    """Bilinear reading."""
    return (table[i, j] * (1 - a) + table[i + 1, j] * a) * (1 - b) + (
        table[i, j + 1] * (1 - a) + table[i + 1, j + 1] * a
    ) * b


@njit(cache=True, error_model="numpy")
def read3(table, i, a, j, b, k, c):
    """Trilinear reading."""
    return read2(table[:, :, k], i, a, j, b) * (1 - c) + read2(table[:, :, k + 1], i, a, j, b) * c


@njit(cache=True, error_model="numpy")
def engine_push(car, v, mass, density):
    """Largest drive force over mass (m/s²) at ``v`` in the best gear, and the mass factor there."""
    best, factor = 0.0, 1.0
    wheels = 4 * car.wheel_inertia / car.wheel_radius**2
    for g in range(car.gears.shape[0]):
        ratio = car.gears[g] * car.final
        speed = v / car.wheel_radius * ratio
        if speed > car.engine_up * 1.005 and g + 1 < car.gears.shape[0]:
            continue
        push = torque_at(car, max(speed, 450.0), 1.0, density) * ratio * car.driveline
        push /= car.wheel_radius * mass
        if push > best:
            turning = car.engine_inertia * ratio**2 / car.wheel_radius**2
            best, factor = push, 1 + (wheels + turning) / mass
    return best, factor


@njit(cache=True, error_model="numpy")
def demand(car, way, v, mass, density):
    """Tyre lateral acceleration, normal acceleration and resistance (m/s²) on this place."""
    side = way[WAY_CURVE] * v * v
    sin_b, cos_b = np.sin(way[WAY_BANK]), np.cos(way[WAY_BANK])
    normal = G * cos_b - side * sin_b + way[WAY_VERT] * v * v
    down = 0.5 * density * car.down_area * v * v / mass
    tyre = abs(side + (normal + down) * sin_b) / cos_b
    drag = 0.5 * density * car.drag_area * v * v / mass
    climb = G * way[WAY_SLOPE] / np.sqrt(1 + way[WAY_SLOPE] ** 2)
    return tyre, normal, drag + climb + car.rolling * (normal + down)


@njit(cache=True, error_model="numpy")
def limits(car, tables, axes, way, v, mass, density):
    """(share of lateral in use, brake, drive, scrub, resistance), shares of grip applied."""
    side, brake, drive = tables
    speeds, normals, shares = axes
    tyre, normal, resist = demand(car, way, v, mass, density)
    i, a = spot(speeds, v)
    j, b = spot(normals, normal * way[WAY_GRIP])
    held = way[WAY_SHARE]
    use = tyre / max(read2(side, i, a, j, b) * held, 1e-6)
    k, c = spot(shares, min(use, 1.0))
    slow = read3(brake, i, a, j, b, k, c) * held * way[WAY_BRAKE]
    push = read3(drive, i, a, j, b, k, c) * held
    scrub = tyre * car.slip_y * tyre_slip(car, min(use, 1.0) * held * 0.97)
    return use, slow, push, scrub, resist


@njit(cache=True, error_model="numpy", nogil=True)
def solve_plan(car, tables, axes, ways, mass, density, v_cap, closed):
    """Forward and backward pass over a way (closed, or open and free at its start); m/s."""
    n = ways.shape[0]
    top = np.zeros(n)
    for i in range(n):
        low, high = 3.0, 88.0
        for _ in range(30):
            mid = 0.5 * (low + high)
            if limits(car, tables, axes, ways[i], mid, mass, density)[0] <= 1.0:
                low = mid
            else:
                high = mid
        top[i] = min(low, v_cap[i])
    v = top.copy()
    for turn in range(2 * n if closed else n - 1):
        i, j = turn % n, (turn + 1) % n
        _, _, push, scrub, resist = limits(car, tables, axes, ways[i], v[i], mass, density)
        engine, factor = engine_push(car, v[i], mass, density)
        a = (min(push, engine) - resist - scrub) / factor
        v[j] = min(v[j], np.sqrt(max(v[i] ** 2 + 2 * a * ways[i, WAY_DS], 4.0)))
    for turn in range(2 * n if closed else n - 1, 0, -1):
        i, j = turn % n, (turn - 1) % n
        _, slow, _, scrub, resist = limits(car, tables, axes, ways[i], v[i], mass, density)
        a = slow + resist + scrub
        v[j] = min(v[j], np.sqrt(v[i] ** 2 + 2 * a / 1.05 * ways[j, WAY_DS]))
    return v


@njit(cache=True, error_model="numpy")
def plan_force(car, tables, axes, ways, v, mass, density):
    """Needed tyre force, full-throttle force and straight-line brake limit (m/s²) along a plan."""
    n = ways.shape[0]
    force, full, hard = np.zeros(n), np.zeros(n), np.zeros(n)
    for i in range(n):
        j = (i + 1) % n
        a = (v[j] ** 2 - v[i] ** 2) / (2 * ways[i, WAY_DS])
        _, _, _, scrub, resist = limits(car, tables, axes, ways[i], v[i], mass, density)
        engine, factor = engine_push(car, v[i], mass, density)
        _, normal, _ = demand(car, ways[i], v[i], mass, density)
        iv, av = spot(axes[0], v[i])
        jn, bn = spot(axes[1], normal * ways[i, WAY_GRIP])
        force[i] = a * (factor if a > 0 else 1.05) + resist + scrub
        full[i] = engine
        hard[i] = read3(tables[1], iv, av, jn, bn, 0, 0.0) * ways[i, WAY_SHARE] * ways[i, WAY_BRAKE]
    return force, full, hard


def envelope_tables(car: Car, extra_mass: float, density: float, grip: float) -> tuple[Array, ...]:
    """Limits of the car over speed, normal acceleration and the share of lateral use."""
    tables: tuple[Array, ...] = solve_envelope(
        car, car.mass + extra_mass, density, grip, SPEEDS, NORMALS, SHARES
    )
    return tables
