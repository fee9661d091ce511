"""What is possible in words and records, from an invented car on an invented road."""

from __future__ import annotations

from typing import Any

import pytest

from lapwright.guide.possible_words import _say_flat, _say_load, _say_unused, _say_worth
from lapwright.possible.flat_out import FlatMargin, LoadShare
from lapwright.possible.worth import RoadWorth, Zone


def worth(part: Any, s_per_m: float, unused: float = 1.0, priced: float | None = None) -> RoadWorth:
    return RoadWorth(Zone("1", part, "left", 0.0, 50.0), s_per_m, unused, priced)


def test_road_that_is_worth_nothing_is_left() -> None:
    said = _say_worth([worth("entry", 0.0), worth("apex", 0.002), worth("exit", 0.001)])
    assert said is not None
    assert "leave it" in said.template
    assert said.values == ()


def test_worth_is_named_where_there_is_some() -> None:
    said = _say_worth([worth("entry", 0.0), worth("apex", 0.1), worth("exit", 0.04)])
    assert said is not None
    assert said.template.count("{") == 2
    assert "nothing at the entry" in said.template
    assert [v[0] for v in said.values] == [0.1, 0.04]


def test_unused_road_is_called_computed() -> None:
    assert _say_unused([worth("exit", 0.1, 3.9)]) is None
    said = _say_unused([worth("exit", 0.1, 3.9, 0.104)])
    assert said is not None
    assert "computed, not shown" in said.template
    assert [v[0] for v in said.values] == [3.9, 0.104]


@pytest.mark.parametrize(
    ("margin", "low", "high", "factor", "words"),
    [
        (0.2, 0.15, 0.25, 0.5, "Flat at full throttle"),
        (0.0, -0.02, 0.02, 1.0, "On the edge of flat"),
        (-0.1, -0.12, -0.08, 1.3, "more downforce would make it flat"),
    ],
)
def test_flat_is_said_with_its_interval(
    margin: float, low: float, high: float, factor: float, words: str
) -> None:
    said = _say_flat(FlatMargin("1", margin, low, high, factor, 50.0))
    assert said is not None
    assert words in said.template


def test_a_slow_corner_is_not_spoken_of_as_flat() -> None:
    assert _say_flat(FlatMargin("1", -0.8, -0.81, -0.79, 12.0, 50.0)) is None


def test_only_load_that_is_felt_is_named() -> None:
    assert _say_load(LoadShare("1", 0.02, -0.03)) is None
    said = _say_load(LoadShare("1", 0.2, -0.3))
    assert said is not None
    assert [v[0] for v in said.values] == [0.2, 0.3]
