"""The hands against closed forms, and phases against plain manoeuvres; all data are invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from lapwright.driving.phases import find_phases
from lapwright.driving.steering import (
    BINS,
    count_reversals,
    find_alpha,
    find_hands,
    predict_errors,
    steering_entropy,
    summarise_hands,
)
from lapwright.model.car import Car, Limit


def test_a_quadratic_wheel_is_foreseen() -> None:
    # the prediction takes the value, its step and half of the step's change: for a straight
    # line it is exact; for ½ a t² it lacks half of the constant second difference
    t = np.arange(20.0)
    assert np.abs(predict_errors(3.0 + 0.2 * t)).max() < 1e-12
    assert predict_errors(0.5 * 0.4 * t**2) == pytest.approx(np.full(17, 0.2))


def test_entropy_of_normal_errors_is_the_closed_form() -> None:
    # nine bins cut at ½, 1, 2½ and 5 alpha, alpha = 1.645 sigma by its definition (90 % within)
    edges = np.array(BINS) * norm.ppf(0.95)
    share = np.diff(np.concatenate([[0.0], norm.cdf(edges), [1.0]]))
    closed = -np.sum(share[share > 0] * np.log(share[share > 0])) / np.log(9)
    errors = np.random.default_rng(1).standard_normal(200_000)
    alpha = find_alpha(errors)
    assert alpha == pytest.approx(norm.ppf(0.95), rel=0.01)
    assert steering_entropy(errors, alpha) == pytest.approx(closed, abs=0.003)


def test_an_unforeseeable_hand_has_more_entropy() -> None:
    errors = np.random.default_rng(2).standard_normal(500)
    alpha = find_alpha(errors)
    assert steering_entropy(3.0 * errors, alpha) > steering_entropy(errors, alpha) + 0.1
    assert steering_entropy(0.2 * errors, alpha) < steering_entropy(errors, alpha) - 0.1


def test_reversals_are_counted_by_their_gap() -> None:
    t = np.linspace(0.0, 1.0, 400)
    five = np.sin(2 * np.pi * 5 * t)  # five periods: ten turns of direction
    assert count_reversals(five, 0.5) == 10
    assert count_reversals(0.2 * five, 0.5) == 0
    assert count_reversals(t, 0.1) == 0


def test_a_planted_correction_is_counted(simulated: Any) -> None:
    # the demo jabs the wheel at one corner on every other lap (fault "correction", invented)
    from lapwright.demo import Fault, make_session

    faults = [Fault("correction", 11, lap, 10.0) for lap in (2, 4, 6)]
    session = make_session("coach", 6, 9, faults=faults, costs=False)
    found = simulated.analyse(session)
    road = found.driven.circuit
    corner = min(road.corners, key=lambda c: abs(c.apex_m - session.circuit.bends[10].apex_m)).id
    hands = {h.lap: h for h in find_hands(road, found.laps, found.passes) if h.corner == corner}
    jabbed = [hands[str(k)] for k in (2, 4, 6)]
    calm = [hands[str(k)] for k in (1, 3, 5)]
    assert np.mean([h.corrections for h in jabbed]) > np.mean([h.corrections for h in calm]) + 0.9
    assert min(h.total_rad for h in jabbed) > max(h.total_rad for h in calm)
    entropies = [[h.entropy for h in hs if h.entropy is not None] for hs in (jabbed, calm)]
    assert np.mean(entropies[0]) > np.mean(entropies[1])


def test_without_a_wheel_nothing_is_said(simulated: Any, session: Any) -> None:
    found = simulated.analyse(session, simulated.Sensors(without=("steering",)))
    road = found.driven.circuit
    hands = find_hands(road, found.laps, found.passes)
    assert hands == ()
    said = summarise_hands(road, hands)
    assert {s.why_null for s in said.values()} == {"no steering channel"}
    assert all(s.total_rad is None for s in said.values())


def test_total_steering_is_that_of_the_true_wheel(session: Any, found: Any) -> None:
    truth, road = session.truth, found.driven.circuit
    hands = {(h.corner, h.lap): h for h in find_hands(road, found.laps, found.passes)}
    for corner in road.corners[:3]:
        for lap in found.laps[:3]:
            track = lap.track
            s, at = np.unique(track.s, return_index=True)
            span = np.interp([corner.start_m, corner.end_m], s, track.time[at]) + lap.start_s
            inside = (truth.t >= span[0]) & (truth.t <= span[1])
            true = float(np.abs(np.diff(truth.steering[inside])).sum())
            assert hands[corner.id, lap.id].total_rad == pytest.approx(true, rel=0.12, abs=0.1)


def test_turning_is_shared_among_the_phases(session: Any, found: Any) -> None:
    road, truth = found.driven.circuit, session.truth
    phases = find_phases(road, found.laps, found.passes)
    assert {p.why_null for p in phases.values()} == {None}
    for own in phases.values():
        assert sum(own.turning) == pytest.approx(1.0)
        assert own.grip is None
        assert own.grip_why_null == "no car is known"
        assert own.laps == tuple(lap.id for lap in found.laps)
    # the truth's own shares in one braked corner, by true pedals and true turning of the path
    corner, lap = road.corners[0], found.laps[0]
    s, at = np.unique(lap.track.s, return_index=True)
    span = np.interp([corner.start_m, corner.end_m], s, lap.track.time[at]) + lap.start_s
    inside = (truth.t >= span[0]) & (truth.t <= span[1])
    turned = -np.gradient(truth.course[inside])
    braked = truth.brake[inside] > 0.025
    true = turned[braked].sum() / turned.sum()
    assert phases[corner.id].turning[0] == pytest.approx(true, abs=0.06)


def test_the_share_of_grip_falls_with_the_grip_there_is(found: Any) -> None:
    # twice the grip of a car without downforce: half the share in use, in every phase
    def use(factor: float) -> dict[str, Any]:
        limit = Limit(14.0 * factor, 0.0, 1.4 * factor)
        car = Car(limit, limit, limit, 2.0, 200.0, 0.0)
        return find_phases(found.driven.circuit, found.laps, found.passes, car)

    one, two = use(1.0), use(2.0)
    shares = [(a, b) for c in one for a, b in zip(one[c].grip, two[c].grip, strict=True) if a]
    assert len(shares) > 20
    assert all(b == pytest.approx(a / 2, rel=1e-6) for a, b in shares)


def test_without_a_brake_channel_there_are_no_phases(found: Any) -> None:
    bare = [
        replace(lap, traces={k: v for k, v in lap.traces.items() if k != "brake"})
        for lap in found.laps
    ]
    phases = find_phases(found.driven.circuit, bare, found.passes)
    assert {p.why_null for p in phases.values()} == {"no brake channel"}
