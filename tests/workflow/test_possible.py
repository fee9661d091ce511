"""The document behind ``lapwright possible``, on an invented circuit."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lapwright.errors import InputError, NoAnswerError, UsageError
from lapwright.model.build_circuit import build_circuit_from_centre, curve_of
from lapwright.model.circuit import Circuit, Corner
from lapwright.model.circuit_json import circuit_to_document
from lapwright.numerics.curves import project_path
from lapwright.publish.json import render_json
from lapwright.workflow.possible import Wanted, make_possible

CAR = """
mass_kg = 1100
power_w = 190e3
drag_area_m2 = 0.75
downforce_area_m2 = 1.1
grip_forward = 1.2
grip_lateral = 1.3
rolling_resistance = 0.012
width_m = 1.8
"""


@pytest.fixture(scope="module")
def bean() -> Circuit:
    """An invented bean-shaped circuit of about 1.3 km, 9 m wide."""
    turn = np.linspace(0, 2 * np.pi, 260, endpoint=False)
    r = 190 + 70 * np.cos(2 * turn) + 25 * np.cos(3 * turn + 1)
    width = np.full(turn.size, 4.5)
    return build_circuit_from_centre(
        r * np.cos(turn), 0.8 * r * np.sin(turn), width, width, name="bean"
    )


@pytest.fixture(scope="module")
def files(bean: Circuit, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("possible")
    corner = Corner("1", "First", "left", 100.0, 150.0, 220.0)
    named = replace(bean, corners=(corner,))
    (folder / "circuit.json").write_bytes(render_json(circuit_to_document(named)))
    (folder / "car.toml").write_text(CAR, encoding="utf-8")
    rows = [f"{x:.4f},{y:.4f}" for x, y in zip(bean.x, bean.y, strict=True)]
    (folder / "line.csv").write_text("\n".join(["# x_m,y_m", *rows]), encoding="utf-8")
    return folder


def test_fastest_line_document(files: Path, bean: Circuit) -> None:
    document = make_possible([files / "circuit.json"], files / "car.toml")
    plain = json.loads(render_json(document))
    assert plain["schema"] == "lapwright.possible/1"
    assert plain["kind"] == "fastest_line"
    assert plain["solver"]["converged"] is True
    assert plain["solver"]["finer_lap_time_s"] == pytest.approx(plain["lap_time_s"], rel=2e-3)
    line = plain["line"]
    lengths = {len(values) for values in line.values()}
    assert lengths == {len(plain["road_worth"]["s_m"])}
    assert np.abs(line["n_m"]).max() <= 4.5 - 0.9 + 1e-3
    assert plain["car_worth"]["grip"]["one_percent_more_s"] < 0
    assert plain["car_worth"]["mass"]["one_percent_more_s"] > 0
    corner = plain["corners"][0]
    assert set(corner["road_worth"]) == {"entry", "apex", "exit"}
    assert corner["road_worth"]["apex"]["side"] == "left"
    assert corner["flat_margin"]["value"] is not None
    assert any("closed circuits only" in text for text in plain["cautions"])
    # the drawn line lies on the road: x, y belong to s, n
    s, n = project_path(curve_of(bean), line["x_m"], line["y_m"])
    assert n == pytest.approx(np.array(line["n_m"]), abs=0.05)
    assert np.mod(s - line["s_m"] + 5, bean.length_m) == pytest.approx(5 + 0 * s, abs=0.1)


def test_line_document_is_slower_than_the_fastest(files: Path) -> None:
    free = make_possible([files / "circuit.json"], files / "car.toml", wanted=Wanted(prices=False))
    given = make_possible([files / "circuit.json"], files / "car.toml", files / "line.csv")
    assert given["kind"] == "speed_profile"
    assert given["solver"] is None
    assert given["lap_time_s"] > free["lap_time_s"]
    assert free["car_worth"]["grip"]["one_percent_more_s"] is None
    assert free["car_worth"]["grip"]["s_per_percent"] < 0


def test_a_wide_car_is_refused(files: Path, tmp_path: Path) -> None:
    car = tmp_path / "wide.toml"
    car.write_text(CAR.replace("width_m = 1.8", "width_m = 9.5"), encoding="utf-8")
    with pytest.raises(InputError, match="m wide at"):
        make_possible([files / "circuit.json"], car)


@pytest.mark.parametrize(
    ("text", "error", "word"),
    [
        ("x,y\n1,2\n3,4\n", InputError, "2 points"),
        ("x,y\n" + "1,2\n" * 9 + "nan,3\n", InputError, "line 11"),
        ("x,y\n" + "1,2\n" * 9, UsageError, "different points"),
        ("x,y\n" + "".join(f"{9e3 + i},{i * i}\n" for i in range(20)), UsageError, "--line"),
        ("", InputError, "0 points"),
    ],
)
def test_bad_lines_are_refused(
    files: Path, tmp_path: Path, text: str, error: type[Exception], word: str
) -> None:
    line = tmp_path / "line.csv"
    line.write_text(text, encoding="utf-8")
    with pytest.raises(error, match=word):
        make_possible([files / "circuit.json"], files / "car.toml", line)


def test_the_line_backwards_is_refused(files: Path, tmp_path: Path) -> None:
    rows = (files / "line.csv").read_text(encoding="utf-8").splitlines()
    line = tmp_path / "back.csv"
    line.write_text("\n".join([rows[0], *rows[:0:-1]]), encoding="utf-8")
    with pytest.raises(UsageError, match="driving direction"):
        make_possible([files / "circuit.json"], files / "car.toml", line)


def test_no_answer_is_an_error_of_its_own() -> None:
    assert NoAnswerError.exit_code == 4
