"""Compiled loops: the car's forces and motion, the driver's hands and feet.

Fixed step, semi-implicit Euler. The state is one array whose places are the
constants below; the car is a named tuple of floats. Nothing here draws random
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
def lane_error(st, plan, step, line):
    """Offset from the driver's line (left positive) the course error and the unrest here."""
    row_at(plan, step, st[S], line)
    dx, dy = st[X] - line[LX], st[Y] - line[LY]
    off = -dx * np.sin(line[LH]) + dy * np.cos(line[LH])
    course = wrap(st[PSI] + np.arctan2(st[VY], max(st[VX], 2.0)) - line[LH])
    return off, course, line[LNOISE]


@njit(cache=True, error_model="numpy")
def hands(car, st, plan, step, line, skill, mass, dt, jab):
    """Move the road-wheel angle: feed-forward of the line ahead, error feedback, lag, limits."""
    v = max(st[VX], 3.0)
    off, course, noise = lane_error(st, plan, step, line)
    row_at(plan, step, st[S] + v * skill[K_PREVIEW], line)
    w, z = skill[K_STEER], skill[K_DAMP]
    want = v * v * line[LK] - w * w * off - 2 * z * w * v * course
    want += 0.6 * car.inertia / (mass * car.axle_f) * (v * line[LK] - st[R]) / 0.12
    want += jab + noise * skill[K_WHEEL_NOISE]
    need = mass * abs(want) * car.axle_r / (car.axle_f + car.axle_r)
    cap = max(st[CAP_F], 500.0)
    long_share = min(car.brake_bias * car.brake_force * st[BRK] / cap, 0.95)
    share = np.sqrt((need / cap) ** 2 + long_share**2)
    # the hands stop where the wheel goes light: little beyond the peak
    rho = tyre_slip(car, share) if share < 0.99 else 0.80 + min(0.25, 1.5 * (share - 0.99))
    side = rho * min(need / cap / max(share, 1e-6), 1.0)
    slip = np.arctan(side * car.slip_y) * (1.0 if want >= 0 else -1.0)
    aim = st[SLIP_F] + slip
    aim = min(max(aim, -car.steer_max), car.steer_max)
    rate = (aim - st[STEER]) / skill[K_LAG]
    rate = min(max(rate, -0.9), 0.9)
    st[STEER] += dt * rate
    return off, course


@njit(cache=True, error_model="numpy")
def seen(st, t, q, at):
    """Tell whether a reference has come up, with its lead (s late, negative early).

    A place can be foreseen, a state cannot: its lead counts from when it is met.
    """
    kind, lead = int(q[at]), q[at + 5]
    a, b, c, d = q[at + 1], q[at + 2], q[at + 3], q[at + 4]
    if kind in (PLACE, VIEW, ALIGN):
        return st[S] - st[VX] * lead >= a + b * st[N] + c * st[N] * st[N]
    if st[S] >= c:
        return True  # nobody waits for ever
    if st[TRIG] < 0.0:
        if st[S] < d:
            return False
        if kind == SPEED and (st[VX] - a) * b < 0:
            return False
        if kind == STRAIGHT:
            # the wheel must have been turned before it can come back
            if abs(st[STEER]) > 1.5 * a:
                st[TRIG] = ARMED
            if st[TRIG] != ARMED or abs(st[STEER]) > a:
                return False
        st[TRIG] = t
    return t >= st[TRIG] + lead


@njit(cache=True, error_model="numpy")
def read_marks(st, marks):
    """Set what the hands and the throttle suffer at this place: a jab, a cap."""
    st[JABBED], st[CAPPED] = 0.0, 1.0
    for m in marks:
        along = (st[S] - m[M_AT]) / m[M_LENGTH]
        if 0.0 <= along < 1.0:
            if m[M_KIND] == JAB:
                st[JABBED] += m[M_SIZE] * np.sin(2 * np.pi * along)
                st[CAPPED] = min(st[CAPPED], 0.35 if along > 0.35 else 1.0)
            else:
                st[CAPPED] = min(st[CAPPED], 1.0 - m[M_SIZE])


@njit(cache=True, error_model="numpy")
def read_plan(car, st, plan, step, skill, day, here):
    """Read the plan a moment ahead, at the place that the driver takes himself to be at.

    After braking early or late he stretches or squeezes the plan until the place
    where the release begins. Sets the force he wants and what the engine has, in N.
    """
    warp = 0.0
    if st[WARP] != 0.0 and st[S] < st[WARP_END]:
        warp = st[WARP] * (st[WARP_END] - st[S]) / max(st[WARP_END] - st[WARP_AT], 1.0)
    row_at(plan, step, st[S] + warp + st[VX] * 0.06, here)
    ratio = car.gears[int(st[GEAR]) - 1] * car.final / car.wheel_radius
    st[PUSH] = torque_at(car, max(st[RPM], 450.0), 1.0, day[D_RHO]) * ratio * car.driveline
    st[IDLE] = torque_at(car, st[RPM], 0.0, day[D_RHO]) * ratio
    st[WANT] = (car.mass + day[D_MASS]) * (here[LF] + skill[K_SPEED] * (here[LV] - st[VX]))
    return st[S] + warp


@njit(cache=True, error_model="numpy")
def note(st, events, k, which, t):
    """Write down when and where something was decided."""
    events[k, which, 0], events[k, which, 1] = t, st[S]


@njit(cache=True, error_model="numpy")
def gas_share(st):
    """Throttle that would give the wanted force."""
    return (st[WANT] - st[IDLE]) / max(st[PUSH] - st[IDLE], 1.0)


@njit(cache=True, error_model="numpy")
def start_driving(st, events, k, t):
    """Go over to the throttle."""
    st[PHASE], st[TRIG], st[SINCE], st[STEP_T] = DRIVING, -1.0, t, -1.0
    note(st, events, k, E_PICK, t)


@njit(cache=True, error_model="numpy")
def act_lifted(st, q, k, t, events):
    """Foot off the throttle, or easing it where no brake is needed."""
    if q[Q_BRAKED] == 0.0:
        if st[S] >= q[Q_PLAN_PICK]:
            start_driving(st, events, k, t)
        return gas_share(st)
    if seen(st, t, q, Q_BRAKE_KIND):
        st[PHASE], st[TRIG], st[SINCE], st[HOLD] = BRAKING, -1.0, t, 0.0
        st[WARP] = q[Q_PLAN_BRAKE] - st[S]
        st[WARP_AT], st[WARP_END] = st[S], max(q[Q_PLAN_REL], st[S] + 10.0)
    return 0.0


@njit(cache=True, error_model="numpy")
def act_braking(car, st, q, k, t, place, events):
    """Brake as the plan asks for, less where a tyre goes past its peak."""
    brake = min(max((st[IDLE] - st[WANT]) / car.brake_force, 0.0), 1.0)
    brake *= max(1.0 - 4.0 * max(max(st[RHO_F], st[RHO_R]) - 0.95, 0.0), 0.1)
    if q[Q_LET_GO] > 0 and place >= q[Q_LET_GO]:
        st[HOLD] = 1.0
    if st[HOLD] > 0:
        brake = 0.0
    if q[Q_DRAG] > 0 and place > q[Q_PLAN_REL] and st[S] < q[Q_DRAG_TO]:
        fade = (st[S] - q[Q_LOOSE]) / (q[Q_DRAG_TO] - q[Q_LOOSE])
        brake = max(brake, q[Q_DRAG] * (1.0 - 0.5 * max(fade, 0.0)))
    past = place > q[Q_PLAN_REL] or st[VX] < 8.0
    if t - st[SINCE] > 0.25 and brake <= 0.0 and st[BRK] < 0.01 and past:
        st[PHASE] = WAITING
        note(st, events, k, E_BRAKE_END, t)
    return brake


@njit(cache=True, error_model="numpy")
def act_waiting(st, q, k, t, here, skill, events):
    """Neither pedal, until the reference has come, the speed is there and the car turns."""
    if st[VX] > here[LV] + 2.5 and st[HOLD] == 0.0:
        st[PHASE], st[SINCE] = BRAKING, t
        return
    ready = (st[VX] < here[LV] + skill[K_WAIT] and st[WIDE] < 0.4) or st[VX] < 8.0
    if ready and seen(st, t, q, Q_PICK_KIND):
        start_driving(st, events, k, t)


@njit(cache=True, error_model="numpy")
def act_driving(st, script, k, t, here, events):
    """Open the throttle on the way out: the plan's, opened no faster than the foot does."""
    q = script[k]
    throttle = gas_share(st)
    if here[LF] > 0 and st[WANT] > 0.97 * st[PUSH]:
        throttle = 1.0
    throttle = min(throttle, 0.08 + (t - st[SINCE]) / max(q[Q_RAMP], 0.05))
    if q[Q_STEP_TIME] > 0:
        if st[STEP_T] < 0 and throttle > q[Q_STEP_LEVEL]:
            st[STEP_T] = t
        if st[STEP_T] >= 0 and t - st[STEP_T] < q[Q_STEP_TIME]:
            throttle = min(throttle, q[Q_STEP_LEVEL])
    throttle *= max(1.0 - 0.8 * st[WIDE], 0.0)
    if st[THR] >= 0.98:
        st[PHASE] = FLAT
        st[CORNER] += 1.0
        note(st, events, k, E_FULL, t)
    elif k + 1 < script.shape[0]:
        z = script[k + 1]
        if st[S] > z[Q_OPEN_FROM] and seen(st, t, z, Q_LIFT_KIND):
            st[CORNER] += 1.0
            st[PHASE] = LIFTED
            note(st, events, k + 1, E_LIFT, t)
            return 0.0
    return throttle


@njit(cache=True, error_model="numpy")
def feet(car, st, script, t, place, here, skill, events):
    """Throttle and brake that the driver wants now; moves his phase on."""
    acts = script.shape[0]
    k = min(int(st[CORNER]), acts - 1)
    q = script[k]
    throttle, brake = 0.0, 0.0
    fresh = st[PHASE] == FLAT and st[CORNER] < acts and st[S] > q[Q_OPEN_FROM]
    if fresh and seen(st, t, q, Q_LIFT_KIND):
        st[PHASE] = LIFTED
        note(st, events, k, E_LIFT, t)
    if st[PHASE] == LIFTED:
        throttle = act_lifted(st, q, k, t, events)
    if st[PHASE] == BRAKING:
        brake = act_braking(car, st, q, k, t, place, events)
    if st[PHASE] == WAITING:
        act_waiting(st, q, k, t, here, skill, events)
    if st[PHASE] == DRIVING:
        throttle = act_driving(st, script, k, t, here, events)
    if st[PHASE] == FLAT:
        throttle = 1.0
    if st[PHASE] == FLAT or st[PHASE] == DRIVING:
        throttle *= min(1.0, max(0.0, 1.0 - 3.0 * (st[RHO_R] - 1.0)))
        throttle = min(throttle, st[CAPPED])
    return min(max(throttle, 0.0), 1.0), brake


@njit(cache=True, error_model="numpy")
def press(value, aim, lag, rise, fall, dt):
    """Move a foot: first-order lag with limits on its rates."""
    rate = (aim - value) / lag
    return min(max(value + dt * min(max(rate, -fall), rise), 0.0), 1.0)


@njit(cache=True, error_model="numpy")
def change_gear(car, st, floor, dt):
    """Shift up near the top of the engine's range, down when the lower gear fits."""
    if st[SHIFT] > -0.05:
        st[SHIFT] -= dt if st[SHIFT] <= 0 else 0.0
        return
    gear = int(st[GEAR])
    if st[RPM] > car.engine_up and gear < car.gears.shape[0] and st[THR] > 0.3:
        st[GEAR] += 1
        st[SHIFT] = car.shift_time
    elif gear > 1 and gear > floor and st[RHO_R] < 1.2:
        lower = st[RPM] * car.gears[gear - 2] / car.gears[gear - 1]
        if lower < car.engine_down and (st[THR] < 0.3 or lower < 0.8 * car.engine_down):
            st[GEAR] -= 1
            st[SHIFT] = car.shift_time


@njit(cache=True, error_model="numpy")
def too_wide(st, off, course, curve):
    """Metres beyond 0.7 m by which the car will miss its line on the outside in half a second."""
    if abs(curve) < 0.0025 or st[VX] < 10.0:
        return 0.0
    turn = 1.0 if curve < 0 else -1.0
    return max(turn * (off + 0.5 * st[VX] * course) - 0.7, 0.0)


@njit(cache=True, error_model="numpy")
def pilot(car, st, step, plan, script, marks, skill, day, t, dt, line, here, events):
    """One look and one move of the driver: hands, feet and gear lever."""
    mass = car.mass + day[D_MASS]
    read_marks(st, marks)
    off, course = hands(car, st, plan, step, line, skill, mass, dt, st[JABBED])
    st[WIDE] = too_wide(st, off, course, line[LK])
    place = read_plan(car, st, plan, step, skill, day, here)
    row = min(int(st[CORNER]), script.shape[0] - 1)
    throttle, brake = feet(car, st, script, t, place, here, skill, events)
    st[THR] = press(st[THR], throttle, skill[K_PEDAL], 9.0, 14.0, dt)
    st[BRK] = press(st[BRK], brake, skill[K_PEDAL], 9.0, 14.0, dt)
    if st[PHASE] == BRAKING and st[BRK] > 0.01 and np.isnan(events[row, E_BRAKE, 0]):
        note(st, events, row, E_BRAKE, t)
    change_gear(car, st, script[row, Q_GEAR_FLOOR], dt)


@njit(cache=True, error_model="numpy", nogil=True)
def run_lap(
    car, st, grid, step, plan, script, marks, skill, day, rough_grip, dt, limit, finish, out, events
):
    """Drive from the state to ``finish`` (m); fill ``out`` rows; return the number of rows."""
    road, line, here, loads = np.zeros(15), np.zeros(8), np.zeros(8), np.zeros(4)
    place_on_road(st, grid, step, road)
    for count in range(limit):
        t = count * dt
        pilot(car, st, step, plan, script, marks, skill, day, t, dt, line, here, events)
        car_step(car, st, road, rough_grip, day, dt, loads)
        place_on_road(st, grid, step, road)
        write_row(st, road, t + dt, out, count)
        if st[S] >= finish:
            return count + 1
    return limit


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
    o[O_NORM], o[O_RHO_F], o[O_RHO_R] = st[NORM], st[RHO_F], st[RHO_R]
    o[O_KERB], o[O_PHASE], o[O_OFF] = st[ON_KERB], st[PHASE], st[OFF]
    o[O_FELT_X], o[O_FELT_Y], o[O_FELT_Z] = st[FELT_X], st[FELT_Y], st[NORM]
    o[O_LOAD] = st[DOWN]
