"""Values are written in the reader's units, by one rule."""

from __future__ import annotations

import pytest

from lapwright.guide.sentences import round_fixed, write_lap_time, write_text, write_value

METRIC = {
    "quantities": {
        "speed": {"unit": "km/h", "factor": 3.6, "decimals": 0},
        "distance": {"unit": "m", "factor": 1.0, "decimals": 0},
        "angle": {"unit": "°", "factor": 180 / 3.141592653589793, "decimals": 0},
        "lap_time": {"unit": "s", "factor": 1.0, "decimals": 3},
        "count": {"unit": "", "factor": 1.0, "decimals": 0},
    }
}


# Ordinary rounding of the decimal number that the binary one is: 0.125 and 2.5 are exact ties.
@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(2.5, 0, "3"), (-2.5, 0, "−3"), (0.125, 2, "0.13"), (-0.04, 1, "0.0"), (1234.0, 0, "1234")],
)
def test_halves_go_away_from_zero_and_zero_has_no_sign(value: float, decimals: int, text: str):
    assert round_fixed(value, decimals) == text


WIDTHS = {
    "quantities": {
        "offset": {"unit": "m", "factor": 1.0, "decimals": 1},
        "time": {"unit": "s", "factor": 1.0, "decimals": 2},
        "speed": {"unit": "km/h", "factor": 3.6, "decimals": 0},
    }
}


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(78.19, "1:18.190"), (59.9996, "1:00.000"), (8.5, "0:08.500"), (-1.25, "−0:01.250")],
)
def test_lap_times_carry_into_the_minute(seconds: float, text: str):
    assert write_lap_time(seconds) == text


def test_units_stand_behind_a_space_that_does_not_break():
    assert write_value(10.0, "speed", METRIC) == "36\u00a0km/h"
    assert write_value(3.141592653589793, "angle", METRIC) == "180°"
    assert write_value(None, "speed", METRIC) == "–"
    assert write_value(4.0, "count", METRIC) == "4"


def test_holes_are_filled_by_number_and_unknown_ones_stay():
    text = {"t": "{1} after {0}, {2}", "v": [[62.1, "distance", 1], [10.0, "speed"]]}
    assert write_text(text, METRIC) == "36\u00a0km/h after 62.1\u00a0m, {2}"


@pytest.mark.parametrize(
    ("value", "quantity", "decimals", "text"),
    [
        (0.34, "offset", 1, "± 0.3 m"), (0.04, "offset", 1, "± 0.04 m"),
        (-0.04, "offset", 1, "± 0.04 m"), (0.0004, "offset", 1, "± 0.001 m"),
        (0.0003, "time", 2, "± 0.0003 s"), (1e-9, "time", 2, "± 0.0001 s"),
        (0.05, "speed", 0, "± 0.2 km/h"), (0.0, "offset", 1, "± 0.0 m"),
        (None, "offset", 1, "± –"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("space", [" ", "\u00a0"])
def test_a_width_that_is_not_nothing_never_reads_as_nothing(
    value: float | None, quantity: str, decimals: int, text: str, space: str
):
    said = write_text({"t": f"±{space}{{0}}", "v": [[value, quantity, decimals]]}, WIDTHS)
    assert said.replace("\u00a0", " ") == text


def test_only_what_stands_behind_plus_and_minus_is_a_width():
    text = {"t": "± 1 m, {0}", "v": [[0.04, "offset", 1]]}
    assert write_text(text, WIDTHS) == "± 1 m, 0.0\u00a0m"
