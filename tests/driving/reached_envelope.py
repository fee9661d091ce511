"""What a simulated car did at its limits: the truth that a fit to its log is held against.

The car's equilibrium envelope is the simulator's own, solved wheel by wheel; how much of it the
driver reached is read from the motion without noise. Nothing of the program's physics is used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import Session, club_car
from lapwright.demo import envelope as ev
from lapwright.demo import layout as ly
from lapwright.demo.car import Car, torque_curve
from lapwright.model.fit_car import CarFit

Array = NDArray[np.float64]

PARTS = ("power_per_mass", "drag_per_mass", "lateral", "brake")
G = 9.80665
#: Every so many rows of 1 ms are looked at.
EVERY = 10
#: A direction is used alone where the other one takes less than the first of its limit, near
#: its limit from the second on.
BESIDE, NEAR = 0.30, 0.80


@dataclass(frozen=True)
class Reached:
    """True and fitted values by part; limits in m/s² on a level road at one speed.

    ``share`` is how much of its own limits the car was driven at.
    """

    true: dict[str, float]
    found: dict[str, float]
    share: dict[str, float]

    def off(self, part: str) -> float:
        """Share by which the fitted value is too large."""
        return self.found[part] / self.true[part] - 1


def draw_car(rng: np.random.Generator) -> Car:
    """Draw a car about the demo's: torque, mass, drag, downforce and tyres."""
    return club_car()._replace(
        engine_torque=torque_curve(rng.uniform(320.0, 470.0)), mass=rng.uniform(1000.0, 1250.0),
        drag_area=rng.uniform(0.75, 1.1), down_area=rng.uniform(0.9, 2.4),
        tyre_grip=rng.uniform(1.30, 1.50),
    )  # fmt: skip


@dataclass(frozen=True)
class _Rows:
    """Thinned rows of the timed laps: speed, apparent gravity, tyre accelerations, limits."""

    bend: NDArray[np.int64]
    v: Array
    normal: Array
    forward: Array
    left: Array
    side: Array
    brake: Array
    power: Array
    full: NDArray[np.bool_]


def _limits(tables: tuple[Array, ...], v: Array, normal: Array) -> tuple[Array, Array]:
    side, brake, _ = tables
    spots = [
        (*ev.spot(ev.SPEEDS, a), *ev.spot(ev.NORMALS, b)) for a, b in zip(v, normal, strict=True)
    ]
    return (
        np.array([ev.read2(side, *spot) for spot in spots]),
        np.array([ev.read3(brake, *spot, 0, 0.0) for spot in spots]),
    )


def _mass_factor(car: Car, mass: float, gear: Array) -> Array:
    """Mass with what turns over mass, by gear."""
    turning = (
        4 * car.wheel_inertia
        + car.engine_inertia * (car.gears[gear.astype(int) - 1] * car.final) ** 2
    )
    return np.asarray(1 + turning / car.wheel_radius**2 / mass)


def _rows_of(session: Session, number: int, banked: bool) -> _Rows:
    rows = session.rows[session.truth.lap_of == number][::EVERY]
    car, now = session.car, session.truth.laps[number].conditions
    mass, v = car.mass + now.extra_kg, rows[:, ly.O_VX]
    drag = 0.5 * now.density * car.drag_area * v**2 / mass
    forward, left = rows[:, ly.O_FELT_X] + drag, rows[:, ly.O_FELT_Y]
    normal = rows[:, ly.O_NORM]
    tables = ev.envelope_tables(car, now.extra_kg, now.density, now.grip)
    side, brake = _limits(tables, v, normal)
    if not banked:
        place = (rows[:, ly.O_S] / session.circuit.step_m).astype(int)
        bank = session.circuit.grid[place % (len(session.circuit.grid) - 1), ly.GBANK]
        left = left * np.cos(bank) - normal * np.sin(bank)
    heavy = _mass_factor(car, mass, rows[:, ly.O_GEAR])
    rate = rows[:, ly.O_FELT_X]  # gravity along the slope is in what is felt
    power = v * (rate + drag / heavy + car.rolling * normal / heavy)
    ends = np.array([b.end_m for b in session.circuit.bends])
    return _Rows(
        np.searchsorted(ends, rows[:, ly.O_S]) % ends.size, v, normal, forward, np.abs(left), side,
        brake, power, (rows[:, ly.O_THR] > 0.98) & (np.abs(left) < 3.0),
    )  # fmt: skip


def level_limits(session: Session, speeds: Array) -> tuple[Array, Array]:
    """Find the car's own limits to the side and in braking on a level road, m/s²."""
    timed = [lap.conditions for lap in session.truth.laps if lap.kind == "timed"]
    now, grip = timed[len(timed) // 2], float(np.median([c.grip for c in timed]))
    tables = ev.envelope_tables(session.car, now.extra_kg, now.density, grip)
    return _limits(tables, speeds, np.full(speeds.size, G))


def find_reached(session: Session, fit: CarFit, banked: bool) -> Reached:
    """Hold a fit against what the car did in the laps that the truth calls timed.

    Where the banking was not surveyed the force to the side is what a level road asks.
    """
    car, tyres = session.car, fit.needed_car()
    timed = [lap for lap in session.truth.laps if lap.kind == "timed"]
    laps = [_rows_of(session, lap.number, banked) for lap in timed]
    now = timed[len(timed) // 2].conditions
    mass = car.mass + now.extra_kg
    fast = max(float(lap.v.max()) for lap in laps)
    pushed = [lap.power[lap.full & (lap.v > 0.45 * fast)] for lap in laps]
    top = float(_mass_factor(car, mass, np.array([len(car.gears) - 1.0]))[0])
    speeds = np.array([np.mean(tyres.support[part]) for part in ("lateral", "brake")])
    (side, _), (_, brake) = level_limits(session, speeds)
    share = {
        "lateral": _share(laps, "left", "side", "forward", "brake"),
        "brake": _share(laps, "forward", "brake", "left", "side"),
    }
    true = {
        "power_per_mass": float(np.concatenate(pushed).mean()),
        "drag_per_mass": 0.5 * now.density * car.drag_area / mass / top,
        "lateral": side * share["lateral"],
        "brake": brake * share["brake"],
    }
    found = {"power_per_mass": tyres.power_per_mass, "drag_per_mass": tyres.drag_per_mass}
    for part, speed in zip(("lateral", "brake"), speeds, strict=True):
        limit = getattr(tyres, part)
        found[part] = limit.at_rest + limit.per_v2 * speed**2
    return Reached(true, found, share)


def _share(laps: list[_Rows], force: str, limit: str, other: str, beside: str) -> float:
    """Share of a limit that the driver reached where he used it alone.

    In braking that of the bends where he reached most, for nothing but he lowers it; to the
    side the middle of the bends, for tyres there do better in one and worse in the next.
    """
    bend = np.concatenate([lap.bend for lap in laps])
    use = np.concatenate([getattr(lap, force) / getattr(lap, limit) for lap in laps])
    alone = np.concatenate([np.abs(getattr(lap, other)) / getattr(lap, beside) for lap in laps])
    if force == "forward":
        use = -use
    chosen = (use > NEAR) & (alone < BESIDE)
    levels = [
        float(np.quantile(use[chosen & (bend == b)], 0.95))
        for b in np.unique(bend) if np.count_nonzero(chosen & (bend == b)) > 20
    ]  # fmt: skip
    return float(np.max(levels) if force == "forward" else np.mean(levels))
