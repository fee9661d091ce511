"""One lap's inputs: the driver's own noise, the faults laid on the plan, the run itself."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import envelope as ev
from lapwright.demo import layout as ly
from lapwright.demo import line as ln
from lapwright.demo import plan as pl
from lapwright.demo.car import Car
from lapwright.demo.driver_kernels import run_lap
from lapwright.demo.drivers import Action, Day, Driver, Fault
from lapwright.demo.road import Bend, Circuit

Array = NDArray[np.float64]
STEP_S = 0.001
Anchors = Mapping[tuple[int, Action], Array]
_MAX_ROWS = 260_000


@dataclass(frozen=True, slots=True)
class Conditions:
    """A day as it stands on one lap."""

    grip: float
    extra_kg: float
    wind_x: float
    wind_y: float
    density: float


@dataclass(frozen=True, slots=True)
class CornerNoise:
    """A driver's scatter in one corner of one lap; drawn alike whatever he does."""

    lift_s: float
    brake_s: float
    pick_s: float
    share: float
    level: float
    line_m: Array
    hands: Array


@dataclass(frozen=True, slots=True)
class LapRun:
    """A driven lap: rows at 1 kHz, events by act, the plan it followed."""

    rows: Array
    events: Array
    acts: tuple[pl.Act, ...]
    plan: pl.Plan
    end_state: Array
    seconds: float


def conditions(day: Day, lap: int, seed: int) -> Conditions:
    """Work out the day on a lap: trend plus scatter from a stream of its own."""
    draw = np.random.default_rng([seed, 7001, lap]).standard_normal(3)
    return Conditions(
        day.grip * (1 + day.grip_per_lap * lap) * (1 + day.grip_spread * draw[0]),
        max(day.extra_kg - day.fuel_kg_per_lap * lap, 75.0),
        day.wind_x + day.wind_spread * draw[1],
        day.wind_y + day.wind_spread * draw[2],
        day.density,
    )


def corner_noise(driver: Driver, seed: int, lap: int, bend: int) -> CornerNoise:
    """Noise of one corner from the stream (seed, lap, corner)."""
    rng = np.random.default_rng([seed, lap, bend])
    times = np.clip(rng.standard_normal(3), -2.5, 2.5) * driver.time_s
    share, level = np.clip(rng.standard_normal(2), -2.5, 2.5)
    wander = rng.standard_normal(4) * driver.line_m
    hands = rng.standard_normal(800)
    return CornerNoise(
        float(times[0]), float(times[1]), float(times[2]),
        float(share) * driver.share_spread, float(level) * driver.level_spread, wander, hands,
    )  # fmt: skip


def unrest(noise: dict[int, CornerNoise], circuit: Circuit) -> Array:
    """Unrest of the hands along the road, (n,), about unit variance and 25 m long."""
    n = circuit.grid.shape[0] - 1
    out = np.zeros(n)
    ends = [
        0,
        *(
            (a.end_m + b.start_m) / 2
            for a, b in zip(circuit.bends, circuit.bends[1:], strict=False)
        ),
    ]
    ends.append(circuit.length_m)
    for bend, first, last in zip(circuit.bends, ends, ends[1:], strict=False):
        rows = np.arange(int(first / circuit.step_m), min(int(last / circuit.step_m), n))
        knots = np.interp(rows, rows[0] + 12.5 * np.arange(800), noise[bend.number].hands)
        fade = np.clip(np.minimum(rows - rows[0], rows[-1] - rows) / 20.0, 0, 1)
        out[rows] = knots * fade
    return out


def _bump(s: Array, at: float, size: float, spread: float) -> Array:
    return np.asarray(size * np.exp(-0.5 * ((s - at) / spread) ** 2), dtype=np.float64)


def _wander(circuit: Circuit, noise: dict[int, CornerNoise], s: Array) -> Array:
    """Lay the driver's own scatter about his line in m."""
    out = np.zeros(s.size)
    for bend in circuit.bends:
        for at, size in zip(
            (bend.start_m - 75.0, bend.start_m, bend.apex_m, bend.end_m),
            noise[bend.number].line_m,
            strict=True,
        ):
            out += _bump(s, at, size, 22.0)
    return out


def _bend(circuit: Circuit, number: int) -> Bend:
    for bend in circuit.bends:
        if bend.number == number:
            return bend
    raise ValueError(f"corner: the circuit has corners 1 to {len(circuit.bends)}, not {number}")


def _act_of(plan: pl.Plan, number: int, circuit: Circuit, cause: str) -> pl.Act:
    for act in plan.acts:
        if act.corner == number:
            return act
    name = _bend(circuit, number).name
    raise ValueError(
        f"cause: {cause} needs a corner with a lift or a brake; {number} ({name}) is flat"
    )


_NEEDS_ACT = frozenset({"early_braking", "soft_braking", "slow_minimum", "line"})


def lap_plan(
    circuit: Circuit, driver: Driver, limits: pl.Limits, noise: dict[int, CornerNoise],
    faults: Sequence[Fault], pace: tuple[float, Array],
) -> tuple[pl.Plan, pl.Plan]:  # fmt: skip
    """Make the plan of a lap and the one without faults of planning.

    Both hold the driver's line and shares with their noise.
    """
    n = circuit.grid.shape[0] - 1
    s = circuit.s[:-1]
    hold, cap = pace
    base_s, base_n = ln.racing_offsets(circuit.name, driver.margin_m, driver.line_share)
    bump = _wander(circuit, noise, s)
    share = np.full(n, driver.share * hold)
    brake = np.full(n, driver.brake_share)
    for bend in circuit.bends:
        near = _bump(s, bend.apex_m, 1.0, 45.0)
        share += near * noise[bend.number].share
        brake += _bump(s, bend.start_m - 60.0, 1.0, 60.0) * noise[bend.number].level
    line = ln.line_on_grid(circuit, base_s, base_n, bump)
    usual = plan = pl.make_plan(circuit, line, share, brake, cap, limits)
    wide = [f for f in faults if f.cause == "line"]
    for fault in wide:
        bend = _bend(circuit, fault.corner)
        bump += _bump(s, bend.apex_m, -np.sign(bend.angle) * fault.amount, 20.0)
    if wide:
        line = ln.line_on_grid(circuit, base_s, base_n, bump)
        plan = pl.make_plan(circuit, line, share, brake, cap, limits)
    second = [f for f in faults if f.cause in ("soft_braking", "slow_minimum")]
    if second:
        cap = cap.copy()
        for fault in second:
            act = _act_of(plan, fault.corner, circuit, fault.cause)
            if fault.cause == "soft_braking":
                brake[(s > act.brake - 120.0) & (s < act.slowest)] *= 1 - fault.amount
            else:
                reach = 0.6 * plan.v[int(act.slowest / circuit.step_m)]
                slower = plan.v - fault.amount * _bump(s, act.slowest, 1.0, reach)
                cap = np.where(np.abs(s - act.slowest) < 2.5 * reach, slower, cap)
        plan = pl.make_plan(circuit, line, share, brake, cap, limits)
    for fault in faults:
        if fault.cause == "early_braking":
            plan = _brake_early(circuit, plan, fault, limits)
    if plan is not usual:
        plan = _from_fault_on(circuit, plan, usual, faults)
    return plan, usual


def _from_fault_on(
    circuit: Circuit, plan: pl.Plan, usual: pl.Plan, faults: Sequence[Fault]
) -> pl.Plan:
    """Keep the usual plan up to the first faulty corner: nobody errs beforehand.

    Without this a slow exit would reach round the closed plan to the lap's start.
    """
    planned = [f.corner for f in faults if f.cause in _NEEDS_ACT]
    first = min(_bend(circuit, k).start_m for k in planned) - 150.0
    first = min([first, *(a.brake - 40.0 for a in usual.acts if a.corner in planned)])
    i = max(int(first / circuit.step_m), 0)

    def joined(old: Array, new: Array) -> Array:
        return np.concatenate([old[:i], new[i:]])

    acts = [a for a in usual.acts if a.lift < first] + [a for a in plan.acts if a.lift >= first]
    return replace(
        plan,
        v=joined(usual.v, plan.v),
        force=joined(usual.force, plan.force),
        acts=tuple(acts),
    )


def _brake_early(circuit: Circuit, plan: pl.Plan, fault: Fault, limits: pl.Limits) -> pl.Plan:
    """Brake alike some metres earlier, then hold the slowest speed until its usual place."""
    act = _act_of(plan, fault.corner, circuit, fault.cause)
    step = circuit.step_m
    shift, first, low = (round(x / step) for x in (fault.amount, act.brake, act.slowest))
    v = plan.v.copy()
    moved = plan.v[np.minimum(np.arange(first - shift, low) + shift, low)]
    v[first - shift : low] = np.minimum(v[first - shift : low], moved)
    return pl.finish_plan(circuit, plan.line, plan.ways, v, limits)


def lap_script(
    circuit: Circuit, driver: Driver, car: Car, plan: pl.Plan, noise: dict[int, CornerNoise],
    faults: Sequence[Fault], anchors: Anchors, usual: pl.Plan,
) -> tuple[Array, Array]:  # fmt: skip
    """Rows of the acts with references, noise and faults of acting; marks by place."""
    rows = pl.script_rows(plan, car, circuit.step_m, driver.ramp_s, driver.foot_s)
    marks: list[tuple[float, float, float, float]] = []
    for row, act in zip(rows, plan.acts, strict=True):
        v = plan.v[int(act.brake / circuit.step_m)]
        held = noise[act.corner]
        _lay_anchors(row, act.corner, driver.foot_s, anchors, _moved(plan, usual, act.corner))
        row[ly.Q_LIFT_DT] += held.brake_s + 0.3 * held.lift_s
        row[ly.Q_BRAKE_DT] += held.brake_s
        row[ly.Q_PICK_DT] += held.pick_s
        for fault in faults:
            if fault.corner == act.corner:
                _lay_fault(row, act, fault, v, plan)
    for fault in faults:
        marks += _marks(circuit, plan, fault)
    return rows, np.array(marks).reshape(-1, 4)


def _moved(plan: pl.Plan, usual: pl.Plan, corner: int) -> tuple[float, float]:
    """Seconds by which a fault of planning moves the brake and the pick-up."""
    old = [a for a in usual.acts if a.corner == corner]
    new = [a for a in plan.acts if a.corner == corner]
    if plan is usual or not old or not new:
        return 0.0, 0.0
    v = usual.v[int(old[0].brake) % usual.v.size], usual.v[int(old[0].pick) % usual.v.size]
    return (new[0].brake - old[0].brake) / v[0], (new[0].pick - old[0].pick) / v[1]


def _lay_anchors(
    row: Array, corner: int, foot_s: float, anchors: Anchors, moved: tuple[float, float]
) -> None:
    """Replace planned places by the session's references, in place."""
    brake = anchors.get((corner, "brake"))
    if brake is not None:
        row[ly.Q_BRAKE_KIND : ly.Q_BRAKE_DT + 1] = brake
        row[ly.Q_LIFT_KIND : ly.Q_LIFT_DT + 1] = brake
        row[ly.Q_BRAKE_DT] += moved[0]
        row[ly.Q_LIFT_DT] += moved[0] - foot_s
    pick = anchors.get((corner, "throttle"))
    if pick is not None:
        row[ly.Q_PICK_KIND : ly.Q_PICK_DT + 1] = pick
        row[ly.Q_PICK_DT] += moved[1]


def _lay_fault(row: Array, act: pl.Act, fault: Fault, v: float, plan: pl.Plan) -> None:
    """Write a fault of acting into its row, in place."""
    size = fault.amount
    match fault.cause:
        case "late_braking":
            row[ly.Q_BRAKE_DT] += size / v
            row[ly.Q_LIFT_DT] += size / v
        case "coasting":
            row[ly.Q_LIFT_DT] -= size
        case "fast_release":
            row[ly.Q_LET_GO] = _let_go(plan, act, size)
        case "slow_release":
            row[ly.Q_DRAG] = 0.12
            row[ly.Q_DRAG_TO] = act.loose + size * plan.v[int(act.loose)]
        case "late_throttle":
            row[ly.Q_PICK_KIND : ly.Q_PICK_DT] = ly.PLACE, _opened(plan, act) + size, 0, 0, 0
        case "stepped_throttle":
            row[ly.Q_STEP_LEVEL], row[ly.Q_STEP_TIME] = 0.45, size
        case "gear":
            row[ly.Q_GEAR_FLOOR] += size


def _opened(plan: pl.Plan, act: pl.Act) -> float:
    """Place (m) where the planned throttle passes a fifth of the full push."""
    rows = np.arange(int(act.pick), int(act.end) + 1)
    return float(rows[np.flatnonzero(plan.force[rows] >= 0.2 * plan.full[rows])[0]])


def _let_go(plan: pl.Plan, act: pl.Act, share: float) -> float:
    """Place (m) where the planned brake last stands at a share of its highest."""
    rows = np.arange(int(act.brake), int(act.pick))
    pull = -plan.force[rows]
    if rows.size < 2 or pull.max() <= 0:
        raise ValueError(f"corner: {act.corner} is hardly braked for, so no brake is let go of")
    level = share * pull.max()
    last = min(int(np.flatnonzero(pull >= level)[-1]), rows.size - 2)
    part = (pull[last] - level) / max(pull[last] - pull[last + 1], 1e-9)
    return float(rows[last] + min(part, 1.0))


def _marks(
    circuit: Circuit, plan: pl.Plan, fault: Fault
) -> list[tuple[float, float, float, float]]:
    """Dips of the throttle and jabs of the hands, which happen at a place."""
    bend = _bend(circuit, fault.corner)
    v = float(plan.v[int(bend.apex_m / circuit.step_m)])
    if fault.cause == "lift":
        return [(ly.DIP, bend.start_m, 0.5 * v, fault.amount)]
    if fault.cause == "throttle_dip":
        act = _act_of(plan, fault.corner, circuit, fault.cause)
        return [(ly.DIP, act.end + 4.0, 0.4 * v, fault.amount)]
    if fault.cause == "correction":
        return [(ly.JAB, bend.apex_m, 0.6 * v, fault.amount)]
    return []


def skill_row(driver: Driver) -> Array:
    """Gains of the compiled driver."""
    return np.array([driver.share, driver.follow, 0.9, 0.10, 0.05, 0.04, 2.0, 0.8, driver.wheel])


def start_state(car: Car, plan: pl.Plan, circuit: Circuit, at_m: float, speed: float) -> Array:
    """Put the car on its line at a place and speed."""
    st = np.zeros(ly.STATES)
    row = plan.line[int(at_m / circuit.step_m)]
    st[[ly.X, ly.Y, ly.PSI, ly.N]] = row[1], row[2], row[3], row[0]
    st[ly.VX], st[ly.S], st[ly.R] = speed, at_m, speed * row[4]
    st[ly.W0 : ly.W3 + 1] = speed / car.wheel_radius
    st[ly.GEAR], st[ly.PHASE], st[ly.CAP_F] = pl.gear_for(car, speed), ly.FLAT, 9000.0
    st[ly.RPM] = car.engine_idle
    return st


@dataclass(frozen=True, slots=True)
class Setting:
    """What stays the same over a session."""

    circuit: Circuit
    car: Car
    driver: Driver
    seed: int
    anchors: Anchors


_KEPT = threading.local()


def _scratch() -> Array:
    """Give this thread's buffer, into which every lap is driven before its rows are copied."""
    if not hasattr(_KEPT, "rows"):
        _KEPT.rows = np.empty((_MAX_ROWS, ly.OUTPUTS))
    rows: Array = _KEPT.rows
    return rows


def drive_lap(
    to: Setting, lap: int, now: Conditions, faults: Sequence[Fault], pace: tuple[float, Array],
    state: Array | float, finish_m: float,
) -> LapRun:  # fmt: skip
    """Plan and drive one lap from a state (or from a place in m, rolling at 15 m/s).

    ``pace`` is a factor on the driver's share of grip and a cap on speed (n,).
    """
    circuit, car, driver = to.circuit, to.car, to.driver
    limits = pl.Limits(
        car, ev.envelope_tables(car, now.extra_kg, now.density, now.grip),
        car.mass + now.extra_kg, now.density,
    )  # fmt: skip
    noise = {b.number: corner_noise(driver, to.seed, lap, b.number) for b in circuit.bends}
    plan, usual = lap_plan(circuit, driver, limits, noise, faults, pace)
    script, marks = lap_script(circuit, driver, car, plan, noise, faults, to.anchors, usual)
    st = start_state(car, plan, circuit, state, 15.0) if isinstance(state, float) else state.copy()
    st[ly.CORNER], st[ly.WARP], st[ly.TRIG] = 0.0, 0.0, -1.0
    rows = _scratch()
    events = np.full((len(script), ly.EVENTS, 2), np.nan)
    day = np.array([now.grip, now.extra_kg, now.wind_x, now.wind_y, now.density])
    grid = pl.plan_grid(plan, unrest(noise, circuit))
    count = run_lap(
        car, st, circuit.grid, circuit.step_m, grid, script, marks, skill_row(driver), day,
        circuit.runoff_grip, STEP_S, _MAX_ROWS, finish_m, rows, events,
    )  # fmt: skip
    if count == _MAX_ROWS or not np.isfinite(st).all():
        raise RuntimeError(f"lap {lap}: the car never reached {finish_m:.0f} m (seed {to.seed})")
    return LapRun(rows[:count].copy(), events, plan.acts, plan, st, count * STEP_S)


def steady(driver: Driver) -> Driver:
    """Take scatter, habits and references from a driver."""
    return replace(
        driver, time_s=0.0, share_spread=0.0, level_spread=0.0, line_m=0.0, wheel=0.0,
        habits=(), references=(),
    )  # fmt: skip
