"""What can be seen, held against published tables, worked values and rays cast one by one.

AASHTO is *A Policy on Geometric Design of Highways and Streets*, metric: driver's eye 1.08 m,
object 0.60 m.
"""

from __future__ import annotations

import importlib.util
import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lapwright.driving.corner_sight import find_alignments, find_sight, find_views, see_corner
from lapwright.driving.passes import ActionSummary, CornerSummary
from lapwright.driving.sight import (
    build_ground,
    look_ahead,
    place_eyes,
    place_point,
    see_point,
    seen_from,
)
from lapwright.errors import UsageError
from lapwright.model.circuit import Circuit, Corner, Landmark, RoadSpan

EYE, OBJECT = 1.08, 0.60


def load_roads() -> Any:
    path = Path(__file__).parent / "sight_roads.py"
    spec = importlib.util.spec_from_file_location("sight_roads", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["sight_roads"] = module
    spec.loader.exec_module(module)
    return module


roads = load_roads()


def crest(radius: float) -> Circuit:
    """A wide ring of 3 km radius (its bend does not matter here) over one parabolic crest."""

    def height(s: Any) -> Any:
        away = (s - 6000.0 + 9425.0) % 18850.0 - 9425.0
        inner = np.minimum(np.abs(away), 350.0)
        z = -(inner**2) / (2 * radius) - (np.abs(away) - inner) * 350.0 / radius
        return np.where(np.abs(away) < 900, z, z[np.argmin(np.abs(np.abs(away) - 900))])

    return roads.ring(3000.0, height, step=0.5, width=12.0)


def sight_over(radius: float, eye: float, thing: float) -> float:
    """Sight distance found by rays from an eye whose sightline lies over the crest."""
    circuit = crest(radius)
    s = 6000.0 - math.sqrt(2 * radius * eye)  # the ray then touches the crest's top
    eyes = place_eyes(circuit, np.array([s]), 0.0, (0.0, 0.0, eye))
    return float(look_ahead(build_ground(circuit), eyes, thing)[0])


@pytest.mark.parametrize(
    ("k", "speed", "design"), [(7, 50, 65), (26, 80, 130), (52, 100, 185), (95, 120, 250)]
)
def test_sight_over_a_crest_of_the_table_is_the_published_one(k: float, speed: int, design: float):
    """AASHTO: L = A S²/658 on the crest, so K = S²/658; tables round K to a whole number."""
    seen = sight_over(100.0 * k, EYE, OBJECT)
    assert seen == pytest.approx(math.sqrt(658 * k), rel=0.01)
    assert abs(design**2 / 658 - k) < 0.6
    rounded_up = {50: 0.05}.get(speed, 0.01)  # at 50 km/h 6.42 becomes 7: 4.5 % more sight
    assert seen == pytest.approx(design, rel=rounded_up)


@pytest.mark.parametrize(("eye", "thing", "expected"), [(1.08, 0.60, 81.1), (0.70, 0.0, 37.4)])
def test_sight_over_a_crest_of_1000_m(eye: float, thing: float, expected: float):
    """S = √(2R)(√h1 + √h2)."""
    assert sight_over(1000.0, eye, thing) == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize(
    ("radius", "sight", "offset"),
    [(100.0, 85.0, 8.897), (2000 * 0.3048, 570 * 0.3048, 20.3 * 0.3048)],
)
@pytest.mark.parametrize("side", [1, -1])
def test_sight_past_a_wall_in_a_bend(radius: float, sight: float, offset: float, side: int):
    """AASHTO: M = R(1 − cos(28.65 S/R)); R 100 m and S 85 m, R 2000 ft and S 570 ft."""
    bend = roads.ring(radius, lambda s: 0.0 * s, step=0.5, width=4.0)
    inside = 1 if side > 0 else -1
    wall = RoadSpan(
        "wall", "inside", 0.0, bend.length_m - 1.0, inside * offset, inside * offset, None, 3.0
    )
    circuit = replace(bend, spans=(wall,))
    if side < 0:  # the same bend to the right
        circuit = replace(
            circuit, y=-circuit.y, heading=-circuit.heading, curvature=-circuit.curvature
        )
    eyes = place_eyes(circuit, np.array([20.0]), 0.0, (0.0, 0.0, EYE))
    seen = look_ahead(build_ground(circuit), eyes)[0]
    assert seen == pytest.approx(sight, rel=0.01)


def test_a_low_wall_and_one_outside_hide_nothing():
    bend = roads.ring(100.0, lambda s: 0.0 * s, step=0.5, width=4.0)
    for offset, height in ((8.9, 0.3), (-8.9, 3.0)):
        wall = RoadSpan("wall", "", 0.0, bend.length_m - 1.0, offset, offset, None, height)
        ground = build_ground(replace(bend, spans=(wall,)))
        eyes = place_eyes(bend, np.array([20.0]), 0.0, (0.0, 0.0, EYE))
        assert look_ahead(ground, eyes, reach_m=90.0)[0] == 90.0


def test_a_bank_inside_a_bend_hides_as_a_wall_of_its_height_does():
    bend = roads.ring(100.0, lambda s: 0.0 * s, step=0.5, width=4.0)
    bank = RoadSpan("verge", "", 0.0, bend.length_m - 1.0, 9.0, 4.0, None, 3.0)
    eyes = place_eyes(bend, np.array([20.0]), 0.0, (0.0, 0.0, EYE))
    seen = look_ahead(build_ground(replace(bend, spans=(bank,))), eyes)[0]
    # the bank reaches the eye's height at 1.8 m from the edge, less further on: closed form
    assert 2 * 100 * math.acos(1 - 4.0 / 100) < seen < 2 * 100 * math.acos(1 - 5.8 / 100)


def test_without_heights_nothing_is_said():
    circuit = replace(roads.ring(100.0, lambda s: 0.0 * s), has_heights=False)
    with pytest.raises(UsageError):
        build_ground(circuit)
    sight = find_sight(circuit, (), {})
    assert sight.ahead_m is None
    assert sight.why_null
    assert not sight.corners


def test_what_runs_under_a_bridge_stays_in_sight():
    """A figure of eight in the plane, the second branch 6 m above the first where they cross."""
    count, step = 1600, 1.0
    angle = np.arange(count) * 2 * math.pi / count
    x, y = 220 * np.sin(angle), 110 * np.sin(2 * angle)
    z = 3.0 - 3.0 * np.cos(angle)
    heading = np.unwrap(np.arctan2(np.gradient(y), np.gradient(x)))
    circuit = roads.lay_road(x, y, heading, z, step)
    eyes = place_eyes(circuit, np.array([count - 60.0]), 0.0, (0.0, 0.0, EYE))
    under = place_point(circuit, 40.0, 0.0)
    assert see_point(build_ground(circuit), eyes, under)[0]


@pytest.fixture(scope="module")
def mountain(shared_data: Any) -> Any:
    """The mountain circuit (shared data, LGPL-3.0)."""
    return roads.mountain(shared_data("circuits3d/mountain_circuit_bounds_xyz.csv"))


def test_rays_cast_one_by_one_agree_on_the_mountain_circuit(mountain: Circuit):
    """Within one step (2 m) at 99 % of places, against every triangle of the road's surface."""
    places = np.arange(0, mountain.s.size, 20)
    eyes = place_eyes(mountain, mountain.s[places])
    found = look_ahead(build_ground(mountain), eyes)
    tris = roads.triangles(mountain)
    cast = [
        roads.cast_ahead(mountain, tris, eyes.points[k], mountain.s[i], 600.0)
        for k, i in enumerate(places)
    ]
    # Both tell whole steps of the road: a micrometre more than one step is still one step.
    close = np.abs(found - cast) <= mountain.step_m + 1e-6
    assert close.mean() >= 0.99
    assert np.abs(found - cast).max() < 5.0


def summary_at(corner: Corner, brake_m: float, turn_in_m: float) -> CornerSummary:
    actions = {
        name: ActionSummary(place, 1.0, 5, 0.1, 0.5)
        for name, place in (("brake_start_m", brake_m), ("turn_in_m", turn_in_m))
    }
    return CornerSummary(corner.id, "braked", actions, 100.0)


def bends_of(circuit: Circuit, sharp: float = 0.008) -> list[Corner]:
    """Bends by curvature alone, as nobody has driven here."""
    bent = np.abs(circuit.curvature) > sharp
    edges = np.flatnonzero(np.diff(bent.astype(int)))
    first = edges[0] if not bent[0] else edges[1]
    rolled = np.roll(np.arange(circuit.s.size), -int(first) - 1)
    runs = np.split(rolled, np.flatnonzero(np.diff(bent[rolled].astype(int))) + 1)
    out = []
    for k, run in enumerate(r for r in runs if bent[r[0]] and r.size > 5):
        apex = run[np.argmax(np.abs(circuit.curvature[run]))]
        side = "left" if circuit.curvature[apex] > 0 else "right"
        s = circuit.s
        out.append(Corner(str(k + 1), "", side, s[run[0]], s[apex], s[run[-1]]))
    return out


def test_blind_corners_of_the_mountain_circuit_are_those_rays_call_blind(mountain: Circuit):
    """Braking point 60 m before a bend, turn-in where it begins: both invented."""
    corners = bends_of(mountain)
    ground, line = build_ground(mountain), np.zeros(mountain.s.size)
    tris = roads.triangles(mountain)
    blind, agreed = 0, 0
    for corner in corners:
        brake = (corner.start_m - 60.0) % mountain.length_m
        seen = see_corner(
            ground, corner, summary_at(corner, brake, corner.start_m), line, (0.0, 0.0, EYE)
        )
        sign = 1 if corner.direction == "left" else -1
        width = mountain.left if sign > 0 else mountain.right
        at = round(corner.apex_m / mountain.step_m) % mountain.s.size
        apex = place_point(mountain, corner.apex_m, sign * float(width[at]), 2e-5)
        eyes = place_eyes(mountain, np.array([brake, corner.start_m]), 0.0, (0.0, 0.0, EYE))
        hidden = any(roads.blocked(tris, e, apex) for e in eyes.points)
        blind += seen.blind is True
        agreed += seen.blind == hidden
    assert len(corners) > 20
    assert blind >= 3
    assert agreed == len(corners)


def test_the_curve_behind_the_crest_is_blind(shared_data: Any):
    """OpenDRIVE crest-curve.xodr (shared data, MPL-2.0): 6 m of crest at 270 m, the apex behind."""
    circuit = roads.crest_before_curve(shared_data("opendrive/crest-curve.xodr"))
    corner = circuit.corners[0]
    ground, line = build_ground(circuit), np.zeros(circuit.s.size)
    seen = see_corner(ground, corner, summary_at(corner, 210.0, 285.0), line, (0.0, 0.0, EYE))
    assert seen.blind
    assert seen.hidden_at == ("brake_start_m",)
    apex = place_point(circuit, corner.apex_m, -3.2)
    eyes = place_eyes(circuit, np.arange(200.0, 320.0), 0.0, (0.0, 0.0, EYE))
    marched = [roads.march(circuit, eye, apex) for eye in eyes.points]
    first = seen_from(np.array(marched))
    assert first is not None
    assert seen.apex_seen_from_m == pytest.approx(200.0 + first, abs=circuit.step_m)
    flat = replace(circuit, z=0.0 * circuit.z)
    level = see_corner(
        build_ground(flat), corner, summary_at(corner, 210.0, 285.0), line, (0.0, 0.0, EYE)
    )
    assert level.blind is False
    assert level.hidden_at == ()


def test_no_braking_point_and_no_turn_in_say_nothing():
    circuit = roads.ring(100.0, lambda s: 0.0 * s)
    corner = Corner("1", "", "left", 100.0, 150.0, 200.0)
    seen = see_corner(build_ground(circuit), corner, None, 0.0 * circuit.s, (0.0, 0.0, EYE))
    assert seen.blind is None


def test_a_pole_comes_into_view_where_the_crest_lets_its_top_be_seen():
    """S = √(2R)(√h1 + √h2) again, with the pole's height."""
    radius, pole = 2000.0, 1.5
    circuit = replace(crest(radius), landmarks=(Landmark("pole", 6020.0, 13.0, pole),))
    eyes = place_eyes(circuit, circuit.s[11000:12040], 0.0, (0.0, 0.0, EYE))
    (view,) = find_views(build_ground(circuit), eyes)
    expected = math.sqrt(2 * radius) * (math.sqrt(EYE) + math.sqrt(pole))
    assert view.before_m == pytest.approx(expected, rel=0.02)
    assert view.comes
    tall = replace(circuit, landmarks=(Landmark("mast", 6020.0, 13.0, 60.0),))
    (view,) = find_views(build_ground(tall), eyes)
    assert not view.comes  # in view from the first eye on
    under = replace(circuit, landmarks=(Landmark("stone", 6020.0, 13.0, -3.0),))
    (view,) = find_views(build_ground(under), eyes)
    assert view.at_m is None


def test_two_posts_stand_in_line_where_geometry_says():
    """On a straight: posts at (120, 10) and (150, 16) m are in line at s = 120 − 30·10/6 = 70."""
    circuit = roads.ring(50000.0, lambda s: 0.0 * s, step=2.0)
    marks = (Landmark("near", 120.0, 10.0, 1.0), Landmark("far", 150.0, 16.0, 1.0))
    circuit = replace(circuit, landmarks=marks)
    ground = build_ground(circuit)
    for n, expected in ((0.0, 70.0), (1.0, 75.0), (-1.0, 65.0)):
        eyes = place_eyes(circuit, np.arange(0.0, 110.0, 2.0), n, (0.0, 0.0, EYE))
        (found,) = find_alignments(ground, eyes)
        assert (found.near, found.far) == ("near", "far")
        assert found.at_m == pytest.approx(expected, abs=0.5)
        assert found.per_m_aside == pytest.approx(5.0, rel=0.05)
    behind = place_eyes(circuit, np.arange(160.0, 260.0, 2.0), 0.0, (0.0, 0.0, EYE))
    assert find_alignments(ground, behind) == ()


def test_the_last_unbroken_run_counts():
    assert seen_from(np.array([True, False, True, True])) == 2
    assert seen_from(np.array([True, True])) == 0
    assert seen_from(np.array([True, False])) is None
