"""Systems of units for the reader: metric, imperial, or the reader's own from a TOML file."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from lapwright.errors import InputError, UsageError
from lapwright.model.small_files import read_small_file, read_toml
from lapwright.units import find_unit


@dataclass(frozen=True, slots=True)
class UnitRule:
    """How one quantity is written: ``value_si * factor`` at ``decimals``, then the unit."""

    unit: str
    factor: float
    decimals: int


@dataclass(frozen=True, slots=True)
class UnitSystem:
    """A rule for every quantity that the guide knows."""

    name: str
    quantities: Mapping[str, UnitRule]

    def as_view(self) -> dict[str, Any]:
        """Return the system as the page takes it."""
        rules = {
            quantity: {"unit": rule.unit, "factor": rule.factor, "decimals": rule.decimals}
            for quantity, rule in self.quantities.items()
        }
        return {"name": self.name, "quantities": rules}


#: Quantity to the dimension that its unit must have.
DIMENSIONS: Final = {
    "distance": "length", "offset": "length", "speed": "speed", "acceleration": "acceleration",
    "time": "time", "lap_time": "time", "moment": "time", "angle": "angle",
    "pressure": "pressure", "share": "number", "count": "number",
}  # fmt: skip


def _rule(quantity: str, unit: str, decimals: int) -> UnitRule:
    """Make a rule from a unit's spelling; its factor comes from the table of units."""
    found = find_unit(unit or "1", DIMENSIONS[quantity])
    if found is None:
        raise UsageError(f"{unit!r} is no unit of {DIMENSIONS[quantity]} that is known")
    return UnitRule(unit, 1.0 / found.factor, decimals)


_SAME: Final = {
    "time": ("s", 2), "lap_time": ("s", 3), "moment": ("ms", 0),
    "angle": ("°", 0), "share": ("%", 0), "count": ("", 0),
}  # fmt: skip
_METRIC: Final = {
    "distance": ("m", 0), "offset": ("m", 1), "speed": ("km/h", 0),
    "acceleration": ("m/s²", 1), "pressure": ("bar", 1),
}  # fmt: skip
_IMPERIAL: Final = {
    "distance": ("yd", 0), "offset": ("ft", 1), "speed": ("mph", 0),
    "acceleration": ("ft/s²", 0), "pressure": ("psi", 0),
}  # fmt: skip


def _build(name: str, rows: Mapping[str, tuple[str, int]]) -> UnitSystem:
    return UnitSystem(name, {q: _rule(q, *row) for q, row in {**rows, **_SAME}.items()})


METRIC: Final = _build("metric", _METRIC)
IMPERIAL: Final = _build("imperial", _IMPERIAL)
SYSTEMS: Final = {system.name: system for system in (METRIC, IMPERIAL)}


def read_unit_system(text: str, file: str) -> UnitSystem:
    """Read a system of units.

    ::

        name = "club"
        base = "metric"            # metric or imperial, for what is not named
        [quantities.speed]
        unit = "mph"               # factor is for units that are not known by name
        decimals = 1

    Raises
    ------
    UsageError
        When the text is no TOML, or names a quantity, unit or number that cannot be used.
    """
    try:
        table = read_toml(text.encode("utf-8", errors="replace"), file)
    except InputError as error:
        raise UsageError(str(error)) from error
    base = SYSTEMS.get(str(table.get("base", "metric")))
    if base is None:
        raise UsageError(f"{file}: base is {table['base']!r}; give {' or '.join(SYSTEMS)}")
    given = table.get("quantities", {})
    if not isinstance(given, dict):
        raise UsageError(f"{file}: quantities is no table; write [quantities.speed] and the like")
    name = str(table.get("name", Path(file).stem))
    if name in SYSTEMS:
        raise UsageError(f"{file}: the name {name!r} is taken; give another")
    rules = {q: _read_rule(file, q, row, base) for q, row in given.items()}
    return UnitSystem(name, {**base.quantities, **rules})


def _read_rule(file: str, quantity: str, row: object, base: UnitSystem) -> UnitRule:
    where = f"{file}: [quantities.{quantity}]"
    if quantity not in DIMENSIONS:
        raise UsageError(f"{where} is not known; known are {', '.join(DIMENSIONS)}")
    if not isinstance(row, dict):
        raise UsageError(f"{where} is no table with unit, decimals and perhaps factor")
    old = base.quantities[quantity]
    decimals = row.get("decimals", old.decimals)
    if type(decimals) is not int or not 0 <= decimals <= 6:
        raise UsageError(f"{where} decimals is {decimals!r}; give a whole number from 0 to 6")
    unit = str(row.get("unit", old.unit))
    if "factor" not in row:
        try:
            return _rule(quantity, unit, decimals)
        except UsageError as error:
            raise UsageError(f"{where} {error}; give its factor as well") from error
    factor = row["factor"]
    if type(factor) not in (int, float) or not math.isfinite(factor) or factor <= 0:
        raise UsageError(f"{where} factor is {factor!r}; give what one SI unit is, above zero")
    return UnitRule(unit, float(factor), decimals)


def choose_unit_system(name: str) -> UnitSystem:
    """Return ``metric``, ``imperial``, or the system that a TOML file describes.

    Raises
    ------
    UsageError
        When the name is neither of the two nor a file that can be read.
    """
    if name in SYSTEMS:
        return SYSTEMS[name]
    try:
        text = read_small_file(Path(name)).decode("utf-8-sig")
    except (InputError, UnicodeDecodeError) as error:
        known = ", ".join(SYSTEMS)
        raise UsageError(f"--units {name}: neither {known} nor a file to read") from error
    return read_unit_system(text, Path(name).name)


def units_as_view(chosen: UnitSystem) -> dict[str, Any]:
    """Return the chosen system and the two that every guide offers, as the page takes them."""
    systems = {**SYSTEMS, chosen.name: chosen}
    return {
        "chosen": chosen.name,
        "systems": {name: system.as_view() for name, system in systems.items()},
    }
