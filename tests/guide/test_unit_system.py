"""Systems of units: the two that are offered, and the reader's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from lapwright.errors import UsageError
from lapwright.guide.sentences import write_value
from lapwright.guide.unit_system import (
    IMPERIAL,
    METRIC,
    choose_unit_system,
    read_unit_system,
    units_as_view,
)


# NIST SP 811, appendix B.8: 1 mi/h = 0.447 04 m/s, 1 yd = 0.9144 m, 1 ft = 0.3048 m,
# 1 psi = 6894.757 Pa; 1 km/h = 1/3.6 m/s, 1 bar = 100 kPa.
@pytest.mark.parametrize(
    ("system", "quantity", "si"),
    [
        (IMPERIAL, "speed", 0.44704), (IMPERIAL, "distance", 0.9144), (IMPERIAL, "offset", 0.3048),
        (IMPERIAL, "pressure", 6894.757), (METRIC, "speed", 1 / 3.6), (METRIC, "pressure", 1e5),
        (METRIC, "share", 0.01), (METRIC, "angle", 0.017453292519943295), (METRIC, "moment", 1e-3),
    ],
)  # fmt: skip
def test_factors_are_those_of_the_standard(system, quantity: str, si: float):
    assert system.quantities[quantity].factor == pytest.approx(1 / si, rel=1e-6)


def test_a_system_from_a_file(tmp_path: Path):
    path = tmp_path / "club.toml"
    path.write_text(
        'base = "imperial"\n[quantities.speed]\nunit = "kn"\ndecimals = 1\n'
        '[quantities.distance]\nunit = "chain"\nfactor = 0.0497097\ndecimals = 2\n'
    )
    system = choose_unit_system(str(path))
    # 1 kn = 1852 m / 3600 s: 10 m/s are 19.4 kn.
    assert write_value(10.0, "speed", system.as_view()) == "19.4\u00a0kn"
    assert write_value(20.1168, "distance", system.as_view()) == "1.00\u00a0chain"
    assert system.quantities["offset"] == IMPERIAL.quantities["offset"]
    view = units_as_view(system)
    assert view["chosen"] == "club"
    assert set(view["systems"]) == {"metric", "imperial", "club"}


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("[quantities.speed]\nunit = 'm'", "no unit of speed"),
        ("[quantities.haste]\nunit = 'm'", "not known"),
        ("[quantities.speed]\ndecimals = -1", "decimals"),
        ("[quantities.speed]\nunit = 'x'\nfactor = 0", "factor"),
        ("[quantities]\nspeed = 3", "no table"),
        ("quantities = 3", "no table"),
        ("base = 'old'", "base"),
        ("name = 'metric'", "taken"),
        ("= 3", "no TOML"),
    ],
)
def test_what_cannot_be_used_is_said(text: str, found: str):
    with pytest.raises(UsageError, match=found):
        read_unit_system(text, "club.toml")


def test_a_name_that_is_no_file_is_said():
    with pytest.raises(UsageError, match="neither metric, imperial nor a file"):
        choose_unit_system("furlongs")
