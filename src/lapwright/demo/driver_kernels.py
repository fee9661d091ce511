"""Compiled loops of the driver: his hands and feet, and the lap that he drives.

As in `kernels`, nothing here draws random numbers.
"""

# ruff: noqa: F403, F405
# mypy: disable-error-code="no-untyped-def,no-untyped-call,no-any-return"
from __future__ import annotations

import numpy as np
from numba import njit

from lapwright.demo.kernels import (
    car_step,
    place_on_road,
    row_at,
    torque_at,
    tyre_slip,
    wrap,
    write_row,
)
from lapwright.demo.layout import *  # about ninety places of arrays


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

    A place can be foreseen; a state cannot, nor what comes into view past a wall's end: their
    leads count from when they are met.
    """
    kind, lead = int(q[at]), q[at + 5]
    a, b, c, d = q[at + 1], q[at + 2], q[at + 3], q[at + 4]
    if kind in (PLACE, VIEW, ALIGN):
        return st[S] - st[VX] * lead >= a + b * st[N] + c * st[N] * st[N]
    if kind == PAST:
        if st[TRIG] < 0.0 and st[S] >= max(d, a + b * st[N] + c * st[N] * st[N]):
            st[TRIG] = t
        return st[TRIG] >= 0.0 and t >= st[TRIG] + lead
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
