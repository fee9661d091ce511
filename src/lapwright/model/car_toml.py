"""A car as TOML: read the physical or the fitted form, or measures alone; write the fitted form."""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import Any, TypeGuard

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.car import Car, Interval, Limit, Measured, Measures, build_car, check_car
from lapwright.model.small_files import read_small_file, read_toml
from lapwright.physics.load import GRAVITY

_LIMITS = ("lateral", "brake", "drive")
_PARTS = {"at_rest": "at_rest_mps2", "per_v2": "per_v2_1pm", "per_load": "per_load"}
_SCALARS = {
    "exponent": "combined_exponent",
    "power_per_mass": "power_per_mass_wpkg",
    "drag_per_mass": "drag_per_mass_1pm",
    "rolling": "rolling_resistance",
    "gravity": "gravity_mps2",
}
_MEASURES = ("width_m", "wheelbase_m", "track_m")
_POINTS = ("eye_position_m", "logged_point_m")
_PHYSICAL = (
    "mass_kg", "power_w", "drag_area_m2", "downforce_area_m2", "grip_forward", "grip_lateral",
    "combined_exponent", "rolling_resistance", "air_density_kgpm3", "gravity_mps2",
)  # fmt: skip
_NEEDED = ("mass_kg", "power_w", "drag_area_m2", "grip_forward", "grip_lateral")


class _Reading:
    """A TOML table with every finding about it."""

    def __init__(self, table: dict[str, Any], file: str) -> None:
        self.table, self.file = table, file
        self.wrong: list[Message] = []
        self.intervals: dict[str, Interval] = {}

    def refuse(self, found: str, to_do: str) -> None:
        self.wrong.append(Message("refused", self.file, found, to_do=to_do))

    def number(self, table: dict[str, Any], key: str, name: str, default: float | None) -> float:
        """Read ``key``: a number, or a table of value, low, high."""
        value = table.get(key, default)
        if isinstance(value, dict):
            low, high = value.get("low"), value.get("high")
            if _is_number(low) and _is_number(high):
                self.intervals[name] = (float(low), float(high))
            value = value.get("value")
        if not _is_number(value):
            self.refuse(f"{name} is {value!r}", f"Give a number as {key}")
            return math.nan
        return float(value)


def _is_number(value: Any) -> TypeGuard[float]:
    """Tell whether a value is a number that a float can hold; what it may be is checked later."""
    if isinstance(value, int):
        return not isinstance(value, bool) and abs(value) <= sys.float_info.max
    return isinstance(value, float)


def read_car(path: str | Path) -> Car:
    """Read a car from a TOML file.

    The physical form has ``mass_kg``; the fitted form has ``power_per_mass_wpkg`` and
    the tables ``lateral``, ``brake`` and ``drive``. A value of the fitted form is a
    number or ``{value = …, low = …, high = …}``.

    Raises
    ------
    InputError
        When the file is no TOML, or values are missing, unknown or impossible.
    """
    return build_car_from_table(_read_table(Path(path)), Path(path).name)


def read_given_car(path: str | Path) -> Measured:
    """Read a car as `read_car` does, or its measures where the file holds nothing else.

    Raises
    ------
    InputError
        As `read_car`.
    """
    path = Path(path)
    table = _read_table(path)
    if not table or set(table) - {*_MEASURES, *_POINTS}:
        return build_car_from_table(table, path.name)
    reading = _Reading(table, path.name)
    values = _measures(reading)
    if reading.wrong:
        raise InputError(reading.wrong)
    measures = Measures(**values)
    check_car(measures, path.name)
    return measures


def _read_table(path: Path) -> dict[str, Any]:
    return read_toml(read_small_file(path), path.name)


def build_car_from_table(table: dict[str, Any], file: str = "car") -> Car:
    """Build a car from a parsed TOML table: see `read_car`."""
    reading = _Reading(table, file)
    physical = "mass_kg" in table
    measures = _measures(reading)
    values = _physical(reading) if physical else _fitted(reading)
    if reading.wrong:
        raise InputError(reading.wrong)
    if physical:
        return build_car(**values, **measures)
    car = Car(**values, **measures, intervals=reading.intervals)
    check_car(car, file)
    return car


def _measures(reading: _Reading) -> dict[str, Any]:
    table = reading.table
    out: dict[str, Any] = {
        key: reading.number(table, key, key, None) for key in _MEASURES if key in table
    }
    for key in _POINTS:
        if key in table:
            point = table[key]
            if not (isinstance(point, list) and len(point) == 3 and all(map(_is_number, point))):
                reading.refuse(f"{key} is {point!r}", "Give three numbers: forward, left, up in m")
            else:
                out[key] = tuple(float(v) for v in point)
    if "shown_by" in table:
        out["shown_by"] = str(table["shown_by"])
    return out


def _unknown(reading: _Reading, known: set[str]) -> None:
    for key in sorted(set(reading.table) - known - {*_MEASURES, *_POINTS, "shown_by"}):
        reading.refuse(f"{key} is not a value of a car in this form", "Remove or rename it")


def _physical(reading: _Reading) -> dict[str, float]:
    _unknown(reading, set(_PHYSICAL))
    return {
        key: reading.number(reading.table, key, key, None)
        for key in _PHYSICAL
        if key in reading.table or key in _NEEDED
    }


def _fitted(reading: _Reading) -> dict[str, Any]:
    _unknown(reading, {*_LIMITS, *_SCALARS.values()})
    defaults: dict[str, float | None] = {"rolling": 0.0, "gravity": GRAVITY, "exponent": 2.0}
    out: dict[str, Any] = {
        name: reading.number(reading.table, key, name, defaults.get(name))
        for name, key in _SCALARS.items()
    }
    support: dict[str, Interval] = {}
    for name in _LIMITS:
        part = reading.table.get(name)
        if not isinstance(part, dict):
            reading.refuse(f"{name} is missing", f"Give a table [{name}] with at_rest_mps2")
            continue
        values = {
            field: reading.number(part, key, f"{name}.{field}", None if field == "at_rest" else 0.0)
            for field, key in _PARTS.items()
        }
        out[name] = Limit(**values)
        speeds = part.get("supported_mps")
        if isinstance(speeds, list) and len(speeds) == 2 and all(map(_is_number, speeds)):
            support[name] = (float(speeds[0]), float(speeds[1]))
    out["support"] = support
    return out


def render_car(car: Car) -> str:
    """Render the fitted form as TOML text that `read_car` reads back."""
    lines = [f"{key} = {_value(car, name, getattr(car, name))}" for name, key in _SCALARS.items()]
    lines += [f"{key} = {_float(getattr(car, key))}" for key in _MEASURES]
    for key in _POINTS:
        point = getattr(car, key)
        if point is not None:
            lines.append(f"{key} = [{', '.join(_float(v) for v in point)}]")
    if car.shown_by:
        lines.append(f"shown_by = {_text(car.shown_by)}")
    for name in _LIMITS:
        lines += ["", f"[{name}]"]
        limit = getattr(car, name)
        lines += [
            f"{key} = {_value(car, f'{name}.{field}', getattr(limit, field))}"
            for field, key in _PARTS.items()
        ]
        if name in car.support:
            low, high = car.support[name]
            lines.append(f"supported_mps = [{_float(low)}, {_float(high)}]")
    return "\n".join(lines) + "\n"


def _float(value: float) -> str:
    """Shortest text that reads back as the same number; TOML wants a point or exponent."""
    text = repr(float(value))
    return text if any(c in text for c in ".einf") else f"{text}.0"


def _value(car: Car, name: str, value: float) -> str:
    if name not in car.intervals:
        return _float(value)
    low, high = car.intervals[name]
    return f"{{ value = {_float(value)}, low = {_float(low)}, high = {_float(high)} }}"


def _text(value: str) -> str:
    escaped = "".join(
        {"\\": "\\\\", '"': '\\"'}.get(c, c)
        if ord(c) >= 32 and ord(c) != 127
        else f"\\u{ord(c):04x}"
        for c in value
    )
    return f'"{escaped}"'
