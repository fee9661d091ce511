"""The car as its laps showed it: limits, power and drag over mass, and its measures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Any

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.physics.load import GRAVITY

Interval = tuple[float, float]
Point = tuple[float, float, float]
_NONE: Mapping[str, Interval] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Limit:
    """Largest tyre acceleration in one direction: see `lapwright.physics.grip.limit_at`.

    Parameters
    ----------
    at_rest
        m/s² on the level at rest.
    per_v2
        1/m: m/s² for each (m/s)², from downforce.
    per_load
        Dimensionless: m/s² for each m/s² of apparent gravity above g.
    """

    at_rest: float
    per_v2: float = 0.0
    per_load: float = 0.0

    def scaled(self, grip: float, downforce: float) -> Limit:
        """Limit with all its grip and its downforce multiplied."""
        return Limit(self.at_rest * grip, self.per_v2 * grip * downforce, self.per_load * grip)


@dataclass(frozen=True, slots=True)
class Car:
    """A car in its fitted form: everything over mass.

    Parameters
    ----------
    lateral, brake, drive
        Limits of the tyres to the side, backward and forward.
    exponent
        Of the superellipse that joins them, 1 to 2.
    power_per_mass
        W/kg; ``inf`` for no limit.
    drag_per_mass
        ρ CdA / 2m in 1/m.
    rolling
        Rolling resistance over apparent gravity, dimensionless.
    gravity
        m/s².
    width_m, wheelbase_m, track_m
        Measures; a width of 0 is a point.
    eye_position_m, logged_point_m
        (forward, left, up) from the middle of the wheelbase on the ground.
    intervals
        90 % intervals of values by name, as ``lateral.at_rest`` or ``power_per_mass``;
        ``lateral``, ``brake`` and ``drive`` are of the whole limit (m/s²) on the level at
        the middle of the speeds that support it (of cornering's where none do).
    support
        Lowest and highest speed in m/s that back ``lateral``, ``brake``, ``drive``.
    shown_by
        Whose laps showed it, in words.
    """

    lateral: Limit
    brake: Limit
    drive: Limit
    exponent: float
    power_per_mass: float
    drag_per_mass: float
    rolling: float = 0.0
    gravity: float = GRAVITY
    width_m: float = 0.0
    wheelbase_m: float = 0.0
    track_m: float = 0.0
    eye_position_m: Point | None = None
    logged_point_m: Point | None = None
    intervals: Mapping[str, Interval] = field(default_factory=lambda: _NONE)
    support: Mapping[str, Interval] = field(default_factory=lambda: _NONE)
    shown_by: str = ""

    def middle_speed(self, part: str) -> float:
        """Middle of the speeds in m/s that back a limit, or cornering; NaN where none do."""
        backed = self.support.get(part, self.support.get("lateral"))
        return float("nan") if backed is None else sum(backed) / 2

    def scaled(
        self, *, grip: float = 1.0, power: float = 1.0, drag: float = 1.0, downforce: float = 1.0,
        mass: float = 1.0,
    ) -> Car:  # fmt: skip
        """Car with one thing multiplied; more mass thins out power, drag and downforce."""
        return replace(
            self,
            lateral=self.lateral.scaled(grip, downforce / mass),
            brake=self.brake.scaled(grip, downforce / mass),
            drive=self.drive.scaled(grip, downforce / mass),
            power_per_mass=self.power_per_mass * power / mass,
            drag_per_mass=self.drag_per_mass * drag / mass,
            intervals=_NONE,
        )


@dataclass(frozen=True, slots=True)
class Measures:
    """The measures of a car whose limits its laps have yet to show: see `Car`."""

    width_m: float = 0.0
    wheelbase_m: float = 0.0
    track_m: float = 0.0
    eye_position_m: Point | None = None
    logged_point_m: Point | None = None

    def put_on(self, car: Car) -> Car:
        """Give a car these measures in place of its own."""
        return replace(car, **{f.name: getattr(self, f.name) for f in fields(self)})


#: Whatever has a car's measures.
Measured = Car | Measures


def build_car(
    *, mass_kg: float, power_w: float, drag_area_m2: float, downforce_area_m2: float = 0.0,
    grip_forward: float, grip_lateral: float, combined_exponent: float = 2.0,
    rolling_resistance: float = 0.0, air_density_kgpm3: float = 1.225,
    gravity_mps2: float = GRAVITY, **measures: Any,
) -> Car:  # fmt: skip
    """Build a car from its physical form.

    Each limit is μ (apparent gravity + ρ ClA v² / 2m); the forward coefficient holds
    for braking and drive on all wheels.

    Raises
    ------
    InputError
        For a value that no car has.
    """
    if not (math.isfinite(mass_kg) and mass_kg > 0):
        raise InputError([_refused("mass_kg", mass_kg, "above 0 kg", "car")])
    air = air_density_kgpm3 / (2 * mass_kg)
    down = air * downforce_area_m2

    def limit(mu: float) -> Limit:
        return Limit(mu * gravity_mps2, mu * down, mu)

    car = Car(
        limit(grip_lateral), limit(grip_forward), limit(grip_forward), combined_exponent,
        power_w / mass_kg, air * drag_area_m2, rolling_resistance, gravity_mps2, **measures,
    )  # fmt: skip
    check_car(car)
    return car


def _refused(name: str, value: object, needed: str, file: str) -> Message:
    return Message("refused", file, f"{name} is {value}", to_do=f"Give a value {needed}")


def _wrong_values(car: Car) -> Iterator[tuple[str, object, str]]:
    for name in ("lateral", "brake", "drive"):
        limit: Limit = getattr(car, name)
        if not (math.isfinite(limit.at_rest) and limit.at_rest > 0.05):
            yield f"{name}.at_rest_mps2", limit.at_rest, "above 0.05 m/s²"
        for part in ("per_v2", "per_load"):
            if not math.isfinite(getattr(limit, part)):
                yield f"{name}.{part}", getattr(limit, part), "that is a number"
    if not 1.0 <= car.exponent <= 2.0:
        yield "combined_exponent", car.exponent, "from 1 to 2"
    if math.isnan(car.power_per_mass) or car.power_per_mass <= 0:
        yield "power_per_mass_wpkg", car.power_per_mass, "above 0 W/kg"
    for name in ("drag_per_mass", "rolling"):
        value = getattr(car, name)
        if not (math.isfinite(value) and value >= 0):
            yield name, value, "of 0 or more"
    yield from _wrong_measures(car)
    if not (math.isfinite(car.gravity) and car.gravity > 0):
        yield "gravity_mps2", car.gravity, "above 0 m/s²"


def _wrong_measures(car: Measured) -> Iterator[tuple[str, object, str]]:
    for name in ("width_m", "wheelbase_m", "track_m"):
        value = getattr(car, name)
        if not (math.isfinite(value) and value >= 0):
            yield name, value, "of 0 or more"


def check_car(car: Measured, file: str = "car") -> None:
    """Refuse values that no car has, all at once.

    Raises
    ------
    InputError
        With one message for each wrong value.
    """
    values = _wrong_values(car) if isinstance(car, Car) else _wrong_measures(car)
    wrong = [_refused(name, value, need, file) for name, value, need in values]
    if wrong:
        raise InputError(wrong)
