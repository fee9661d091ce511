"""The car's record, its forms and its file."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapwright.errors import InputError
from lapwright.model.car import Car, Limit, Measures, build_car, check_car
from lapwright.model.car_toml import build_car_from_table, read_car, read_given_car, render_car

# an invented car
CAR = Car(
    Limit(11.5, 5e-4, 1.1), Limit(10.5, 4e-4, 1.0), Limit(6.0, 3e-4, 0.6), 1.5, 130.0, 6e-4, 0.012,
    width_m=1.8, eye_position_m=(0.1, 0.3, 1.1),
    intervals={"lateral.at_rest": (11.0, 12.0), "power_per_mass": (126.0, 133.0)},
    support={"lateral": (12.0, 55.0)}, shown_by='the laps of "A"',
)  # fmt: skip
PHYSICAL = """
mass_kg = 800
power_w = 960e3
drag_area_m2 = 2.0
downforce_area_m2 = 4.0
grip_forward = 1.6
grip_lateral = 1.68
air_density_kgpm3 = 1.2
gravity_mps2 = 9.8
width_m = 1.9
"""


def test_fitted_form_survives_its_file(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text(render_car(CAR), encoding="utf-8")
    assert read_car(file) == CAR


@settings(max_examples=50)
@given(
    st.floats(0.06, 50), st.floats(-1e-3, 5e-3), st.floats(0, 2), st.floats(1, 2),
    st.floats(1, 2000), st.floats(0, 0.01),
)  # fmt: skip
def test_any_car_survives_its_text(
    rest: float, v2: float, load: float, exponent: float, power: float, drag: float
) -> None:
    import tomllib

    limit = Limit(rest, v2, load)
    car = Car(limit, limit, limit, exponent, power, drag)
    assert build_car_from_table(tomllib.loads(render_car(car))) == car


def test_physical_form(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text(PHYSICAL, encoding="utf-8")
    car = read_car(file)
    # μ g and μ ρ ClA / 2m, by hand
    assert car.lateral.at_rest == pytest.approx(1.68 * 9.8)
    assert car.brake.per_v2 == pytest.approx(1.6 * 1.2 * 4 / 1600)
    assert car.power_per_mass == 1200
    assert car.drag_per_mass == pytest.approx(1.2 * 2 / 1600)
    assert car.width_m == 1.9


def test_more_mass_thins_out_everything_but_friction() -> None:
    one = build_car(mass_kg=1000, power_w=2e5, drag_area_m2=0.7, downforce_area_m2=1.0,
                    grip_forward=1.2, grip_lateral=1.3)  # fmt: skip
    two = build_car(mass_kg=1100, power_w=2e5, drag_area_m2=0.7, downforce_area_m2=1.0,
                    grip_forward=1.2, grip_lateral=1.3)  # fmt: skip
    heavier = one.scaled(mass=1.1)
    assert heavier.lateral.per_v2 == pytest.approx(two.lateral.per_v2)
    assert heavier.lateral.at_rest == two.lateral.at_rest
    assert heavier.power_per_mass == pytest.approx(two.power_per_mass)
    assert heavier.drag_per_mass == pytest.approx(two.drag_per_mass)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"lateral": Limit(0.0)}, "lateral.at_rest_mps2"),
        ({"brake": Limit(math.nan)}, "brake.at_rest_mps2"),
        ({"drive": Limit(5.0, math.inf)}, "drive.per_v2"),
        ({"exponent": 0.9}, "combined_exponent"),
        ({"exponent": math.nan}, "combined_exponent"),
        ({"power_per_mass": 0.0}, "power_per_mass_wpkg"),
        ({"power_per_mass": math.nan}, "power_per_mass_wpkg"),
        ({"drag_per_mass": -1e-4}, "drag_per_mass"),
        ({"gravity": 0.0}, "gravity_mps2"),
        ({"width_m": math.nan}, "width_m"),
    ],
)
def test_impossible_cars_are_refused_by_name(change: dict[str, object], word: str) -> None:
    with pytest.raises(InputError, match=word):
        check_car(replace(CAR, **change))


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("mass_kg = ", "no TOML"),
        ("mass_kg = 800", "power_w"),
        (PHYSICAL + "grip = 2", "grip is not a value"),
        (PHYSICAL.replace("800", "0"), "mass_kg is 0"),
        (PHYSICAL.replace("1.68", "true"), "grip_lateral is True"),
        ("power_per_mass_wpkg = 100\ndrag_per_mass_1pm = 1e-3", "lateral is missing"),
        (PHYSICAL + "eye_position_m = [1, 2]", "three numbers"),
    ],
)
def test_bad_files_are_refused_by_name(tmp_path: Path, text: str, word: str) -> None:
    file = tmp_path / "car.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=word) as caught:
        read_car(file)
    assert all(m.file in ("car.toml", "car") for m in caught.value.messages)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be opened"):
        read_car(tmp_path / "none.toml")


def test_measures_alone_are_no_whole_car_but_can_be_put_on_one(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text("width_m = 1.7\ntrack_m = 1.5\neye_position_m = [0.1, 0.3, 1.0]\n", "utf-8")
    given = read_given_car(file)
    assert given == Measures(1.7, 0.0, 1.5, (0.1, 0.3, 1.0))
    assert isinstance(given, Measures)
    assert given.put_on(CAR) == replace(
        CAR, width_m=1.7, wheelbase_m=0.0, track_m=1.5, eye_position_m=(0.1, 0.3, 1.0)
    )
    with pytest.raises(InputError):
        read_car(file)  # where the limits are needed


def test_a_whole_car_is_read_as_one(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text(render_car(CAR), encoding="utf-8")
    assert read_given_car(file) == CAR
    file.write_text("", encoding="utf-8")
    with pytest.raises(InputError):
        read_given_car(file)


@pytest.mark.parametrize("text", ["width_m = -1.0", "track_m = nan", 'wheelbase_m = "long"'])
def test_measures_that_no_car_has_are_refused_by_name(tmp_path: Path, text: str) -> None:
    file = tmp_path / "car.toml"
    file.write_text(f"{text}\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_given_car(file)
    assert text.split()[0] in caught.value.messages[0].found
