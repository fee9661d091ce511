"""Which cause elements are booked to; costs and signs are invented, the rules are METHOD's."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from lapwright.driving.booking import Booked, book_elements, find_alike, merge_alike
from lapwright.driving.redrive_signs import Signs


def book(costs: Mapping[str, float], **signs: float) -> dict[str, float]:
    found = book_elements(costs, Signs(**signs))  # type: ignore[arg-type]
    assert sum(b.cost_s for b in found) == pytest.approx(sum(costs.values()), abs=1e-12)
    return {b.cause: b.cost_s for b in found if abs(b.cost_s) > 1e-9}


CASES = [
    ("early_braking", {"place": 0.2, "release": 0.03, "level": 0.01}, {"place_m": -10}),
    ("soft_braking", {"level": 0.1, "place": 0.02}, {"place_m": -2}),
    ("coasting", {"approach": 0.1, "coast": 0.02, "level": 0.05}, {"coast_s": 0.6}),
    ("slow_minimum", {"release": 0.1, "place": 0.02, "pick_up": 0.01}, {"slow_picked": 0.9}),
    ("late_throttle", {"pick_up": 0.1, "release": 0.02}, {"pick_up_s": 0.5}),
    ("stepped_throttle", {"build": 0.1}, {"plateau_s": 0.5}),
    ("throttle_dip", {"build": 0.1}, {"plateau_s": 0.5, "fell": 0.4}),
    ("throttle_dip", {"dip": 0.1}, {"dips": 1}),
    ("correction", {"dip": 0.1}, {"dips": 1, "dip_unrest": 12.0}),
    ("line", {"dip": 0.1}, {"dips": 1, "dip_unrest": 3.0, "dip_apart_m": 1.1}),
    ("line", {"line": 0.2, "release": 0.05, "place": 0.03}, {"apart_m": 1.0}),
    ("gear", {"build": 0.06, "pick_up": 0.02}, {"gear": 1.0}),
    ("correction", {"build": 0.06, "release": 0.02}, {"unrest": 14.0}),
    (
        "slow_release",
        {"drag": 0.1, "release": 0.05, "pick_up": 0.02},
        {"drag_s": 0.6, "drag_level": 0.11, "pick_up_s": 0.5},
    ),
]


@pytest.mark.parametrize(("cause", "costs", "signs"), CASES)
def test_a_departure_takes_what_follows_from_it(
    cause: str, costs: dict[str, float], signs: dict[str, float]
) -> None:
    assert book(costs, **signs) == {cause: pytest.approx(sum(costs.values()))}


def test_who_brakes_late_pays_for_all_that_comes_of_it() -> None:
    costs = {"place": -0.1, "release": -0.2, "line": -0.05, "drag": 0.15, "pick_up": 0.4}
    assert book(costs, place_m=15, release_m=5) == {"late_braking": pytest.approx(0.2)}


def test_a_brake_let_go_of_too_soon_pays_for_the_wait() -> None:
    costs = {"release": -0.15, "pick_up": 0.3, "line": -0.04}
    assert book(costs, release_m=8, drag_s=-0.4) == {"fast_release": pytest.approx(0.11)}


def test_two_departures_are_two_rows() -> None:
    found = book({"place": 0.15, "dip": 0.1}, place_m=-8, dips=1)
    assert found == {"early_braking": pytest.approx(0.15), "throttle_dip": pytest.approx(0.1)}


def test_a_slow_corner_is_no_late_throttle_and_the_other_way_round() -> None:
    # the throttle comes late in both; what differs is when the lack of speed was there
    costs = {"release": 0.05, "pick_up": 0.05}
    assert set(book(costs, pick_up_s=0.5, slow_picked=0.55)) == {"slow_minimum"}
    assert set(book(costs, pick_up_s=0.5, slow_picked=0.1)) == {"late_throttle"}


def test_a_brake_dragged_on_is_no_slow_corner_and_the_other_way_round() -> None:
    costs = {"release": 0.1, "drag": 0.03}
    dragged = {"drag_s": 0.7, "drag_level": 0.11}
    assert set(book(costs, slow_before=0.05, **dragged)) == {"slow_release"}
    assert set(book(costs, slow_before=0.5, slow_picked=0.9, **dragged)) == {"slow_minimum"}


def test_without_pedals_causes_that_look_alike_are_one_row() -> None:
    groups = find_alike(("brake", "throttle"))
    assert sum(len(g) for g in groups) == len(frozenset().union(*groups))
    booked = (
        Booked("early_braking", 0.1, ("place",)),
        Booked("soft_braking", 0.02, ("level",)),
        Booked("late_throttle", 0.05, ("pick_up",)),
        Booked("line", 0.01, ("line",)),
    )
    found = {b.cause: b for b in merge_alike(booked, ("brake", "throttle"))}
    assert found["early_braking"].cost_s == pytest.approx(0.12)
    assert found["early_braking"].merged == ("coasting", "soft_braking")
    assert set(found["late_throttle"].merged) >= {"stepped_throttle", "throttle_dip"}
    assert found["line"].merged == ()
    assert merge_alike(booked, ()) == booked


def test_without_a_gear_a_late_throttle_may_be_the_gear() -> None:
    (one,) = merge_alike((Booked("late_throttle", 0.05, ("pick_up",)),), ("gear",))
    assert (one.cause, one.merged) == ("late_throttle", ("gear",))
