"""Landmarks as a coach writes them; all names and places are invented."""

from __future__ import annotations

import numpy as np
import pytest

from lapwright.errors import InputError
from lapwright.model.build_circuit import build_circuit_from_centre
from lapwright.model.circuit import Circuit
from lapwright.readers.landmark_lines import read_landmark_lines, read_landmark_tables


@pytest.fixture(scope="module")
def ring() -> Circuit:
    """Return a ring of 300 m radius driven anticlockwise, 5 m to the left edge, 6 to the right."""
    angle = np.linspace(0.0, 2 * np.pi, 600, endpoint=False)
    wide = np.full(600, 5.0)
    x, y = 300.0 * np.cos(angle), 300.0 * np.sin(angle)
    return build_circuit_from_centre(x, y, wide + 1.0, wide)


def test_a_line_says_where_a_thing_stands(ring: Circuit) -> None:
    (mark,) = read_landmark_lines(["mill chimney: at 1240 m, left, 6 m off, 2 m high"], ring)
    assert mark.name == "mill chimney"
    assert mark.at_m == 1240.0
    assert mark.off_m == pytest.approx(5.0 + 6.0, abs=0.05)  # from the edge
    assert mark.height_m == 2.0


def test_sides_units_and_what_may_be_left_out(ring: Circuit) -> None:
    lines = [
        "",
        "# by the marshals",
        "at 100 m, right",
        "Hut: 12,5 ft high, 3 yd off, Right, at 5 m",
    ]
    first, second = read_landmark_lines(lines, ring)
    assert (first.name, first.height_m) == ("landmark 1", 0.0)
    assert first.off_m == pytest.approx(-6.0, abs=0.05)
    assert second.off_m == pytest.approx(-(6.0 + 3 * 0.9144), abs=0.05)
    assert second.height_m == pytest.approx(12.5 * 0.3048)


def test_all_wrong_lines_are_told_at_once(ring: Circuit) -> None:
    lines = ["post: at 100 m", "tree: left, 2 m off", "hut: at 9999 m, left", "ok: at 3 m, left"]
    with pytest.raises(InputError) as caught:
        read_landmark_lines(lines, ring, "coach.toml")
    said = [str(m) for m in caught.value.messages]
    assert len(said) == 3
    assert "side is missing" in said[0]
    assert "along the road is missing" in said[1]
    assert "0 to 1885 m" in said[2]
    assert all("coach.toml" in s for s in said)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), "far", [1]])
def test_tables_with_wrong_values_are_refused(ring: Circuit, value: object) -> None:
    table = {"name": "post", "at_m": 10.0, "side": "left", "off_m": value}
    with pytest.raises(InputError):
        read_landmark_tables([table], ring)


def test_a_table_says_the_same_as_a_line(ring: Circuit) -> None:
    table = {"name": "post", "at_m": 10.0, "side": "right", "off_m": 2.0, "height_m": 1.0}
    assert read_landmark_tables([table], ring) == read_landmark_lines(
        ["post: at 10 m, right, 2 m off, 1 m high"], ring
    )
