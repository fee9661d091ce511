"""What the guide says of sight, on invented findings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from lapwright.driving.corner_sight import CornerSight, Sight, find_sight
from lapwright.guide.compose import compose_view
from lapwright.guide.sentences import write_text
from lapwright.guide.unit_system import METRIC
from lapwright.publish.json import render_json


def written(view: dict[str, Any], texts: list[dict[str, Any]]) -> str:
    system = view["units"]["systems"]["metric"]
    return " ".join(write_text(text, system) for text in texts)


def seen(**changes: Any) -> CornerSight:
    one = CornerSight("2", False, 410.0, 150.0, 600.0, 40.0, (), 600.0)
    return replace(one, **changes)


def sight_of(one: CornerSight, **changes: Any) -> Sight:
    sight = Sight(np.full(1000, 80.0), {"2": one}, (), (), (0.0, 0.0, 1.08), False)
    return replace(sight, **changes)


def test_without_heights_nothing_is_said_and_the_reason_stands_beside_it(invented: Any):
    findings = invented.make_findings(heights=False)
    sight = find_sight(findings.circuit, findings.laps, findings.summaries)
    view = compose_view(replace(findings, sight=sight), METRIC)
    for corner in view["guide"]["corners"]:
        assert corner["sight"]["blind"] is None
        assert corner["sight"]["why_null"] == "no heights were given"
        assert view["words"]["corners"][corner["id"]]["sight"] == []
    assert view["pictures"]["sight"] is None
    assert view["words"]["sight"]["why_null"]


def test_with_heights_every_corner_has_its_sight(invented: Any):
    findings = invented.make_findings()
    sight = find_sight(findings.circuit, findings.laps, findings.summaries)
    view = compose_view(replace(findings, sight=sight), METRIC)
    assert [c["sight"]["blind"] for c in view["guide"]["corners"]] == [False] * 4
    picture = view["pictures"]["sight"]
    assert picture["ahead_m"].size == view["pictures"]["points"]
    assert (picture["ahead_m"] > 0).all()
    assert render_json(view["guide"])


def test_a_blind_corner_is_called_hidden_by_the_road_itself(invented: Any):
    blind = seen(blind=True, hidden_at=("brake_start_m",), apex_seen_over_m=42.0)
    view = compose_view(replace(invented.make_findings(), sight=sight_of(blind)), METRIC)
    said = written(view, view["words"]["corners"]["2"]["sight"])
    assert "The road itself hides the apex at the braking point" in said
    assert "42\xa0m before it" in said
    assert "corner 2." in written(view, view["words"]["sight"]["sentences"])
    never = replace(blind, apex_seen_over_m=None)
    view = compose_view(replace(invented.make_findings(), sight=sight_of(never)), METRIC)
    assert "stays hidden" in written(view, view["words"]["corners"]["2"]["sight"])


def test_a_corner_in_plain_view_needs_no_sentence(invented: Any):
    open_view = seen(apex_seen_over_m=500.0, exit_seen_over_m=500.0)
    view = compose_view(replace(invented.make_findings(), sight=sight_of(open_view)), METRIC)
    assert view["words"]["corners"]["2"]["sight"] == []


@pytest.mark.parametrize(("given", "said"), [(True, "the car's own"), (False, "usual car")])
def test_whose_eye_it_is_is_said(invented: Any, given: bool, said: str):
    sight = sight_of(seen(), eye_given=given)
    view = compose_view(replace(invented.make_findings(), sight=sight), METRIC)
    assert said in written(view, view["words"]["sight"]["sentences"])


def test_where_neither_place_is_known_it_is_not_called_open(invented: Any):
    findings = replace(invented.make_findings(), sight=sight_of(seen(blind=None)))
    view = compose_view(findings, METRIC)
    (corner,) = [c for c in view["guide"]["corners"] if c["id"] == "2"]
    assert corner["sight"]["blind"] is None
    assert corner["sight"]["why_null"]
