"""Compiled loops of the car: its forces and its motion on the road.

Fixed step, semi-implicit Euler. The state is one array whose places are the
constants of `layout`; the car is a named tuple of floats. Nothing here draws random
numbers: all noise comes in as arrays, so a run depends on its inputs alone.
"""

# ruff: noqa: F403, F405
# mypy: disable-error-code="no-untyped-def,no-untyped-call,no-any-return"
from __future__ import annotations

import numpy as np
from numba import njit

from lapwright.demo.layout import *  # about ninety places of arrays

G = 9.80665


@njit(cache=True, error_model="numpy")
def row_at(grid, step, s, out):
    """Interpolate a closed grid linearly at ``s``; heading columns need care by the caller."""
    n = grid.shape[0] - 1
    at = s / step
    i = int(np.floor(at))
    part = at - i
    i = i % n
    for j in range(grid.shape[1]):
        out[j] = grid[i, j] + (grid[i + 1, j] - grid[i, j]) * part


@njit(cache=True, error_model="numpy")
def wrap(angle):
    """Angle in -pi..pi."""
    return (angle + np.pi) % (2 * np.pi) - np.pi


@njit(cache=True, error_model="numpy")
def tyre_curve(car, rho):
    """Share of the peak force at the normalised slip ``rho`` (1 at the peak)."""
    return np.sin(car.tyre_shape * np.arctan(car.tyre_stiffness * rho))


@njit(cache=True, error_model="numpy")
def tyre_slip(car, share):
    """Normalised slip that gives this share of the peak, the inverse of `tyre_curve`."""
    q = min(max(share, 0.0), 0.9995)
    return np.tan(np.arcsin(q) / car.tyre_shape) / car.tyre_stiffness


@njit(cache=True, error_model="numpy")
def tyre_peak(car, load, grip):
    """Largest force of one tyre in N: friction falls as load grows."""
    if load <= 0.0:
        return 0.0
    fade = 1.0 - car.tyre_fade * (load / car.tyre_load - 1.0)
    return car.tyre_grip * grip * max(fade, 0.4) * load


@njit(cache=True, error_model="numpy")
def torque_at(car, speed, throttle, density):
    """Engine torque in N m at a speed in rad/s: full curve times throttle, less its drag."""
    top = car.engine_torque.shape[0] - 1
    at = min(max(speed / car.engine_step, 0.0), top - 1e-9)
    i = int(at)
    full = car.engine_torque[i] + (car.engine_torque[i + 1] - car.engine_torque[i]) * (at - i)
    drag = car.engine_drag * (0.35 + 0.65 * speed / 700.0) if speed > car.engine_idle else 0.0
    return throttle * full * density / 1.225 - (1.0 - throttle) * drag


@njit(cache=True, error_model="numpy")
def wheel_loads(car, mass, normal, down, ax, ay, out):
    """Fill the loads of the four wheels in N (FL FR RL RR), quasi-static with the lagged ax, ay."""
    length = car.axle_f + car.axle_r
    weight = mass * normal
    shift = mass * ax * car.height / length
    front = weight * car.axle_r / length + down * car.down_front - shift
    rear = weight * car.axle_f / length + down * (1 - car.down_front) + shift
    roll = mass * ay * car.height
    side_f = roll * car.roll_share / car.track_f
    side_r = roll * (1 - car.roll_share) / car.track_r
    out[0] = max(front / 2 - side_f, 0.0)
    out[1] = max(front / 2 + side_f, 0.0)
    out[2] = max(rear / 2 - side_r, 0.0)
    out[3] = max(rear / 2 + side_r, 0.0)


@njit(cache=True, error_model="numpy")
def surface(road, n, x_phase, fixed_grip):
    """Grip factor, roughness share and place (0 road, 1 kerb, 2 beyond) of a wheel at ``n``."""
    grip, rough, where = road[GGRIP], road[GROUGH], 0.0
    edge = road[GLEFT] if n > 0 else road[GRIGHT]
    kerb = road[GKERB_LEFT] if n > 0 else road[GKERB_RIGHT]
    away = abs(n) - edge
    if away > 0:
        grip, rough, where = road[GKERB_GRIP], 0.10, 1.0
        if away > kerb:
            grip, rough, where = fixed_grip, 0.12, 2.0
    wave = np.sin(2 * np.pi * x_phase / 2.3) + 0.6 * np.sin(2 * np.pi * x_phase / 0.93 + n)
    return grip, rough * wave, where


@njit(cache=True, error_model="numpy")
def car_step(car, st, road, rough_grip, day, dt, loads):
    """Advance the car by ``dt`` with the pedals, gear and steering that stand in the state."""
    mass = car.mass + day[D_MASS]
    cos_p, sin_p = np.cos(st[PSI]), np.sin(st[PSI])
    wind_x = day[D_WIND_X] * cos_p + day[D_WIND_Y] * sin_p
    air = max(st[VX] - wind_x, 0.0)
    down = 0.5 * day[D_RHO] * car.down_area * air * air
    drag = 0.5 * day[D_RHO] * car.drag_area * air * air
    speed2 = st[VX] * st[VX] + st[VY] * st[VY]
    sin_b, cos_b = np.sin(road[GBANK]), np.cos(road[GBANK])
    normal = G * cos_b - st[AYT] * sin_b + road[GVERT] * speed2
    wheel_loads(car, mass, normal, down, st[AX], st[AY], loads)

    heading = wrap(st[PSI] - road[GHEADING])
    cos_h, sin_h = np.cos(heading), np.sin(heading)
    ratio = car.gears[int(st[GEAR]) - 1] * car.final
    driven = 0.5 * (st[W2] + st[W3])
    rpm = max(driven * ratio, car.engine_idle)
    st[RPM] = rpm
    engaged = st[SHIFT] <= 0.0
    launch = rpm if driven * ratio > 450.0 or st[THR] < 0.3 else 450.0
    torque = torque_at(car, launch, st[THR], day[D_RHO]) * ratio if engaged else 0.0
    if torque > 0:
        torque *= car.driveline
    turning = car.engine_inertia * ratio * ratio / 2 if engaged else 0.0
    lock = car.diff_lock * (st[W3] - st[W2])
    limit = 0.35 * abs(torque) + 120.0
    lock = min(max(lock, -limit), limit)
    brake = car.brake_force * car.wheel_radius * st[BRK] / 2

    fx, fy, moment = 0.0, 0.0, 0.0
    st[RHO_F], st[RHO_R], st[CAP_F], st[CAP_R], st[ON_KERB], st[OFF] = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    slide_f, slide_r = 0.0, 0.0
    for i in range(4):
        front = i < 2
        lx = car.axle_f if front else -car.axle_r
        ly = (car.track_f if front else car.track_r) * (0.5 if i % 2 == 0 else -0.5)
        delta = st[STEER] if front else 0.0
        ux, uy = st[VX] - st[R] * ly, st[VY] + st[R] * lx
        cd, sd = np.cos(delta), np.sin(delta)
        along, across = ux * cd + uy * sd, -ux * sd + uy * cd
        wheel_n = st[N] + lx * sin_h + ly * cos_h
        grip, wave, where = surface(road, wheel_n, st[S] + lx, rough_grip)
        if where >= 1.0:
            st[ON_KERB] += 1.0
        if where == 2.0:
            st[OFF] += 1.0
        load = loads[i] * max(1.0 + wave, 0.0)
        peak = tyre_peak(car, load, grip * day[D_GRIP] * (1.0 if front else car.rear_grip))
        base = max(abs(along), 3.0)
        spin = st[W0 + i] * car.wheel_radius
        sx = (spin - along) / base / car.slip_x
        sy = across / base / car.slip_y
        rho = max(np.sqrt(sx * sx + sy * sy), 1e-9)
        force = peak * tyre_curve(car, rho) / rho
        px, py = force * sx, -force * sy
        roll = car.rolling * load * np.tanh(along)
        gain = force / (base * car.slip_x) * car.wheel_radius
        inertia = car.wheel_inertia + (0.0 if front else turning)
        share = car.brake_bias if front else 1 - car.brake_bias
        pull = 0.0 if front else torque / 2 + (lock if i == 2 else -lock)
        hold = brake * share
        # implicit in the slip; the car's own gain of speed in this step belongs to it
        spare = pull - px * car.wheel_radius + gain * st[AXT] * dt
        w = st[W0 + i] + dt * spare / (inertia + dt * gain * car.wheel_radius)
        slow = dt * hold / (inertia + dt * gain * car.wheel_radius)
        st[W0 + i] = max(w - slow, 0.0) if w >= 0 else min(w + slow, 0.0)
        bx, by = px * cd - py * sd - roll, px * sd + py * cd
        fx += bx
        fy += by
        moment += lx * by - ly * bx
        if front:
            st[CAP_F] += peak
            slide_f += rho * loads[i]
        else:
            st[CAP_R] += peak
            slide_r += rho * loads[i]
    st[RHO_F] = slide_f / max(loads[0] + loads[1], 1.0)
    st[RHO_R] = slide_r / max(loads[2] + loads[3], 1.0)
    st[SLIP_F] = np.arctan2(st[VY] + car.axle_f * st[R], max(st[VX], 3.0))
    st[NORM], st[DOWN] = normal, down

    climb = G * road[GSLOPE] / np.sqrt(1 + road[GSLOPE] ** 2)
    # the road's frame is turned by the heading error, so slope and banking act along both axes
    lean = normal * sin_b + down / mass * sin_b
    gx = -climb * cos_h - lean * sin_h
    gy = climb * sin_h - lean * cos_h
    ax = (fx - drag) / mass + gx
    ay = fy / mass * cos_b + gy
    st[AXT], st[AYT] = ax, ay
    st[FELT_X], st[FELT_Y] = (fx - drag) / mass, fy / mass
    st[AX] += dt / car.load_lag * ((fx - drag) / mass - st[AX])
    st[AY] += dt / car.load_lag * (fy / mass - st[AY])
    st[VX] += dt * (ax + st[R] * st[VY])
    st[VY] += dt * (ay - st[R] * st[VX])
    if st[VX] < 1.5:
        st[VY] *= 0.98
    st[R] += dt * moment / car.inertia
    st[PSI] += dt * st[R]
    level = 1.0 / np.sqrt(1 + road[GSLOPE] ** 2)
    cos_p, sin_p = np.cos(st[PSI]), np.sin(st[PSI])
    st[X] += dt * level * (st[VX] * cos_p - st[VY] * sin_p)
    st[Y] += dt * level * (st[VX] * sin_p + st[VY] * cos_p)
    if st[SHIFT] > 0:
        st[SHIFT] -= dt


@njit(cache=True, error_model="numpy")
def place_on_road(st, grid, step, road):
    """One Newton step for the foot point on the centre line; reads the road there."""
    row_at(grid, step, st[S], road)
    dx, dy = st[X] - road[GX], st[Y] - road[GY]
    ch, sh = np.cos(road[GHEADING]), np.sin(road[GHEADING])
    n = -dx * sh + dy * ch
    st[S] += (dx * ch + dy * sh) / max(1 - n * road[GCURVE], 0.2)
    row_at(grid, step, st[S], road)
    dx, dy = st[X] - road[GX], st[Y] - road[GY]
    st[N] = -dx * np.sin(road[GHEADING]) + dy * np.cos(road[GHEADING])


@njit(cache=True, error_model="numpy")
def write_row(st, road, t, out, i):
    """Copy the state into one row of the output."""
    o = out[i]
    o[O_T], o[O_X], o[O_Y], o[O_S], o[O_N], o[O_PSI] = t, st[X], st[Y], st[S], st[N], st[PSI]
    o[O_VX], o[O_VY], o[O_R], o[O_AX], o[O_AY] = st[VX], st[VY], st[R], st[AXT], st[AYT]
    o[O_STEER], o[O_THR], o[O_BRK], o[O_GEAR], o[O_RPM] = (
        st[STEER],
        st[THR],
        st[BRK],
        st[GEAR],
        st[RPM],
    )
    o[O_W0], o[O_W1], o[O_W2], o[O_W3] = st[W0], st[W1], st[W2], st[W3]
    o[O_Z] = road[GZ] + st[N] * np.tan(road[GBANK])
    o[O_NORM], o[O_RHO_F], o[O_PHASE] = st[NORM], st[RHO_F], st[PHASE]
    o[O_FELT_X], o[O_FELT_Y], o[O_OFF] = st[FELT_X], st[FELT_Y], st[OFF]
