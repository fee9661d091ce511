"""Unit text as people write it, turned into an SI factor, an offset and a dimension.

``value_si = value * factor + offset``. Factors are the exact or conventional
ones of the SI Brochure (9th edition) and of NIST Special Publication 811.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STANDARD_GRAVITY: Final = 9.80665
_INCH: Final = 0.0254
_FOOT: Final = 0.3048
_MILE: Final = 1609.344
_NAUTICAL_MILE: Final = 1852.0
_POUND: Final = 0.45359237
_REVOLUTION: Final = 2.0 * math.pi


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of measure.

    Parameters
    ----------
    name
        The spelling that Lapwright prints.
    dimension
        ``speed``, ``length``, ``angle`` …; two units can be converted into
        each other when their dimensions are equal.
    factor, offset
        ``value_si = value * factor + offset``.
    """

    name: str
    dimension: str
    factor: float
    offset: float = 0.0

    def to_si(self, values: Array) -> Array:
        """Convert values of this unit, any shape, to the SI unit of its dimension."""
        return values * self.factor + self.offset


def _rows(dimension: str, *rows: tuple[str, float, str]) -> list[tuple[Unit, str]]:
    return [(Unit(name, dimension, factor), spellings) for name, factor, spellings in rows]


#: Unit and its further spellings, separated by blanks. Spellings are compared
#: after `_key`, so blanks, ``^``, ``·`` and raised figures need not be listed.
_TABLE: Final[list[tuple[Unit, str]]] = [
    *_rows(
        "speed",
        ("m/s", 1.0, "m/sec mps ms-1 m.s-1 meter/s metre/s meterspersecond"),
        ("km/h", 1.0 / 3.6, "kmh kph kmph km/hr kmh-1 km.h-1 km/std"),
        ("mph", _MILE / 3600.0, "mi/h mi/hr miles/h mileperhour milesperhour"),
        ("kn", _NAUTICAL_MILE / 3600.0, "kt kts knot knots nmi/h"),
        ("ft/s", _FOOT, "fps ft/sec fts-1"),
        ("cm/s", 0.01, "cmps"),
        ("mm/s", 0.001, "mmps"),
    ),
    *_rows(
        "acceleration",
        ("m/s^2", 1.0, "m/s2 mps2 m/s/s m/sec2 m/sec/sec ms-2 m.s-2 mpss"),
        ("g", STANDARD_GRAVITY, "gn g0 gee gforce"),
        ("mg", STANDARD_GRAVITY / 1000.0, "milli-g millig"),
        ("ft/s^2", _FOOT, "ft/s2 ft/sec2"),
    ),
    *_rows(
        "length",
        ("m", 1.0, "meter meters metre metres mtr"),
        ("km", 1000.0, "kilometer kilometre kilometers kilometres"),
        ("cm", 0.01, ""),
        ("mm", 0.001, ""),
        ("ft", _FOOT, "foot feet"),
        ("in", _INCH, "inch inches"),
        ("yd", 3.0 * _FOOT, "yard yards"),
        ("mi", _MILE, "mile miles"),
        ("nmi", _NAUTICAL_MILE, "nm"),
    ),
    *_rows(
        "time",
        ("s", 1.0, "sec secs second seconds sek"),
        ("ms", 1e-3, "msec millis millisecond milliseconds"),
        ("us", 1e-6, "usec microsecond microseconds"),
        ("ns", 1e-9, "nsec nanosecond nanoseconds"),
        ("min", 60.0, "minute minutes"),
        ("h", 3600.0, "hr hour hours std"),
        ("d", 86400.0, "day days"),
    ),
    *_rows(
        "angle",
        ("rad", 1.0, "radian radians"),
        ("deg", math.pi / 180.0, "° º degree degrees"),
        ("mrad", 1e-3, ""),
        ("rev", _REVOLUTION, "turn turns revolution"),
    ),
    *_rows(
        "angular_speed",
        ("rad/s", 1.0, "rad/sec radps rads-1 rad.s-1"),
        ("deg/s", math.pi / 180.0, "°/s º/s deg/sec dps degps degs-1 °/sec degree/s degrees/s"),
        (
            "1/min",
            _REVOLUTION / 60.0,
            "rpm min-1 /min rev/min r/min u/min tr/min revs/min revolutions/min",
        ),
        ("1/s", _REVOLUTION, "rps rev/s r/s hz s-1"),
        ("deg/min", math.pi / 180.0 / 60.0, "°/min"),
    ),
    *_rows(
        "pressure",
        ("Pa", 1.0, "pascal n/m2"),
        ("hPa", 100.0, ""),
        ("kPa", 1e3, ""),
        ("MPa", 1e6, "n/mm2"),
        ("mbar", 100.0, "millibar"),
        ("bar", 1e5, "bars barg bar(g)"),
        ("psi", _POUND * STANDARD_GRAVITY / _INCH**2, "lbf/in2 lb/in2 psig lbs/in2"),
        ("atm", 101325.0, ""),
        ("kgf/cm^2", STANDARD_GRAVITY * 1e4, "kg/cm2 at"),
    ),
    *_rows(
        "number",
        ("1", 1.0, "- – -- ratio none unitless dimensionless share fraction # no no. nr count"),
        ("%", 0.01, "percent pct perc prct pc"),
        ("permille", 0.001, "‰"),
        ("1/1000", 0.001, ""),
    ),
    *_rows(
        "mass",
        ("kg", 1.0, "kilogram kilograms"),
        ("g", 1e-3, "gram grams gr"),
        ("lb", _POUND, "lbs pound pounds"),
        ("t", 1000.0, "ton_ tonne"),
    ),
    *_rows(
        "volume",
        ("L", 1e-3, "l liter litre liters litres ltr"),
        ("mL", 1e-6, "ml cc cm3"),
        ("m^3", 1.0, "m3"),
        ("gal", 3.785411784e-3, "usgal gallon gallons"),
    ),
    *_rows(
        "force",
        ("N", 1.0, "newton"),
        ("kN", 1e3, ""),
        ("lbf", _POUND * STANDARD_GRAVITY, ""),
    ),
    *_rows(
        "torque",
        ("N·m", 1.0, "nm n.m n-m newtonmeter"),
        ("lbf·ft", _POUND * STANDARD_GRAVITY * _FOOT, "lbft ftlb ft-lb lb-ft lbfft"),
    ),
    *_rows(
        "power",
        ("W", 1.0, "watt"),
        ("kW", 1e3, ""),
        ("PS", 75.0 * STANDARD_GRAVITY, "cv ch"),
        ("hp", 550.0 * _FOOT * _POUND * STANDARD_GRAVITY, "bhp"),
    ),
    *_rows("voltage", ("V", 1.0, "volt volts"), ("mV", 1e-3, "")),
    *_rows("current", ("A", 1.0, "amp amps"), ("mA", 1e-3, "")),
    *_rows("curvature", ("1/m", 1.0, "m-1 /m rad/m"), ("1/km", 1e-3, "km-1 /km")),
    (Unit("K", "temperature", 1.0), "kelvin"),
    (Unit("°C", "temperature", 1.0, 273.15), "degc celsius c ºc deg.c degreec degreesc"),
    (
        Unit("°F", "temperature", 5.0 / 9.0, 459.67 * 5.0 / 9.0),
        "degf fahrenheit f ºf deg.f degreef",
    ),
]

#: Spellings whose meaning hangs on upper and lower case.
_CASE_MATTERS: Final = {"mPa": Unit("mPa", "pressure", 1e-3), "MW": Unit("MW", "power", 1e6)}

_DROPPED = re.compile(r"[\s^*·⋅]+")


def _key(text: str) -> str:
    """Bring a spelling into the form in which spellings are compared."""
    plain = unicodedata.normalize("NFKC", text).replace("−", "-").replace("µ", "u")
    plain = plain.replace("μ", "u").replace("⁻", "-")
    return _DROPPED.sub("", plain).casefold()


def _build_spellings() -> dict[str, tuple[Unit, ...]]:
    found: dict[str, tuple[Unit, ...]] = {}
    for unit, spellings in _TABLE:
        for text in (unit.name, *spellings.split()):
            key = _key(text)
            if unit not in found.get(key, ()):
                found[key] = (*found.get(key, ()), unit)
    return found


_SPELLINGS: Final = _build_spellings()


def find_units(text: str) -> tuple[Unit, ...]:
    """Every unit that a spelling can mean; empty for a spelling that is not known.

    Examples
    --------
    >>> [u.dimension for u in find_units("g")]
    ['acceleration', 'mass']
    """
    stripped = text.strip()
    if stripped in _CASE_MATTERS:
        return (_CASE_MATTERS[stripped],)
    return _SPELLINGS.get(_key(stripped), ())


def find_unit(text: str, dimension: str | None = None) -> Unit | None:
    """Find the unit that a spelling means.

    Parameters
    ----------
    text
        The unit as written, such as ``km/h``, ``kmph``, ``m/s²`` or ``°/s``.
    dimension
        What kind of unit is expected; decides between gram and the
        acceleration of free fall. None takes the first meaning.

    Returns
    -------
    Unit or None
        None when the spelling is not known or has another dimension.

    Examples
    --------
    >>> find_unit("kmph").factor * 36
    10.0
    """
    units = find_units(text)
    if dimension is None:
        return units[0] if units else None
    return next((u for u in units if u.dimension == dimension), None)


def dimension_of(si_unit: str, fallback: str = "number") -> str:
    """Name the dimension of one of the SI units in the channel glossary."""
    unit = find_unit(si_unit)
    return unit.dimension if unit else fallback
