"""Circuits out of ASAM OpenDRIVE, held against closed forms and the open example files.

Files of ../shared/data/opendrive (open data; the licence lies beside them). Formulas: ASAM
OpenDRIVE, "Road reference line geometries", "Elevation profile", "Superelevation".
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from scipy.special import fresnel

from lapwright.errors import InputError
from lapwright.readers.circuit_files import read_circuit
from lapwright.readers.opendrive import read_roads, sample_road
from lapwright.readers.road_line import poly_shape, spiral_shape

DATA = Path(__file__).parents[3] / "shared/data/opendrive"


def data(name):
    path = DATA / name
    if not path.exists():
        if os.environ.get("CI") == "true":
            raise AssertionError(f"{path} is missing")
        pytest.skip("the open data is not on this machine")
    return path


def test_loop_is_2000_m_and_closes():
    path = data("velodrome.xodr")
    (road,) = read_roads(path.read_bytes(), path.name)
    line = sample_road(road)
    # Each half: 500 m straight, two spirals of 107.3009… m, an arc of 285.3981… m.
    assert road.length == pytest.approx(2000.0, abs=1e-9)
    assert line.gap() < 1e-6
    circuit = read_circuit([path])
    assert circuit.length_m == pytest.approx(2000.0, abs=0.01)
    end = circuit.x[-1] + circuit.step_m * np.cos(circuit.heading[-1])
    assert end == pytest.approx(circuit.x[0], abs=0.01)
    assert circuit.turns == "anticlockwise"
    assert (circuit.name, circuit.surveyed) == ("", True)


def test_loop_has_its_curvature_width_and_banking():
    """Arcs of 1/125 m, three lanes of 3 m to the right, tilted by 60 degrees there."""
    circuit = read_circuit([data("velodrome.xodr")])
    arc, straight = (circuit.s > 640) & (circuit.s < 860), (circuit.s > 60) & (circuit.s < 440)
    np.testing.assert_allclose(circuit.curvature[arc], 0.008, rtol=2e-3)
    np.testing.assert_allclose(circuit.curvature[straight], 0.0, atol=1e-5)
    np.testing.assert_allclose(circuit.right[straight], 9.0, atol=0.01)
    np.testing.assert_allclose(circuit.right[arc], 9.0 * np.cos(np.pi / 3), atol=0.01)
    # The ribbon has at least 0.1 m to each side, so its tilt is a little less than 60 degrees.
    np.testing.assert_allclose(np.degrees(circuit.banking[arc]), -60.0, atol=1.0)
    np.testing.assert_allclose(circuit.banking[straight], 0.0, atol=2e-3)


def test_crest_has_its_closed_form_heights():
    """0 up to 200 m, a cubic to 6 m over 70 m, its mirror image down, 0 from 340 m on."""
    path = data("crest-curve.xodr")
    (road,) = read_roads(path.read_bytes(), path.name)
    line = sample_road(road)
    d = np.clip(line.s - 200.0, 0.0, 70.0) / 70.0
    up = 6.0 * (3.0 * d**2 - 2.0 * d**3)
    d = np.clip(line.s - 270.0, 0.0, 70.0) / 70.0
    expected = np.where(line.s < 270.0, up, 6.0 - 6.0 * (3.0 * d**2 - 2.0 * d**3))
    # The file's factors have 12 digits: 70³ times half of the last is 2e-8 m.
    np.testing.assert_allclose(line.z, expected, atol=1e-6)
    np.testing.assert_allclose(line.left, 3.2)
    np.testing.assert_allclose(line.right, -3.2)


def test_crest_has_its_spiral():
    """300 m from straight to −0.02 1/m: Fresnel's integrals."""
    path = data("crest-curve.xodr")
    line = sample_road(read_roads(path.read_bytes(), path.name)[0])
    d = np.clip(line.s - 100.0, 0.0, None)
    scale = np.sqrt(np.pi * 300.0 / 0.02)
    sine, cosine = fresnel(d / scale)
    at = line.s > 100.0
    np.testing.assert_allclose(line.x[at], 100.0 + scale * cosine[at], atol=1e-9)
    np.testing.assert_allclose(line.y[at], -scale * sine[at], atol=1e-9)


def test_elevation_is_continuous_and_as_written():
    path = data("curves_elevation.xodr")
    (road,) = read_roads(path.read_bytes(), path.name)
    line = sample_road(road)
    assert line.s[-1] == pytest.approx(1154.39947525641, abs=1e-6)
    # First piece by hand: a + b d + c d² + d d³ with d = 50 m.
    at = np.argmin(np.abs(line.s - 50.0))
    expected = -3.2502378662271897e-04 * 50.0**2 + 7.2201286709534988e-07 * 50.0**3
    assert line.z[at] == pytest.approx(expected, abs=1e-9)
    at = np.argmin(np.abs(line.s - 577.19973762820689))
    assert np.interp(577.19973762820689, line.s, line.z) == pytest.approx(14.5455, abs=2e-3)
    assert np.max(np.abs(np.diff(line.z))) < 0.15
    # Every piece ends where the file begins the next one.
    step = np.hypot(np.diff(line.x), np.diff(line.y))
    np.testing.assert_allclose(step, np.diff(line.s), atol=2e-4)


@pytest.mark.parametrize("name", ["crest-curve.xodr", "curves_elevation.xodr"])
def test_open_roads_are_refused_with_the_gap(name):
    with pytest.raises(InputError, match=rf"{name}, line \d+: the road does not close.* gap of"):
        read_circuit([data(name)])


# --- own documents ------------------------------------------------------------------------------

LANES = """<lanes>{shift}<laneSection s="0">
<left><lane id="1" type="driving"><width sOffset="0" a="{left}" b="0" c="0" d="0"/></lane></left>
<center><lane id="0" type="none"/></center>
<right><lane id="-1" type="driving"><width sOffset="0" a="{right}" b="{grow}" c="0" d="0"/></lane>
<lane id="-2" type="shoulder"><width sOffset="0" a="20" b="0" c="0" d="0"/></lane></right>
</laneSection></lanes>"""


def document(roads):
    return f'<?xml version="1.0"?>\n<OpenDRIVE><header/>{"".join(roads)}</OpenDRIVE>'.encode()


def road(geometry, length, ident="1", link="", left=4.0, right=5.0, grow=0.0, shift=""):
    lanes = LANES.format(left=left, right=right, grow=grow, shift=shift)
    return (
        f'<road id="{ident}" length="{length}" junction="-1"><link>{link}</link>'
        f"<planView>{geometry}</planView>{lanes}</road>"
    )


def geometry(s, x, y, heading, length, shape):
    return f'<geometry s="{s}" x="{x}" y="{y}" hdg="{heading}" length="{length}">{shape}</geometry>'


RADIUS = 100.0
HALF = np.pi * RADIUS


def half_circle(second):
    return geometry(
        0.0, 0.0, 2 * RADIUS if second else 0.0, np.pi if second else 0.0, HALF,
        f'<arc curvature="{1 / RADIUS}"/>',
    )  # fmt: skip


def test_roads_that_follow_each_other(tmp_path):
    """A circle out of two roads, the second written against the driving direction."""
    forward = '<successor elementType="road" elementId="2" contactPoint="end"/>'
    backward = geometry(0.0, 0.0, 0.0, np.pi, HALF, f'<arc curvature="{-1 / RADIUS}"/>')
    link = '<predecessor elementType="road" elementId="1" contactPoint="start"/>'
    link += '<successor elementType="road" elementId="1" contactPoint="end"/>'
    path = tmp_path / "c.xodr"
    path.write_bytes(
        document([
            road(half_circle(False), HALF, "1", forward),
            road(backward, HALF - 1e-9, "2", link, left=5.0, right=4.0),
        ])
    )  # fmt: skip
    circuit = read_circuit([path])
    assert circuit.length_m == pytest.approx(2 * HALF, abs=0.01)
    np.testing.assert_allclose(circuit.curvature, 1 / RADIUS, rtol=1e-3)
    np.testing.assert_allclose(circuit.left, 4.0, atol=0.01)
    np.testing.assert_allclose(circuit.right, 5.0, atol=0.01)


def test_lanes_beside_the_reference_line(tmp_path):
    """With the line outside of the lanes the middle of the road becomes the line."""
    shift = '<laneOffset s="0" a="-10" b="0" c="0" d="0"/>'
    pieces = half_circle(False) + half_circle(True).replace('s="0.0"', f's="{HALF}"', 1)
    path = tmp_path / "c.xodr"
    path.write_bytes(document([road(pieces, 2 * HALF, shift=shift)]))
    circuit = read_circuit([path])
    # Edges at radius 100 + 10 − 4 and 100 + 10 + 5: the middle is at 110.5 m.
    assert circuit.length_m == pytest.approx(2 * np.pi * 110.5, abs=0.05)
    np.testing.assert_allclose(circuit.left + circuit.right, 9.0, atol=0.02)


def test_poly3_and_param_poly3_follow_the_same_curve():
    """v = 0.002 u² + 1e-5 u³ written as all three kinds of polynomial."""
    u = np.linspace(0.0, 60.0, 4001)
    v = 0.002 * u**2 + 1e-5 * u**3
    gone = np.append(0.0, np.cumsum(np.hypot(np.diff(u), np.diff(v))))
    length = gone[-1]
    s = np.linspace(0.0, length, 50)
    shape = poly_shape((0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 0.002, 1e-5), length, None)
    np.testing.assert_allclose(shape(s)[0], np.interp(s, gone, u), atol=1e-5)
    np.testing.assert_allclose(shape(s)[1], np.interp(s, gone, v), atol=1e-5)
    for span in (1.0, length):  # a straight of slope 3/4
        shape = poly_shape((0.0, 8.0 / span, 0.0, 0.0), (0.0, 6.0 / span, 0.0, 0.0), 10.0, span)
        x, y, heading = shape(np.array([0.0, 5.0, 10.0]))
        np.testing.assert_allclose(np.hypot(x, y), [0.0, 5.0, 10.0])
        np.testing.assert_allclose(heading, np.arctan(0.75))


def test_spiral_with_curvature_at_both_ends():
    """Between 0.01 and 0.03 1/m over 40 m: the heading is the mean curvature times length."""
    shape = spiral_shape(0.01, 0.03, 40.0)
    x, y, heading = shape(np.array([40.0, 0.0, 20.0]))
    np.testing.assert_allclose(heading, [0.8, 0.0, 20.0 * 0.015])
    fine = np.linspace(0.0, 40.0, 400_001)
    psi = fine * (0.01 + 0.5 * 0.0005 * fine)
    assert x[0] == pytest.approx(np.trapezoid(np.cos(psi), fine), abs=1e-8)
    assert y[0] == pytest.approx(np.trapezoid(np.sin(psi), fine), abs=1e-8)


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('curvature="0.01"', 'curvature="x"', 'line 2: curvature of arc is "x"'),
        ('curvature="0.01"', "", "line 2: curvature of arc is missing"),
        ("<arc", "<bow", "a geometry without a known shape"),
        (f'length="{HALF}"', 'length="nan"', "line 2: "),
        ('curvature="0.01"', 'curvature="1e200"', 'line 2: curvature of arc is "1e200"'),
        (f'length="{HALF}"', 'length="-1"', "a geometry of -1 m"),
        ("<OpenDRIVE>", "<!DOCTYPE a><OpenDRIVE>", "a DOCTYPE"),
        ("</planView>", "", "the markup is broken here"),
        ("OpenDRIVE", "Other", "the document is Other, not OpenDRIVE"),
    ],
)
def test_faulty_documents_are_refused_by_name(tmp_path, old, new, found):
    pieces = half_circle(False) + half_circle(True).replace('s="0.0"', f's="{HALF}"', 1)
    text = document([road(pieces, 2 * HALF)]).decode().replace(old, new)
    path = tmp_path / "c.xodr"
    path.write_text(text)
    with pytest.raises(InputError) as raised:
        read_circuit([path])
    assert found in str(raised.value)
    assert str(raised.value).startswith("c.xodr")


def ring_of_arcs(n=8, radius=100.0):
    """Geometries of an invented circle, in their order."""
    step = 2.0 * np.pi / n
    return [
        f'<geometry s="{radius * step * i:.6f}" x="{radius * np.cos(step * i):.6f}" '
        f'y="{radius * np.sin(step * i):.6f}" hdg="{np.pi / 2 + step * i:.9f}" '
        f'length="{radius * step:.6f}"><arc curvature="{1.0 / radius}"/></geometry>'
        for i in range(n)
    ]


def road_of(geometries):
    lane = '<lane id="{}" type="driving"><width sOffset="0" a="4" b="0" c="0" d="0"/></lane>'
    section = f"<left>{lane.format(1)}</left><right>{lane.format(-1)}</right>"
    lanes = f'<lanes><laneSection s="0">{section}</laneSection></lanes>'
    plan = "\n".join(["<planView>", *geometries, "</planView>"])
    return f'<OpenDRIVE>\n<road id="1" name="Invented">{plan}{lanes}</road></OpenDRIVE>'


def test_geometries_may_stand_in_any_order(tmp_path):
    path = tmp_path / "c.xodr"
    arcs = ring_of_arcs()
    path.write_text(road_of([*arcs[3:], *arcs[:3]]))
    circuit = read_circuit([path])
    assert circuit.length_m == pytest.approx(2.0 * np.pi * 100.0, abs=0.01)
    np.testing.assert_allclose(circuit.curvature, 0.01, rtol=2e-3)


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('s="78.539816"', 's="120.0"', "begins at 120 m, the one before ends at 78.5398 m"),
        ('s="78.539816"', 's="7_8"', 's of geometry is "7_8"'),
        ('s="78.539816"', 's="７８"', 's of geometry is "７８"'),
    ],
)  # fmt: skip
def test_places_that_cannot_be_are_refused_with_their_line(tmp_path, old, new, found):
    path = tmp_path / "c.xodr"
    text = road_of(ring_of_arcs())
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError) as raised:
        read_circuit([path])
    (message,) = raised.value.messages
    assert found in message.text
    assert message.line == 4


def test_most_pieces_that_are_read(tmp_path):
    """Twenty thousand arcs of 1 m, within the limit; their number must not cost its square."""
    n = 20_000
    path = tmp_path / "c.xodr"
    path.write_text(road_of(ring_of_arcs(n, n / (2.0 * np.pi))))
    assert read_circuit([path]).length_m == pytest.approx(n, rel=1e-5)
    path.write_text(road_of(ring_of_arcs(n + 1, n / (2.0 * np.pi))))
    with pytest.raises(InputError, match="no usable line"):
        read_circuit([path])
