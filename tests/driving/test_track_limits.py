"""Track limits on drawn cases whose answers follow from plain sums, left and right.

The three families of rules are published ones (quoted second-hand). The road is straight
enough, 5 m to each edge; the car is 1.8 m wide on wheels 0.2 m wide (track 1.6 m), so with
its middle at n the outer wheel covers n + 0.7 to n + 0.9 and the inner one n − 0.9 to n − 0.7.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lapwright.driving.track_limits import (
    Breach,
    Rule,
    choose_rule,
    find_breaches,
    find_track_limits,
    find_wheels,
)
from lapwright.errors import UsageError
from lapwright.model.car import Car, Limit
from lapwright.model.circuit import Circuit, Corner, RoadSpan
from lapwright.model.lap import Lap, Track

LENGTH, STEP = 200000.0, 10.0
CAR = Car(
    Limit(14.0), Limit(14.0), Limit(7.0), 2.0, 200.0, 1e-3,
    width_m=1.8, wheelbase_m=2.6, track_m=1.6,
)  # fmt: skip


def draw_road(kerb_m: float = 0.0, side: int = 1, gap_m: float = 0.0) -> Circuit:
    """A ring of 32 km radius, so straight, with a kerb from 150 to 450 m on one side."""
    s = np.arange(0.0, LENGTH, STEP)
    angle, flat = 2 * np.pi * s / LENGTH, np.zeros(s.size)
    radius = LENGTH / (2 * np.pi)
    ends = sorted((side * (5.0 + gap_m), side * (5.0 + gap_m + kerb_m)))
    kerb = RoadSpan("kerb", "kerb", 150.0, 450.0, ends[1], ends[0])
    return Circuit(
        "drawn", LENGTH, s, radius * np.sin(angle), radius * (1 - np.cos(angle)), flat, angle,
        flat + 1 / radius, flat, flat, flat, flat + 5.0, flat + 5.0, "anticlockwise", True, False,
        corners=(Corner("1", "", "left", 100.0, 300.0, 500.0),), spans=(kerb,) if kerb_m else (),
    )  # fmt: skip


def draw_track(peak: float, side: int = 1, heading: float = 0.0, sd: float = 0.0) -> Track:
    """Run along the middle, out to ``peak`` between 200 and 400 m, and back."""
    s = np.arange(0.0, 600.0, 1.0)
    n = side * np.interp(s, [0, 180, 200, 400, 420, 600], [0, 0, peak, peak, 0, 0])
    flat = np.zeros(s.size)
    turned = np.where((s > 200) & (s < 400), side * heading, 0.0)
    return Track(s / 50.0, s, n, turned, flat + 50.0, flat, flat, flat, flat + sd, flat, flat, flat)


def drawn(
    peak: float, rule: Rule, kerb_m: float, side: int, heading: float = 0.0
) -> tuple[Breach, ...]:
    return find_breaches(draw_road(kerb_m, side), draw_track(peak, side, heading), CAR, rule)


CASES = [
    # middle at, kerb m, how far past the bound under: whole-car, whole-wheel, any-contact
    (4.0, 0.0, None, None, None),
    (4.2, 0.0, None, None, 0.1),
    (4.4, 0.0, None, 0.1, 0.3),
    (5.8, 0.0, None, 1.5, 1.7),
    (6.0, 0.0, 0.1, 1.7, 1.9),
    (4.4, 1.0, None, None, None),
    (5.2, 1.0, None, None, 0.1),
    (5.4, 1.0, None, 0.1, 0.3),
    (5.8, 1.0, None, 0.5, 0.7),
    (6.0, 1.0, 0.1, 0.7, 0.9),
]
NAMES: tuple[Rule, ...] = ("whole-car", "whole-wheel", "any-contact")


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(
    ("peak", "kerb_m", "rule", "past"),
    [(c[0], c[1], rule, c[2 + k]) for c in CASES for k, rule in enumerate(NAMES)],
)
def test_drawn_cases(peak: float, kerb_m: float, rule: Rule, past: float | None, side: int):
    found = drawn(peak, rule, kerb_m, side)
    if past is None:
        assert found == ()
        return
    (breach,) = found
    assert breach.side == ("left" if side > 0 else "right")
    assert breach.by_m == pytest.approx(past, abs=0.01)
    assert 180.0 < breach.start_m <= 200.0
    assert 400.0 <= breach.end_m < 420.0
    assert breach.duration_s == pytest.approx(4.0, abs=0.8)
    assert breach.corner == "1"
    assert breach.sure


@pytest.mark.parametrize("side", [1, -1])
def test_a_car_at_an_angle_puts_its_front_wheels_out_first(side: int):
    """By hand: the outer front wheel's middle lies 1.3 sin + 0.8 cos of the angle further out."""
    (breach,) = drawn(4.0, "any-contact", 0.0, side, heading=0.2)
    out = 4.0 + 1.3 * np.sin(0.2) + 0.8 * np.cos(0.2) + 0.1 - 5.0
    assert breach.by_m == pytest.approx(out, abs=0.01)
    assert drawn(4.0, "any-contact", 0.0, side, heading=0.0) == ()


def test_a_kerb_apart_from_the_edge_is_no_bound():
    for gap, found in ((0.1, 0), (1.0, 1)):
        circuit = draw_road(1.0, 1, gap)
        assert len(find_breaches(circuit, draw_track(4.6), CAR, "whole-wheel")) == found


def test_a_kerb_on_the_other_side_is_no_bound():
    circuit = draw_road(1.0, -1)
    assert len(find_breaches(circuit, draw_track(4.6, 1), CAR, "whole-wheel")) == 1


def test_a_breach_within_the_noise_of_the_line_is_not_sure():
    for sd, sure in ((0.02, True), (0.3, False)):
        (breach,) = find_breaches(draw_road(), draw_track(4.2, sd=sd), CAR, "any-contact")
        assert breach.sure is sure
        assert breach.sd_m == sd


def test_the_line_logged_elsewhere_on_the_car_is_moved_to_its_wheels():
    """The antenna 0.5 m left of the middle: the wheels then lie 0.5 m further right."""
    offset = replace(CAR, logged_point_m=(0.0, 0.5, 1.0))
    circuit, track = draw_road(), draw_track(4.4)
    assert np.allclose(
        find_wheels(circuit, track, offset).n, find_wheels(circuit, track, CAR).n - 0.5, atol=1e-3
    )


def test_wheels_on_a_bend_run_outside_and_inside_the_middle():
    """On a circle of 50 m the wheels of a 2.6 m wheelbase run at hypot(50 ∓ 0.8, 1.3)."""
    s = np.arange(0.0, 50 * 2 * np.pi, 0.5)
    flat, angle = np.zeros(s.size), s / 50.0
    circuit = Circuit(
        "bend", 50 * 2 * np.pi, s * (50 * 2 * np.pi) / (s.size * 0.5), 50 * np.sin(angle),
        50 * (1 - np.cos(angle)), flat, angle, flat + 0.02, flat, flat, flat, flat + 5, flat + 5,
        "anticlockwise", True, False,
    )  # fmt: skip
    track = Track(flat, s, flat, flat, flat + 15, flat, flat, flat + 0.02, flat, flat, flat, flat)
    wheels = find_wheels(circuit, track, CAR)
    for k, aside in enumerate((0.8, -0.8, 0.8, -0.8)):
        assert wheels.n[10, k] == pytest.approx(50 - np.hypot(50 - aside, 1.3), abs=0.002)


def lap_of(track: Track | None) -> Lap:
    return Lap("1", "f", "", 1, "timed", 0.0, 12.0, 12.0, 0.01, True, track=track)


def test_what_is_missing_is_said_and_nothing_else():
    track, circuit = draw_track(6.0), draw_road()
    cases = [
        (circuit, track, replace(CAR, track_m=0.0)),
        (circuit, track, None),
        (replace(circuit, surveyed=False), track, CAR),
        (circuit, None, CAR),
        (circuit, replace(track, n_sd=track.n_sd + 3.0), CAR),
    ]
    for road, driven, car in cases:
        limits = find_track_limits(road, [lap_of(driven)], car)["1"]
        assert limits.breaches is None
        assert limits.why_null
    limits = find_track_limits(circuit, [lap_of(track)], CAR)["1"]
    assert limits.breaches is not None
    assert len(limits.breaches) == 1
    assert not limits.why_null


def test_rules_have_names():
    assert [choose_rule(name) for name in NAMES] == list(NAMES)
    with pytest.raises(UsageError):
        choose_rule("all four")
