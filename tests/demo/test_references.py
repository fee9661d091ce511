"""References the driver acts on, and what the road hides. All data are invented."""

from dataclasses import replace

import numpy as np
import pytest

from lapwright.demo import DRIVERS, Reference, Session, make_session, quillbeck, sight
from lapwright.demo import layout as ly
from lapwright.demo import road as rd

EXACT = replace(DRIVERS["coach"], time_s=0.002, line_m=0.45, level_spread=0.006, share_spread=0.003)


def brake_starts(session: Session, corner: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Place, offset of the driver and speed at each brake start of the timed laps."""
    rows, found = session.rows, []
    for act in session.truth.corners:
        if act.corner == corner and 1 <= act.lap <= len(session.truth.lap_times):
            k = int(np.searchsorted(rows[:, ly.O_T], act.brake_start_s))
            found.append((act.brake_start_m, rows[k, ly.O_N], rows[k, ly.O_VX]))
    place, off, speed = np.array(found).T
    return place, off, speed


def test_a_place_holds_better_than_a_plan() -> None:
    kept = make_session(replace(EXACT, references=((1, "brake", Reference("place")),)), 5, 2)
    free = make_session(replace(EXACT, references=()), 5, 2)
    held, planned = brake_starts(kept, 1)[0].std(), brake_starts(free, 1)[0].std()
    assert held < 0.5
    assert planned > 1.7 * held


def test_the_hands_clock_sets_the_scatter() -> None:
    # time noise of 25 ms at about 68 m/s is 1.7 m
    slow = replace(EXACT, time_s=0.025, references=((1, "brake", Reference("place")),))
    place, _, speed = brake_starts(make_session(slow, 10, 3), 1)
    assert place.std() == pytest.approx(0.025 * speed.mean(), rel=0.5)


def test_two_landmarks_in_line_depend_on_the_side_of_the_road() -> None:
    session = make_session(
        replace(
            EXACT,
            references=((11, "brake", Reference("alignment", ("sluice post", "mill chimney"))),),
        ),
        10, 4,
    )  # fmt: skip
    place, off, _ = brake_starts(session, 11)
    assert off.std() > 0.1
    slope, _ = np.polyfit(off, place, 1)
    near, far = (
        next(m for m in session.landmarks if m.name == name)
        for name in ("sluice post", "mill chimney")
    )
    # the line through both landmarks, followed to two offsets, gives the slope by geometry
    grid = session.circuit.grid
    row = grid[int(place.mean() / session.circuit.step_m)]
    along = np.array([np.cos(row[ly.GHEADING]), np.sin(row[ly.GHEADING])])
    left = np.array([-along[1], along[0]])
    ray = np.array([far.x - near.x, far.y - near.y])
    assert slope == pytest.approx((ray @ along) / (ray @ left), rel=0.25)


def test_the_barn_door_comes_into_view_over_the_road() -> None:
    circuit = quillbeck()
    place = sight.view_place(circuit, "barn door", 1645.0)
    mark = next(m for m in circuit.landmarks if m.name == "barn door")

    def hidden(at: float) -> bool:
        far = np.linspace(at + 2.0, mark.at_m - 1.0, 500)
        z = np.interp(far, circuit.s, circuit.grid[:, ly.GZ])
        eye = float(np.interp(at, circuit.s, circuit.grid[:, ly.GZ])) + 1.05
        ray = eye + (far - at) / (mark.at_m - at) * (mark.z + mark.height_m - eye)
        return bool((z > ray).any())

    assert not hidden(place + 1.0)
    # either hidden just before, or seen from as far as the search looks
    assert hidden(place - 3.0) or place <= 1645.0 - 249.0


def test_sight_over_a_parabola_against_the_design_formula() -> None:
    # crest in radius form, S = √(2R)(√h1 + √h2); R 1000 m, eye 1.05 m, object 0.60 m
    circuit = quillbeck()
    grid = circuit.grid.copy()
    grid[:, ly.GZ] = -0.5 * (circuit.s - 500.0) ** 2 / 1000.0
    far = np.sqrt(2 * 1000.0) * (np.sqrt(1.05) + np.sqrt(0.60))
    at = 500.0 + np.sqrt(2 * 1000.0 * 0.60)
    z = -0.5 * (at - 500.0) ** 2 / 1000.0
    mark = rd.Landmark("thing", at, 0.0, 0.60, 0.0, 0.0, z)
    hill = replace(circuit, grid=grid, landmarks=(mark,))
    assert at - sight.view_place(hill, "thing", at - 20.0) == pytest.approx(far, abs=2.5)


def test_a_thing_behind_a_wall_shows_past_its_end_by_similar_triangles() -> None:
    # on the first straight: end of the wall 8 m left at 300 m, the thing 16 m left at 350 m, so
    # it shows at s = 300 - 50 (8 - n) / (16 - 8), by similar triangles
    circuit = quillbeck()

    def at(s: float, n: float) -> tuple[float, float]:
        row = circuit.grid[round(s / circuit.step_m)]
        turn = row[ly.GHEADING]
        return float(row[ly.GX] - n * np.sin(turn)), float(row[ly.GY] + n * np.cos(turn))

    thing = rd.Landmark("thing", 350.0, 16.0, 3.0, *at(350.0, 16.0), 0.0)
    wall = rd.Span("wall", "wall", 200.0, 300.0, 9.0, 8.0, 1.0, 0.0)
    walled = replace(circuit, landmarks=(thing,), spans=(wall,))
    past = sight.past_wall(walled, "thing", 270.0)
    assert past is not None
    for n in (-2.0, 0.0, 2.0):
        shows = past[0] + past[1] * n + past[2] * n * n
        assert shows == pytest.approx(300.0 - 50.0 * (8.0 - n) / 8.0, abs=1.2)
    assert sight.past_wall(replace(walled, spans=()), "thing", 270.0) is None


def test_the_circuit_has_what_a_guide_must_find() -> None:
    circuit = quillbeck()
    grid, s = circuit.grid, circuit.s
    assert len(circuit.landmarks) >= 20
    assert len({m.name for m in circuit.landmarks}) == len(circuit.landmarks)
    turned = {np.sign(b.angle) for b in circuit.bends}
    assert turned == {-1.0, 1.0}
    assert (
        min(b.radius_m for b in circuit.bends) < 25 < 150 < max(b.radius_m for b in circuit.bends)
    )
    assert len([b for b in circuit.bends if b.complex]) >= 3
    assert {p.kind for p in circuit.spans} == {"kerb", "patch"}
    # closed: no step where the last row meets the first
    assert np.abs(grid[-1, :2] - grid[0, :2]).max() < 1e-9
    assert grid[-1, ly.GHEADING] - grid[0, ly.GHEADING] == pytest.approx(-2 * np.pi, abs=1e-6)
    # no bend folds the road's inside edge over itself
    assert np.abs(grid[:, ly.GCURVE] * 7.0).max() < 0.5
    # at the crest's speed the load stays on the wheels, and it is a crest
    crest = int(np.argmin(grid[:, ly.GVERT]))
    assert 1300 < s[crest] < 1450
    assert 0.5 < 1 + grid[crest, ly.GVERT] * 53.0**2 / 9.81 < 0.8
    # from 60 m before Skyline's start its slowest part is hidden by the road itself
    skyline = circuit.bends[3]
    ground = rd.Landmark("ground", skyline.start_m + 60.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    i = int(ground.at_m)
    ground = replace(ground, z=float(grid[i, ly.GZ]))
    seen = sight.view_place(replace(circuit, landmarks=(ground,)), "ground", ground.at_m - 5)
    assert seen > skyline.start_m - 30.0


def test_longwing_is_flat_only_with_more_downforce() -> None:
    from lapwright.demo import club_car

    def lifts(area: float) -> bool:
        car = club_car()._replace(down_area=area)
        session = make_session("coach", 1, 1, car=car)
        return any(c.corner == 9 and c.lap == 1 for c in session.truth.corners)

    assert lifts(1.75)
    assert not lifts(3.2)
