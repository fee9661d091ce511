"""Unit text against conversion factors of handbooks, quoted from memory.

Sources: BIPM SI Brochure, 9th edition, tables 8 and 9; NIST Special Publication 811
(2008), appendix B.8, to the digits printed there. All quoted from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapwright.names import GLOSSARY
from lapwright.units import dimension_of, find_unit, find_units

#: Unit as written, and one of it in SI units.
HANDBOOK = [
    ("km/h", "speed", 2.777778e-1),  # NIST SP 811
    ("mph", "speed", 4.4704e-1),  # NIST SP 811, exact
    ("kn", "speed", 5.144444e-1),  # NIST SP 811
    ("ft/s", "speed", 3.048e-1),  # NIST SP 811, exact
    ("g", "acceleration", 9.80665),  # NIST SP 811, exact
    ("ft", "length", 3.048e-1),  # NIST SP 811, exact
    ("in", "length", 2.54e-2),  # NIST SP 811, exact
    ("mi", "length", 1.609344e3),  # NIST SP 811, exact
    ("nmi", "length", 1852.0),  # SI Brochure, exact
    ("yd", "length", 0.9144),  # NIST SP 811, exact
    ("deg", "angle", 1.745329e-2),  # NIST SP 811
    ("rpm", "angular_speed", 1.047198e-1),  # NIST SP 811
    ("rev/min", "angular_speed", 1.047198e-1),  # NIST SP 811
    ("deg/s", "angular_speed", 1.745329e-2),  # by degree and second
    ("bar", "pressure", 1e5),  # SI Brochure, exact
    ("mbar", "pressure", 1e2),  # SI Brochure, exact
    ("psi", "pressure", 6.894757e3),  # NIST SP 811
    ("atm", "pressure", 1.01325e5),  # NIST SP 811, exact
    ("kgf/cm^2", "pressure", 9.80665e4),  # NIST SP 811, exact
    ("lb", "mass", 4.535924e-1),  # NIST SP 811
    ("gal", "volume", 3.785412e-3),  # NIST SP 811, US gallon
    ("L", "volume", 1e-3),  # SI Brochure, exact
    ("lbf", "force", 4.448222),  # NIST SP 811
    ("lbf·ft", "torque", 1.355818),  # NIST SP 811
    ("hp", "power", 7.456999e2),  # NIST SP 811, 550 ft lbf/s
    ("PS", "power", 7.354988e2),  # NIST SP 811, metric horsepower
    ("min", "time", 60.0),  # SI Brochure, exact
    ("h", "time", 3600.0),  # SI Brochure, exact
    ("%", "number", 0.01),  # SI Brochure, section 5.4.7
]

#: Fixed points of temperature scales: NIST SP 811, exact.
TEMPERATURES = [("°C", 0.0, 273.15), ("°C", 100.0, 373.15), ("°F", 32.0, 273.15),
                ("°F", 212.0, 373.15), ("K", 300.0, 300.0)]  # fmt: skip


@pytest.mark.parametrize(("text", "dimension", "value"), HANDBOOK)
def test_factor_of_a_handbook(text, dimension, value):
    unit = find_unit(text, dimension)
    assert unit is not None
    assert unit.factor == pytest.approx(value, rel=5e-7)
    assert unit.offset == 0.0


@pytest.mark.parametrize(("text", "value", "kelvin"), TEMPERATURES)
def test_temperature(text, value, kelvin):
    unit = find_unit(text)
    assert unit.dimension == "temperature"
    assert unit.to_si(np.array([value]))[0] == pytest.approx(kelvin, abs=1e-9)


@pytest.mark.parametrize(
    ("spellings", "one"),
    [
        (["km/h", "kmh", "kph", "kmph", "KM/H", "km / h", "Km/h", "km·h⁻¹", "km h^-1"], "km/h"),
        (["mph", "MPH", "mi/h"], "mph"),
        (["m/s", "mps", "m/sec", "m s^-1", "m·s⁻¹", "M/S"], "m/s"),
        (["m/s^2", "m/s²", "m/s2", "m/s/s", "m s^-2", "m·s⁻²", "m/s**2"], "m/s^2"),
        (["g", "G"], "g"),
        (["deg", "°", "º", "degree", "degrees", "Deg"], "deg"),
        (["deg/s", "°/s", "dps", "deg/sec", "degrees/s"], "deg/s"),
        (["rpm", "RPM", "1/min", "min-1", "min^-1", "min⁻¹", "U/min", "r/min", "/min"], "1/min"),
        (["bar", "BAR", "Bar"], "bar"),
        (["kPa", "kpa", "KPA"], "kPa"),
        (["psi", "PSI", "lbf/in^2"], "psi"),
        (["%", "percent", "pct"], "%"),
        (["°C", "degC", "C", "℃", "deg C"], "°C"),
        (["kn", "kt", "kts", "knots"], "kn"),
        (["us", "µs", "μs"], "us"),
        (["1", "-", "ratio"], "1"),
    ],
)
def test_spellings_are_one_unit(spellings, one):
    units = [find_unit(s) for s in spellings]
    assert all(u is not None for u in units), spellings
    assert {u.name for u in units} == {one}


def test_case_decides_where_it_must():
    assert find_unit("MPa").factor == 1e6
    assert find_unit("mPa").factor == 1e-3
    assert find_unit("mW") is None or find_unit("mW").factor != find_unit("MW").factor


def test_gram_and_gravity_are_told_by_dimension():
    assert find_unit("g", "mass").factor == 1e-3
    assert find_unit("g", "acceleration").factor == 9.80665
    assert find_unit("g", "pressure") is None


@pytest.mark.parametrize("text", ["furlong", "", "speed", "m/", "km/", "^^", "5"])
def test_what_is_no_unit(text):
    assert find_units(text) == ()


def test_every_glossary_unit_is_a_unit_of_factor_one():
    for row in GLOSSARY.values():
        unit = find_unit(row.unit)
        assert unit is not None, row
        if row.unit != "deg":
            assert (unit.factor, unit.offset) == (1.0, 0.0), row
        assert dimension_of(row.unit) == unit.dimension


@given(st.text(max_size=20))
def test_any_text_is_a_unit_or_none(text):
    unit = find_unit(text)
    assert unit is None or (math.isfinite(unit.factor) and unit.factor > 0.0)


@given(st.sampled_from([row[0] for row in HANDBOOK]), st.text(" \t^·*", max_size=4))
def test_blanks_and_power_signs_do_not_matter(text, filling):
    spread = filling.join(text)
    assert find_units(spread) == find_units(text)


@given(
    st.sampled_from([row[:2] for row in HANDBOOK]),
    st.floats(-1e6, 1e6, allow_nan=False),
)
def test_conversion_is_linear(row, value):
    unit = find_unit(*row)
    both = unit.to_si(np.array([value, 2.0 * value, 0.0]))
    assert both[1] == pytest.approx(2.0 * both[0], rel=1e-12, abs=1e-12)
    assert both[2] == 0.0
