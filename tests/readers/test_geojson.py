"""Circuits out of GeoJSON (RFC 7946): an invented ring of 628 m, and faulty documents."""

from __future__ import annotations

import json

import numpy as np
import pytest

from lapwright.errors import InputError
from lapwright.model.circuit_json import circuit_from_document, circuit_to_document
from lapwright.readers.circuit_files import read_circuit

RADIUS = 100.0
LAT, LON = 46.5, 9.25
#: Metres in a degree there, by the closed forms of the WGS 84 ellipsoid for both radii.
_E2 = 0.00669437999014
_W = np.sqrt(1.0 - _E2 * np.sin(np.radians(LAT)) ** 2)
NORTH = np.radians(6378137.0 * (1.0 - _E2) / _W**3)
EAST = np.radians(6378137.0 / _W * np.cos(np.radians(LAT)))


def ring(radius, n=200, height=None, angles=None):
    """Points anticlockwise on a circle, the last repeating the first."""
    angle = np.linspace(0.0, 2.0 * np.pi, n + 1) if angles is None else np.asarray(angles)
    lon = LON + radius * np.cos(angle) / EAST
    lat = LAT + radius * np.sin(angle) / NORTH
    points = np.column_stack([lon, lat])
    points[-1] = points[0] if angles is None else points[-1]
    if height is not None:
        points = np.column_stack([points, height(angle)])
    return points.tolist()


def feature(kind, kind_of, coordinates, **properties):
    return {
        "type": "Feature",
        "properties": {"kind": kind, **properties},
        "geometry": {"type": kind_of, "coordinates": coordinates},
    }


def put(tmp_path, *features, **more):
    path = tmp_path / "c.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features, **more}))
    return path


CENTRE = feature("centre", "LineString", ring(RADIUS), left_m=4.0, right_m=6.0)


def test_centre_line_with_widths(tmp_path):
    circuit = read_circuit([put(tmp_path, CENTRE, name="Invented Ring")])
    assert circuit.name == "Invented Ring"
    assert circuit.length_m == pytest.approx(2.0 * np.pi * RADIUS, abs=0.05)
    np.testing.assert_allclose(circuit.curvature, 1.0 / RADIUS, rtol=2e-3)
    np.testing.assert_allclose(circuit.left, 4.0, atol=0.02)
    np.testing.assert_allclose(circuit.right, 6.0, atol=0.02)
    assert circuit.origin.latitude_deg == pytest.approx(LAT, abs=1e-6)
    assert (circuit.turns, circuit.surveyed, circuit.has_heights) == ("anticlockwise", True, False)


def test_widths_by_point_and_heights(tmp_path):
    angle = np.linspace(0.0, 2.0 * np.pi, 201)
    width = (10.0 + 2.0 * np.cos(angle)).tolist()
    line = ring(RADIUS, height=lambda a: 400.0 + 3.0 * np.sin(a))
    path = put(tmp_path, feature("centre", "LineString", line, width_m=width))
    circuit = read_circuit([path])
    at = np.arctan2(circuit.y, circuit.x)
    np.testing.assert_allclose(circuit.left, 5.0 + np.cos(at), atol=0.03)
    np.testing.assert_allclose(circuit.z, 400.0 + 3.0 * np.sin(at), atol=0.03)
    assert circuit.has_heights


@pytest.mark.parametrize("how", ["left and right", "two edges", "polygon with a hole"])
def test_two_edges(tmp_path, how):
    inner, outer = ring(RADIUS - 4.0), ring(RADIUS + 6.0)
    features = {
        "left and right": [
            feature("left", "LineString", inner), feature("right", "LineString", outer)
        ],
        "two edges": [
            feature("edge", "LineString", outer[::-1]), feature("edge", "LineString", inner)
        ],
        "polygon with a hole": [feature("road", "Polygon", [outer, inner])],
    }[how]  # fmt: skip
    circuit = read_circuit([put(tmp_path, *features)])
    np.testing.assert_allclose(circuit.left + circuit.right, 10.0, atol=0.03)
    assert circuit.length_m == pytest.approx(2.0 * np.pi * (RADIUS + 1.0), abs=0.1)


def test_what_lies_beside_the_road(tmp_path):
    """Offsets are radii: left of an anticlockwise circle is inside."""
    angles = np.linspace(0.5, 0.8, 10)
    kerb = [*ring(97.0, angles=angles), *ring(96.0, angles=angles[::-1])]
    features = [
        CENTRE,
        feature("kerb", "Polygon", [[*kerb, kerb[0]]], name="Kerb 1"),
        feature("wall", "LineString", ring(110.0, angles=angles + 1.0), height_m=1.2),
        feature("verge", "LineString", ring(93.0, angles=angles - 0.65), width_m=4.0),
        feature("patch", "LineString", ring(102.0, angles=angles), width_m=2.0, grip_factor=0.9),
        feature("landmark", "Point", ring(115.0, angles=[2.0])[0], name="Tower", height_m=8.0),
        feature("start", "Point", ring(RADIUS, angles=[0.2])[0]),
    ]
    circuit = read_circuit([put(tmp_path, *features)])
    kerb, wall, verge, patch = circuit.spans
    metre = RADIUS  # metres a radian
    assert (kerb.kind, kerb.name) == ("kerb", "Kerb 1")
    assert (kerb.start_m, kerb.end_m) == pytest.approx((0.3 * metre, 0.6 * metre), abs=0.3)
    assert (kerb.left_m, kerb.right_m) == pytest.approx((4.0, 3.0), abs=0.03)
    assert wall.height_m == 1.2
    assert wall.left_m == pytest.approx(-10.0 + 0.1, abs=0.03)
    assert verge.start_m == pytest.approx(2 * np.pi * metre - 35.0, abs=0.5)
    assert verge.end_m == pytest.approx(2 * np.pi * metre - 5.0, abs=0.5)
    assert (verge.left_m, verge.right_m) == pytest.approx((9.0, 5.0), abs=0.03)
    assert patch.grip_factor == 0.9
    (tower,) = circuit.landmarks
    assert (tower.name, tower.height_m) == ("Tower", 8.0)
    assert (tower.at_m, tower.off_m) == pytest.approx((1.8 * metre, -15.0), abs=0.3)
    again = circuit_from_document(json.loads(json.dumps(circuit_to_document(circuit))))
    assert again.spans == circuit.spans


def test_a_kerb_across_the_start_line_ends_behind_it(tmp_path):
    line = ring(97.0, angles=np.linspace(-0.1, 0.1, 8))
    circuit = read_circuit([put(tmp_path, CENTRE, feature("kerb", "LineString", line))])
    (kerb,) = circuit.spans
    assert kerb.start_m == pytest.approx(2 * np.pi * RADIUS - 10.0, abs=0.3)
    assert kerb.end_m == pytest.approx(10.0, abs=0.3)


BARE = {"type": "Feature", "properties": None, "geometry": None}


@pytest.mark.parametrize(
    ("features", "found"),
    [
        ([], "no features"),
        ([BARE], "no line or polygon"),
        ([7], "feature 1: no object"),
        ([feature("centre", "LineString", ring(RADIUS))], "feature 1: the centre line has neither"),
        (
            [feature("centre", "LineString", ring(RADIUS), width_m=[1, 2])],
            "width_m has 2 values for 201 points",
        ),
        ([feature("centre", "LineString", ring(RADIUS), width_m="wide")], "width_m is no number"),
        (
            [feature("centre", "LineString", [[1200.0, 5.0], [1300.0, 6.0]], width_m=9)],
            "feature 1: 1200, 5 is no longitude and latitude",
        ),
        ([feature("centre", "LineString", [["a", 5.0]], width_m=9)], "a coordinate is no number"),
        ([feature("centre", "LineString", [[1, 2], [3]], width_m=9)], "a coordinate is no number"),
        ([feature("kerb", "LineString", ring(RADIUS))], "neither a centre line nor two edges"),
        ([feature("centre", "LineString", [[9.0, 46.0]] * 3, width_m=9)], "points"),
    ],
)
def test_faulty_documents_are_refused_by_name(tmp_path, features, found):
    with pytest.raises(InputError) as raised:
        read_circuit([put(tmp_path, *features)])
    assert found in str(raised.value)
    assert str(raised.value).startswith("c.geojson")


@pytest.mark.parametrize("text", ["{", '{"type": "FeatureCollection", "features": ' + "[" * 99_999])
def test_broken_text(tmp_path, text):
    path = tmp_path / "c.geojson"
    path.write_text(text)
    with pytest.raises(InputError, match="not a circuit document"):
        read_circuit([path])


def test_what_is_no_number_is_refused_and_not_taken_for_the_usual(tmp_path):
    kerb = feature("kerb", "LineString", ring(103.0)[:5])
    for name, value in (("grip_factor", "much"), ("height_m", True), ("width_m", 10**400)):
        bad = kerb | {"properties": {"kind": "kerb", name: value}}
        with pytest.raises(InputError, match=f"feature 2: {name} is .*, no number"):
            read_circuit([put(tmp_path, CENTRE, bad)])
    for value in ("4", 10**400, [True] * 201):
        wide = feature("centre", "LineString", ring(RADIUS), width_m=value)
        with pytest.raises(InputError, match="feature 1: width_m is no number"):
            read_circuit([put(tmp_path, wide)])


def test_landmark_at_another_place_is_refused(tmp_path):
    far = feature("landmark", "Point", [LON + 1.0, LAT], name="mill")
    with pytest.raises(InputError, match="'mill' lies more than 2000 m from the road"):
        read_circuit([put(tmp_path, CENTRE, far)])
