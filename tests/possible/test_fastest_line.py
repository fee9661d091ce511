"""The fastest line against known optima, itself at other meshes, and finite differences."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from lapwright.errors import InputError, NoAnswerError, UsageError
from lapwright.model.car import Car, Limit
from lapwright.model.circuit import Circuit
from lapwright.numerics.solve import Limits
from lapwright.possible.fastest_line import FastestLine, build_line_path, solve_fastest_line
from lapwright.possible.line_setup import Stretch, build_mesh
from lapwright.possible.min_curvature import solve_min_curvature
from lapwright.possible.path import build_path
from lapwright.possible.speed_profile import solve_speed_profile
from lapwright.possible.worth import (
    Zone,
    move_edge,
    price_car,
    price_road,
    price_unused,
    within,
)

RoadMaker = Callable[..., Circuit]


@pytest.fixture(scope="module")
def oval_line(oval: Circuit, oval_car: Car) -> FastestLine:
    return solve_fastest_line(oval, oval_car, mesh_m=3.0)


@pytest.fixture(scope="module")
def hills(make_road: RoadMaker) -> Circuit:
    """An invented road with banking and a wave of height."""
    quarter = np.pi / 2
    return make_road(
        [(120, 0), (quarter * 60, 60), (80, 0), (quarter * 45, 45), (160, 0), (quarter * 60, 60),
         (80, 0), (quarter * 45, 45), (40, 0)],
        bank=0.06, rise=6.0, name="hills",
    )  # fmt: skip


def test_oval_takes_the_published_time(oval_line: FastestLine) -> None:
    # free line of a point mass on the example's oval: 19.600 s, computed
    assert oval_line.time_s == pytest.approx(19.600, rel=3e-3)
    report = oval_line.report
    assert report.solver.converged
    assert report.kkt < 1e-5
    assert report.finer_time_s == pytest.approx(oval_line.time_s, rel=1e-3)
    assert report.replay_time_s == pytest.approx(oval_line.time_s, rel=5e-4)
    assert report.replay_offset_m is not None
    assert report.replay_offset_m < 0.2


def test_minimum_curvature_is_slower(oval: Circuit, oval_car: Car, oval_line: FastestLine) -> None:
    # 20.390 s computed elsewhere; 3 to 5 % slower than the free line
    mesh = build_mesh(oval, oval_car, 2.0, 0.0, None)
    path = build_path(oval, mesh.s, solve_min_curvature(mesh))
    time = solve_speed_profile(path, oval_car).time_s
    assert 1.03 < time / oval_line.time_s < 1.05
    assert time == pytest.approx(20.390, rel=5e-3)


def test_centreline_takes_the_known_time(oval: Circuit, oval_car: Car) -> None:
    # 23.05 s, computed elsewhere on a coarser mesh; the steps of curvature cost 0.8 % more
    # on a fine one (23.01 s at 5 m, 23.15 at 2.5 m, 23.24 at 1 m)
    path = build_path(oval, oval.s, np.zeros(oval.s.size))
    assert solve_speed_profile(path, oval_car).time_s == pytest.approx(23.05, rel=1e-2)


def test_line_keeps_the_envelope_and_the_edges(oval_line: FastestLine, oval_car: Car) -> None:
    assert oval_line.use.max() <= 1.001
    assert (oval_line.drive * oval_line.v).max() <= oval_car.power_per_mass * 1.001
    assert np.abs(oval_line.n).max() <= 4.0 + 1e-6


def test_speed_profile_on_the_line_gives_its_time(
    oval: Circuit, oval_car: Car, oval_line: FastestLine
) -> None:
    # another formulation (forward and backward pass) on the same curve
    time = solve_speed_profile(build_line_path(oval, oval_line), oval_car).time_s
    assert time == pytest.approx(oval_line.time_s, rel=1e-3)


@pytest.mark.parametrize("exponent", [1.0, 1.3, 2.0])
def test_homogeneity(oval: Circuit, exponent: float) -> None:
    # acceleration limits only: all limits × c gives T c^(−1/2), and Σ p ∂T/∂p = −T/2
    bare = Car(Limit(15.0), Limit(12.0), Limit(6.0), exponent, float("inf"), 0.0)
    line = solve_fastest_line(oval, bare, mesh_m=5.0, check=False)
    more = Car(Limit(18.0), Limit(14.4), Limit(7.2), exponent, float("inf"), 0.0)
    again = solve_fastest_line(oval, more, mesh_m=5.0, check=False)
    assert again.time_s == pytest.approx(line.time_s / np.sqrt(1.2), rel=1e-3)
    assert line.factors["grip"] == pytest.approx(-line.time_s / 2, rel=1e-3)
    assert line.factors["power"] == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("where", ["oval", "hills"])
def test_factors_agree_with_differences(
    where: str, request: pytest.FixtureRequest, oval_car: Car, club_car: Car
) -> None:
    road = request.getfixturevalue(where)
    car = oval_car if where == "oval" else club_car
    line = solve_fastest_line(road, car, mesh_m=4.0, check=False)
    for name, slope in line.factors.items():
        both = [
            solve_fastest_line(
                road, car.scaled(**{name: 1 + d}), mesh_m=line.step_m, check=False, near=line
            ).time_s
            for d in (-0.004, 0.004)
        ]
        assert slope == pytest.approx((both[1] - both[0]) / 0.008, rel=0.02), name


def test_width_agrees_with_differences(oval: Circuit, oval_car: Car) -> None:
    line = solve_fastest_line(oval, oval_car, mesh_m=3.0, check=False)
    d = 0.02
    times = [
        solve_fastest_line(
            replace(oval, left=oval.left + x, right=oval.right + x), oval_car, mesh_m=line.step_m,
            check=False, near=line,
        ).time_s
        for x in (-d, d)
    ]  # fmt: skip
    worth = float((line.left_worth + line.right_worth).sum() * line.step_m)
    assert -worth == pytest.approx((times[1] - times[0]) / (2 * d), rel=0.02)


def test_one_zone_agrees_with_a_new_solve(oval: Circuit, oval_car: Car) -> None:
    # the inner edge of the first corner moved in by a little: the multipliers' sum; by
    # 1 m: a new solve, more than the first-order price times one metre
    line = solve_fastest_line(oval, oval_car, mesh_m=3.0, check=False)
    zone = Zone("1", "apex", "left", 160.0, 215.0)
    price = price_road(oval, line, [zone])[0].s_per_m
    inside = within(oval.s, zone.start_m - 1, zone.end_m + 1, oval.length_m)

    def cost(moved: float) -> float:
        narrow = replace(oval, left=oval.left - moved * inside)
        again = solve_fastest_line(narrow, oval_car, mesh_m=line.step_m, check=False, near=line)
        return again.time_s - line.time_s

    assert (cost(0.02) - cost(-0.02)) / 0.04 == pytest.approx(price, rel=0.02)
    driven = np.full(oval.s.size, 3.0)
    narrow, unused = move_edge(oval, zone, driven, 0.0)
    assert unused == pytest.approx(1.0)
    worth = price_unused(oval, oval_car, line, [zone], driven)[0]
    fresh = solve_fastest_line(narrow, oval_car, mesh_m=line.step_m, check=False)
    assert worth.unused_worth_s == pytest.approx(fresh.time_s - line.time_s, abs=2e-4)
    assert worth.unused_worth_s == pytest.approx(cost(1.0), rel=0.1)


def test_unused_road_of_the_fastest_line_is_worth_nothing(
    oval: Circuit, oval_car: Car, oval_line: FastestLine
) -> None:
    driven = np.interp(oval.s, oval_line.s, oval_line.n, period=oval.length_m)
    zone = Zone("1", "entry", "right", 60.0, 150.0)
    worth = price_unused(oval, oval_car, oval_line, [zone], driven)[0]
    assert worth.unused_worth_s is not None
    assert 0 <= worth.unused_worth_s < 3e-3


def test_one_per_cent_on_both_sides(oval: Circuit, oval_car: Car, oval_line: FastestLine) -> None:
    # −0.41/+0.43 s for grip on the free line is for ±3 % (computed elsewhere); per 1 % the
    # two sides bracket the multiplier
    prices = price_car(oval, oval_car, oval_line)
    for name, (less, more) in prices.items():
        slope = 0.01 * oval_line.factors[name]
        assert less * more < 0, name
        assert more == pytest.approx(slope, rel=0.05), name
        assert less == pytest.approx(-slope, rel=0.05), name


def test_prices_on_a_coarser_mesh(oval: Circuit, oval_car: Car, oval_line: FastestLine) -> None:
    coarse = solve_fastest_line(oval, oval_car, mesh_m=6.0, near=oval_line, check=False)
    assert coarse.report.tries == ("an answer on another mesh",)
    fine, rough = (price_car(oval, oval_car, line) for line in (oval_line, coarse))
    for name, both in fine.items():
        assert rough[name] == pytest.approx(both, rel=0.02), name


def test_a_frozen_line_loses_more_and_gains_less(
    oval: Circuit, oval_car: Car, oval_line: FastestLine
) -> None:
    # computed elsewhere on another road: −0.38/+0.51 s frozen, −0.41/+0.43 s free; an optimum
    # over fewer choices can only be slower
    path = build_line_path(oval, oval_line)
    now, more, less = (
        solve_speed_profile(path, oval_car.scaled(grip=f)).time_s for f in (1.0, 1.01, 0.99)
    )
    free_less, free_more = price_car(oval, oval_car, oval_line)["grip"]
    assert free_more < more - now < 0 < free_less < less - now
    assert less - now > 1.05 * (now - more)


def test_stretch_joins_the_lap(oval: Circuit, oval_car: Car, oval_line: FastestLine) -> None:
    # Bellman: the piece of an optimum is the optimum of the piece
    a, b = 20, 180
    ends = [(oval_line.v[i], oval_line.n[i], oval_line.angle[i]) for i in (a, b)]
    stretch = Stretch(
        float(oval_line.s[a]), float(oval_line.s[b]), entry_mps=ends[0][0], exit_mps=ends[1][0],
        entry_n_m=ends[0][1], exit_n_m=ends[1][1], entry_angle=ends[0][2], exit_angle=ends[1][2],
    )  # fmt: skip
    piece = solve_fastest_line(
        oval, oval_car, mesh_m=oval_line.step_m, stretch=stretch, check=False
    )
    assert piece.time_s == pytest.approx(oval_line.t[b] - oval_line.t[a], rel=1e-3)
    # an optimum is flat: a fifth of a metre on a straight costs nothing
    assert np.abs(piece.n - oval_line.n[a : b + 1]).max() < 0.3


def test_free_exit_is_faster_than_a_slow_one(oval: Circuit, oval_car: Car) -> None:
    free, slow = (
        solve_fastest_line(
            oval, oval_car, mesh_m=4.0, stretch=Stretch(60, 400, 50.0, leave), check=True
        )
        for leave in (None, 25.0)
    )
    assert free.time_s < slow.time_s
    assert slow.v[-1] <= 25.0 + 1e-6


def test_hills_are_accepted_and_meshes_agree(hills: Circuit, club_car: Car) -> None:
    coarse, fine = (solve_fastest_line(hills, club_car, mesh_m=h) for h in (5.0, 3.0))
    assert coarse.time_s == pytest.approx(fine.time_s, rel=2e-3)
    assert fine.report.replay_time_s == pytest.approx(fine.time_s, rel=5e-4)


def test_retries_lead_on(oval: Circuit, oval_car: Car, monkeypatch: pytest.MonkeyPatch) -> None:
    import lapwright.possible.fastest_line as module

    real = module.solve_programme
    calls = []

    def fails_at_first(solver: object, start: dict[str, np.ndarray]) -> object:
        answer = real(solver, start)
        calls.append(1)
        if len(calls) == 1:
            return replace(answer, report=replace(answer.report, converged=False))
        return answer

    monkeypatch.setattr(module, "solve_programme", fails_at_first)
    line = solve_fastest_line(oval, oval_car, mesh_m=5.0, check=False)
    assert line.report.tries == ("the middle of the road", "the minimum-curvature line")
    assert line.time_s == pytest.approx(19.6, rel=5e-3)


def test_limits_lead_to_no_number(oval: Circuit, oval_car: Car) -> None:
    with pytest.raises(NoAnswerError, match="did not converge from the middle of the road"):
        solve_fastest_line(oval, oval_car, mesh_m=5.0, limits=Limits(iterations=3))


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda c: replace(c, left=c.left * 0.1, right=c.right * 0.1), "0.80 m wide"),
        (lambda c: replace(c, curvature=c.curvature * np.nan), "curvature holds values"),
        (lambda c: replace(c, left=c.left * 20), "folds over"),
        (
            lambda c: replace(
                c, **{k: getattr(c, k)[:2] for k in ("s", "curvature", "left", "right")}
            ),
            "2 samples",
        ),
    ],
)
def test_bad_roads_are_refused_by_name(
    change: Callable[[Circuit], Circuit], word: str, oval: Circuit, oval_car: Car
) -> None:
    with pytest.raises(InputError, match=word):
        solve_fastest_line(change(oval), replace(oval_car, width_m=1.9))


def test_bad_cars_and_meshes_are_refused_by_name(oval: Circuit, oval_car: Car) -> None:
    with pytest.raises(InputError, match="lateral"):
        solve_fastest_line(oval, replace(oval_car, lateral=Limit(0.0)))
    with pytest.raises(UsageError, match="mesh_m"):
        solve_fastest_line(oval, oval_car, mesh_m=0.0)
    with pytest.raises(InputError, match="outside the road"):
        solve_fastest_line(oval, oval_car, stretch=Stretch(0, 300, entry_n_m=9.0))
