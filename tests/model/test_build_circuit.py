"""Circuits from surveys: real open data, invented rings with closed forms, bad files.

The real surveys are kept outside the repository: ``circuits`` (© OpenStreetMap
contributors, LGPL-3.0) and ``circuits3d`` (LGPL-3.0).
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from lapwright.errors import InputError, UsageError
from lapwright.model.build_circuit import (
    Edge,
    build_circuit_from_centre,
    build_circuit_from_edges,
    check_points,
    curve_of,
    reverse_circuit,
    start_at,
    start_from,
)
from lapwright.model.circuit import Circuit, Corner, Landmark, Origin, RoadSpan
from lapwright.model.circuit_json import circuit_from_document, circuit_to_document
from lapwright.numerics.curves import at_places, point_length, points_at, project_path
from lapwright.readers.circuit_files import read_circuit

Array = NDArray[np.float64]
Find = Callable[[str], Path]
#: Folder, file and way round of the real surveys; one crosses over itself.
CENTRES = {
    "BrandsHatch": "clockwise",
    "Oschersleben": "clockwise",
    "Spielberg": "clockwise",
    "Suzuka": "crossing",
}
RADIUS_M, HALF_M, BANK, HILL_M = 120.0, 6.0, np.radians(7.0), 5.0
FIELDS = ("x", "y", "z", "curvature", "slope", "banking", "vertical_curvature", "left", "right")


def ring(count: int = 160) -> tuple[Edge, Edge, Array]:
    """Edges (left, right) of an invented ring with two hills, banked evenly, and the angles."""
    t = np.arange(count) * (2 * np.pi / count)
    z, rise = HILL_M * np.sin(2 * t), HALF_M * np.tan(BANK)
    left, right = RADIUS_M - HALF_M, RADIUS_M + HALF_M
    return (
        Edge(left * np.cos(t), left * np.sin(t), z + rise),
        Edge(right * np.cos(t), right * np.sin(t), z - rise),
        t,
    )


def bent(count: int = 260) -> Circuit:
    """An invented circuit without symmetry, with everything that can stand on it."""
    t = np.arange(count) * (2 * np.pi / count)
    r = 180 * (1 + 0.2 * np.cos(2 * t + 0.4) + 0.06 * np.cos(3 * t))
    wide = 5 + np.cos(t)
    made = build_circuit_from_centre(
        r * np.cos(t), r * np.sin(t), wide, wide + 1, 4 * np.sin(t), name="Invented"
    )
    return replace(
        made,
        corners=(Corner("1", "First", "left", 100.0, 120.0, 150.0, "A"),),
        landmarks=(Landmark("mast", 200.0, -12.0, 4.0),),
        spans=(RoadSpan("kerb", "k", 130.0, 160.0, 6.0, 4.5),
               RoadSpan("patch", "p", 5, 9, 1, 0, 0.9)),
        origin=Origin(12.0, 34.0, 56.0),
    )  # fmt: skip


def same_road(a: Circuit, b: Circuit, within: float) -> None:
    s, n = project_path(curve_of(a), b.x, b.y)
    np.testing.assert_allclose(n, 0, atol=within)
    for name in ("left", "right", "z"):
        there = at_places(a.length_m, getattr(a, name), s)
        np.testing.assert_allclose(getattr(b, name), there, atol=within)


@pytest.mark.parametrize("name", CENTRES)
def test_real_survey_loads_with_its_length_and_widths(name: str, shared_data: Find):
    path = shared_data(f"circuits/{name}.csv")
    x, y, right, left = np.loadtxt(path, delimiter=",").T
    circuit = read_circuit([path])
    assert circuit.length_m == pytest.approx(point_length(x, y, closed=True), rel=0.003)
    assert circuit.turns == CENTRES[name]
    assert circuit.surveyed
    assert not circuit.has_heights
    s, n = project_path(curve_of(circuit), x, y)
    for got, given in ((circuit.left, left + n), (circuit.right, right - n)):
        error = np.abs(at_places(circuit.length_m, got, s) - given)
        assert np.percentile(error, 95) < 0.03
        assert error.max() < 0.15


@pytest.mark.parametrize("name", CENTRES)
def test_real_survey_is_followed_without_a_jump(name: str, shared_data: Find):
    # the survey's points lie 5 m apart; two laps with an offset, so that the crossing is passed
    # four times, must advance evenly
    circuit = read_circuit([shared_data(f"circuits/{name}.csv")])
    curve = curve_of(circuit)
    want = 20.0 + np.arange(0.0, 2 * circuit.length_m, 1.5)
    for side in (-0.8, 0.0, 0.8):
        s, n = project_path(curve, *points_at(curve, want, 4.0 * side))
        np.testing.assert_allclose(s, want, atol=0.1)
        np.testing.assert_allclose(n, 4.0 * side, atol=0.1)


def test_road_in_space_has_its_length_grades_and_heights(shared_data: Find):
    path = shared_data("circuits3d/mountain_circuit_bounds_xyz.csv")
    data = np.loadtxt(path, delimiter=",", skiprows=1)
    right, left = data[:, :3], data[:, 3:]
    middle = (left + right) / 2
    circuit = read_circuit([path])
    length = point_length(middle[:, 0], middle[:, 1], closed=True)
    assert circuit.length_m == pytest.approx(length, rel=0.003)
    assert circuit.has_heights
    # grades of −18 to +15 % in the data's description
    assert circuit.slope.min() == pytest.approx(-0.18, abs=0.01)
    assert circuit.slope.max() == pytest.approx(0.15, abs=0.01)
    s, _ = project_path(curve_of(circuit), middle[:, 0], middle[:, 1])
    z = at_places(circuit.length_m, circuit.z, s)
    np.testing.assert_allclose(z, middle[:, 2], atol=0.1)
    width = at_places(circuit.length_m, circuit.left + circuit.right, s)
    across = np.hypot(left[:, 0] - right[:, 0], left[:, 1] - right[:, 1])
    assert np.percentile(np.abs(width - across), 95) < 0.1


def test_real_edges_come_in_any_order_and_way_round(shared_data: Find):
    data = np.loadtxt(
        shared_data("circuits3d/mountain_circuit_bounds_xyz.csv"), delimiter=",", skiprows=1
    )
    right, left = Edge(*data[:, :3].T), Edge(*data[:, 3:].T)
    back = Edge(*data[::-1, :3].T)
    first, swapped = build_circuit_from_edges(right, left), build_circuit_from_edges(left, right)
    turned = build_circuit_from_edges(left, back)
    for other in (swapped, turned):
        assert other.turns == first.turns
        assert other.length_m == pytest.approx(first.length_m, abs=0.5)
        assert other.left.mean() == pytest.approx(first.left.mean(), abs=0.02)
    assert build_circuit_from_edges(back, left).turns == "clockwise"
    assert first.turns == "anticlockwise"


def test_ring_has_its_slope_banking_and_hills():
    left, right, _ = ring()
    circuit = build_circuit_from_edges(left, right)
    angle = np.arctan2(circuit.y, circuit.x)
    assert circuit.length_m == pytest.approx(2 * np.pi * RADIUS_M, rel=1e-4)
    assert circuit.turns == "anticlockwise"
    np.testing.assert_allclose(circuit.curvature, 1 / RADIUS_M, rtol=1e-3)
    np.testing.assert_allclose(circuit.left, HALF_M, atol=0.02)
    np.testing.assert_allclose(circuit.right, HALF_M, atol=0.02)
    np.testing.assert_allclose(circuit.banking, BANK, atol=1e-3)
    # z = h sin 2θ, s = Rθ: dz/ds = 2h/R cos 2θ, d²z/ds² = −4h/R² sin 2θ
    np.testing.assert_allclose(circuit.z, HILL_M * np.sin(2 * angle), atol=0.01)
    slope = 2 * HILL_M / RADIUS_M * np.cos(2 * angle)
    np.testing.assert_allclose(circuit.slope, slope, atol=5e-4)
    bend = -4 * HILL_M / RADIUS_M**2 * np.sin(2 * angle)
    np.testing.assert_allclose(circuit.vertical_curvature, bend, atol=2e-5)


def test_ring_the_other_way_is_banked_the_other_way():
    left, right, _ = ring()
    flipped = [
        Edge(e.x[::-1], e.y[::-1], None if e.z is None else e.z[::-1]) for e in (left, right)
    ]
    circuit = build_circuit_from_edges(*flipped)
    assert circuit.turns == "clockwise"
    np.testing.assert_allclose(circuit.banking, -BANK, atol=1e-3)
    np.testing.assert_allclose(circuit.curvature, -1 / RADIUS_M, rtol=1e-3)


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
@pytest.mark.parametrize("ways", [(1, 1), (1, -1), (-1, 1), (-1, -1)])
def test_edges_may_come_in_any_order_and_start_anywhere(
    order: tuple[int, int], ways: tuple[int, int]
):
    edges = ring()[:2]
    given = []
    for which, way, shift in zip(order, ways, (0, 53), strict=True):
        x, y, z = (
            np.roll(v, shift)[::way] for v in (edges[which].x, edges[which].y, edges[which].z)
        )
        given.append(Edge(x, y, z))
    circuit = build_circuit_from_edges(*given)
    assert circuit.turns == ("anticlockwise" if ways[0] == 1 else "clockwise")
    np.testing.assert_allclose(circuit.left + circuit.right, 2 * HALF_M, atol=0.02)
    np.testing.assert_allclose(circuit.banking, ways[0] * BANK, atol=1e-3)


def test_edges_without_heights_make_a_flat_road_that_says_so():
    left, right, _ = ring()
    circuit = build_circuit_from_edges(Edge(left.x, left.y), right)
    assert not circuit.has_heights
    assert not circuit.z.any()
    assert not circuit.slope.any()


def test_survey_off_the_middle_keeps_its_edges():
    t = np.arange(150) * (2 * np.pi / 150)
    x, y = 124 * np.cos(t), 124 * np.sin(t)  # the line runs 4 m right of the ring's middle
    circuit = build_circuit_from_centre(x, y, np.full(150, 2.0), np.full(150, 10.0))
    reach = np.hypot(circuit.x, circuit.y)
    np.testing.assert_allclose(reach - circuit.left, 114, atol=0.02)
    np.testing.assert_allclose(reach + circuit.right, 126, atol=0.02)


@pytest.mark.parametrize("place", [0.0, 1e-12, 700.3, -33.0, 5000.0])
def test_start_line_moves_there_and_back(place: float):
    circuit = bent()
    moved = start_from(circuit, place)
    x, y = points_at(curve_of(circuit), place)
    assert np.hypot(moved.x[0] - x, moved.y[0] - y) < 1e-6
    assert moved.length_m == circuit.length_m
    back = start_from(moved, -place)
    assert np.hypot(back.x - circuit.x, back.y - circuit.y).max() < 1e-3
    assert np.abs(back.curvature - circuit.curvature).max() < 2e-5
    np.testing.assert_allclose(np.cos(back.heading - circuit.heading), 1.0, atol=1e-8)
    for a, b in zip(back.corners, circuit.corners, strict=True):
        assert (a.start_m, a.apex_m, a.end_m) == pytest.approx((b.start_m, b.apex_m, b.end_m))
    assert back.landmarks[0].at_m == pytest.approx(200.0)
    same_road(circuit, moved, 0.01)


def test_start_line_lies_abreast_of_the_point_given():
    circuit = bent()
    x, y = points_at(curve_of(circuit), 321.0, 3.0)
    moved = start_at(circuit, float(x), float(y))
    s, n = project_path(curve_of(moved), [float(x)], [float(y)])
    assert min(s[0], moved.length_m - s[0]) < 0.01
    assert n[0] == pytest.approx(3.0, abs=0.01)
    with pytest.raises(UsageError, match=r"--start: .* m from the road"):
        start_at(circuit, 9000.0, 0.0)


def test_circuit_turned_round_twice_is_itself():
    circuit = replace(bent(), corners=())
    there = reverse_circuit(circuit)
    assert (circuit.turns, there.turns) == ("anticlockwise", "clockwise")
    back = reverse_circuit(there)
    for name in FIELDS:
        np.testing.assert_array_equal(getattr(back, name), getattr(circuit, name))
    np.testing.assert_allclose(np.cos(back.heading - circuit.heading), 1.0, atol=1e-12)
    assert (back.landmarks, back.spans) == (circuit.landmarks, circuit.spans)


def test_circuit_turned_round_describes_the_same_things():
    circuit = bent()
    there = reverse_circuit(circuit)
    for road, sign in ((circuit, 1.0), (there, -1.0)):
        step = np.hypot(np.diff(road.x), np.diff(road.y))
        assert np.mean(np.diff(road.heading) / step) * sign > 0
    mast, seen = (points_at(curve_of(c), c.landmarks[0].at_m, c.landmarks[0].off_m)
                  for c in (circuit, there))  # fmt: skip
    assert np.hypot(mast[0] - seen[0], mast[1] - seen[1]) < 1e-6
    assert there.spans[0].left_m > there.spans[0].right_m
    assert there.spans[0].end_m - there.spans[0].start_m == pytest.approx(30.0)
    assert there.corners == ()


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"right": np.full(40, -1.0)}, "negative"),
        ({"left": np.full(40, np.nan)}, "missing"),
        ({"left": np.full(40, 7000.0)}, "a width of 7000 m; widths must be in metres"),
        ({"x": np.full(40, np.nan)}, "not finite"),
        ({"x": np.zeros(40), "y": np.zeros(40)}, "distinct points"),
        ({"x": 1e300 + np.zeros(40)}, "A point lies at 1e[+]300 m"),
        ({"left": np.zeros(40), "right": np.zeros(40)}, "m wide at"),
    ],
)
def test_survey_that_cannot_be_is_named(change: dict[str, Array], word: str):
    t = np.arange(40) * (2 * np.pi / 40)
    given = {
        "x": 100 * np.cos(t), "y": 100 * np.sin(t),
        "right": np.full(40, 5.0), "left": np.full(40, 5.0),
    } | change  # fmt: skip
    with pytest.raises(UsageError, match=word):
        build_circuit_from_centre(**given)


def document() -> dict[str, Any]:
    return circuit_to_document(bent())


def test_circuit_comes_back_from_json():
    circuit = bent()
    back = circuit_from_document(json.loads(json.dumps(circuit_to_document(circuit))))
    for name in ("s", "heading", *FIELDS):
        np.testing.assert_allclose(getattr(back, name), getattr(circuit, name), rtol=1e-8)
    for name in ("name", "length_m", "turns", "surveyed", "has_heights", "origin"):
        assert getattr(back, name) == getattr(circuit, name)
    for name in ("corners", "landmarks", "spans"):
        assert getattr(back, name) == getattr(circuit, name)


def spoil(path: str, value: Any) -> dict[str, Any]:
    out = copy.deepcopy(document())
    *parents, last = path.split("/")
    holder: Any = out
    for part in parents:
        holder = holder[int(part) if part.isdigit() else part]
    holder[last] = value
    return out


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("schema", "lapwright.circuit/99"), ("schema", None),
        ("length_m", "long"), ("length_m", None), ("length_m", -5.0), ("length_m", 0.0),
        ("length_m", float("nan")), ("length_m", 1e300), ("length_m", True),
        ("name", 5), ("name", ["a"]), ("turns", "sideways"), ("turns", []),
        ("surveyed", "yes"), ("has_heights", 1),
        ("arrays", []), ("arrays", None), ("arrays/x", "abc"), ("arrays/x", [1.0]),
        ("arrays/x", [[1.0], [2.0, 3.0]]), ("arrays/x", [[1.0] * 3] * 200), ("arrays/left", {}),
        ("arrays/left", None), ("arrays/curvature", [None] * 500),
        ("origin", 5), ("origin", {"latitude_deg": 1}), ("origin/latitude_deg", "north"),
        ("corners", 3), ("corners", [{}]), ("corners/0/start_m", "here"),
        ("corners/0/direction", "up"), ("corners/0/id", 7), ("corners/0/end_m", float("inf")),
        ("landmarks", [{"name": "a"}]), ("landmarks/0/at_m", None), ("landmarks/0/name", None),
        ("spans/0/kind", "river"), ("spans/0/extra", 1), ("spans/0/grip_factor", "slippery"),
    ],
)  # fmt: skip
def test_hostile_document_is_refused_by_name(path: str, value: Any):
    with pytest.raises(UsageError, match="circuit"):
        circuit_from_document(spoil(path, value))


def test_widths_below_nothing_and_uneven_steps_are_refused():
    for name, sign in (("left", -1.0), ("s", 2.0)):
        text = document()
        text["arrays"][name] = [sign * v for v in text["arrays"][name]]
        with pytest.raises(UsageError, match="circuit"):
            circuit_from_document(text)


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "5", "null", '"a"', "{}", "[" * 100_000, '{"schema": "lapwright.circuit/1"}',
     '{"schema": "lapwright.circuit/1", "arrays": {"s": [1e999]}}', "\x00\x00", "nonsense"],
)  # fmt: skip
def test_file_that_is_no_circuit_gives_one_message(text: str, tmp_path: Path):
    path = tmp_path / "circuit.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_circuit([path])
    (message,) = caught.value.messages
    assert message.file == "circuit.json"
    assert len(message.text) < 400
    assert "\n" not in message.text


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "empty"),
        ("a,b,c\nd,e,f\n", "no row of numbers"),
        ("x_m,y_m\n" + "1,2\n" * 30, "needed are x, y and the widths"),
        ("x_m,y_m,w_right,w_left\n1,2,3,4\n1,2,x,4\n", "line 3"),
        ("x_m,y_m,w_right,w_left\n1,2,3,4\n1,2,3\n", "line 3"),
        ("x_m,y_m,w_right,w_left\n" + "1,2,3,4\n" * 30, "distinct points"),
        ("x_m,y_m,w_right,w_left\n1,2,3,nan\n", "no row of numbers"),
    ],
)
def test_survey_file_that_cannot_be_read_is_named(text: str, word: str, tmp_path: Path):
    path = tmp_path / "survey.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=word) as caught:
        read_circuit([path])
    assert caught.value.messages[0].text.startswith("survey.csv")


def test_wrong_number_of_files_and_absent_files_are_named(tmp_path: Path):
    with pytest.raises(InputError, match="cannot be opened"):
        read_circuit([tmp_path / "none.csv"])
    path = tmp_path / "edge.csv"
    path.write_text("0,0,0\n1,1,1\n", encoding="utf-8")
    with pytest.raises(UsageError, match="3 files"):
        read_circuit([path, path, path])


@pytest.mark.parametrize("cut", [",", ";", "\t"])
def test_columns_are_found_by_name_in_any_order(cut: str, tmp_path: Path):
    t = np.arange(150) * (2 * np.pi / 150)
    rows = np.stack([np.full(150, 4.0), 90 * np.sin(t), np.full(150, 7.0), 90 * np.cos(t)], axis=1)
    path = tmp_path / "survey.csv"
    head = cut.join(("Width left [m]", "y [m]", "Width right [m]", "x [m]"))
    text = "\n".join(cut.join(f"{v:.4f}" for v in row) for row in rows)
    path.write_text(f"{head}\n{text}\n", encoding="utf-8")
    circuit = read_circuit([path])
    assert circuit.turns == "anticlockwise"
    np.testing.assert_allclose(circuit.left, 4.0, atol=0.02)
    np.testing.assert_allclose(circuit.right, 7.0, atol=0.02)


def test_a_point_far_off_the_line_is_refused_by_its_number():
    left, right, t = ring()
    x, y = left.x.copy(), left.y.copy()
    x[41] += 400.0  # a mistyped digit; 3.9 m lie between the points
    wide = np.full(t.size, 6.0)
    with pytest.raises(UsageError, match=r"Point 42 lies 39\d m from the points before and"):
        build_circuit_from_centre(x, y, wide, wide)
    with pytest.raises(UsageError, match="Point 42"):
        build_circuit_from_edges(Edge(x, y), right)


def test_long_steps_and_small_spikes_are_no_wild_points():
    left, _, t = ring()
    wide = np.full(t.size, 6.0)
    x, y = left.x.copy(), left.y.copy()
    x[41] += 3.0  # bad, but smoothed; a survey's own scatter is not judged
    assert build_circuit_from_centre(x, y, wide, wide).length_m > 700.0
    # two straights of 600 m with a point every 200 m, round ends with one every 4 m
    end = np.linspace(-np.pi / 2, np.pi / 2, 40)
    bend = np.column_stack([40.0 * np.cos(end), 40.0 * np.sin(end)])
    far = np.array([[200.0, -40.0], [400.0, -40.0]])
    points = np.vstack([far, bend + np.array([600.0, 0.0]), far[::-1] * [1.0, -1.0], -bend])
    wide = np.full(len(points), 6.0)
    check_points(*np.array([[0, 0], [4, 0], [8, 0], [30, 10], [8, 4], [4, 4], [0, 4]], float).T)
    made = build_circuit_from_centre(*points.T, wide, wide)
    assert made.length_m == pytest.approx(1200.0 + 2 * np.pi * 40.0, rel=0.02)


def test_of_two_files_the_one_with_the_wild_point_is_named(tmp_path: Path):
    left, right, _ = ring()
    x = right.x.copy()
    x[41] += 400.0
    for name, edge_x, edge_y in (("left", left.x, left.y), ("right", x, right.y)):
        rows = [f"{a:.3f},{b:.3f}" for a, b in zip(edge_x, edge_y, strict=True)]
        (tmp_path / f"{name}.csv").write_text("\n".join(["x,y", *rows]))
    with pytest.raises(InputError, match=r"^right\.csv: Point 42 lies .* correct it or take it"):
        read_circuit([tmp_path / "left.csv", tmp_path / "right.csv"])
