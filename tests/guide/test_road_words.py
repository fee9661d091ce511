"""What the guide says of road use, kerbs and track limits, on invented findings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from lapwright.driving.kerb_use import KerbEffect, SpanUse
from lapwright.driving.passes import ActionSummary, CornerSummary
from lapwright.driving.road_use import Worth, find_road_use
from lapwright.driving.track_limits import Breach, TrackLimits
from lapwright.guide.compose import compose_view
from lapwright.guide.sentences import write_text
from lapwright.guide.unit_system import METRIC
from lapwright.publish.json import render_json

LAPS = tuple(str(k) for k in range(1, 9))
EFFECT = KerbEffect("kerb", "1", "corner_time_s", "helps", LAPS, 0.1, 0.9, 1.2, worth=0.08)


def said(view: dict[str, Any], corner: str) -> str:
    system = view["units"]["systems"]["metric"]
    return " ".join(write_text(t, system) for t in view["words"]["corners"][corner]["road"])


def use(lap: str, depth: float) -> SpanUse:
    return SpanUse("kerb", "1", lap, ("front left", "rear left"), depth, 12.0, 0.4)


def view_of(invented: Any, **changes: Any) -> dict[str, Any]:
    return compose_view(replace(invented.make_findings(), **changes), METRIC)


def test_breaches_name_their_laps_and_the_rule(invented: Any):
    breach = Breach("left", 30.0, 55.0, 0.6, 0.4, 0.02, True, "1")
    limits = {
        "3": TrackLimits("any-contact", (breach,)),
        "5": TrackLimits("any-contact", (replace(breach, by_m=0.1, sd_m=0.2, sure=False),)),
        "6": TrackLimits("any-contact", ()),
    }
    view = view_of(invented, track_limits=limits)
    text = said(view, "1")
    assert "laps 3 and 5" in text
    assert "0.4\xa0m" in text
    assert "contact patch" in text
    assert "known to on lap 5" in text
    rows = {lap["id"]: lap for lap in view["guide"]["laps"]}
    assert rows["3"]["track_limits"]["rule"] == "any-contact"
    assert len(rows["3"]["track_limits"]["breaches"]) == 1
    assert rows["6"]["track_limits"]["breaches"] == []
    assert rows["4"]["track_limits"] is None
    assert rows["4"]["track_limits_why_null"]
    assert render_json(view["guide"])


def test_limits_that_could_not_be_worked_out_say_why(invented: Any):
    limits = {"3": TrackLimits("whole-car", None, "the edges were not surveyed")}
    view = view_of(invented, track_limits=limits)
    (lap,) = [row for row in view["guide"]["laps"] if row["id"] == "3"]
    assert lap["track_limits"] is None
    assert lap["track_limits_why_null"] == "the edges were not surveyed"


@pytest.mark.parametrize(
    ("effect", "part"),
    [
        (EFFECT, "The more of it, up to 0.9\xa0m, the quicker the corner's time"),
        (replace(EFFECT, verdict="costs"), "the slower the corner's time"),
        (
            replace(EFFECT, verdict="best at", best_m=0.6, best_low_m=0.5, best_high_m=0.7),
            "best with 0.6\xa0m of it (0.5\xa0m to 0.7\xa0m)",
        ),
        (replace(EFFECT, verdict="no effect shown"), "shows no effect"),
        (replace(EFFECT, verdict="not enough laps"), "Not enough laps"),
    ],
)
def test_every_verdict_on_a_kerb_is_worded(invented: Any, effect: KerbEffect, part: str):
    uses = tuple(use(lap, 0.1 * int(lap)) for lap in LAPS)
    view = view_of(invented, span_uses=uses, kerb_effects=(effect,))
    text = said(view, "1")
    assert part in text
    assert "on 8 of 8 laps, at most 0.8\xa0m deep (lap 8)" in text
    if effect.verdict in ("helps", "costs", "best at"):
        assert "no proof of cause" in text
        assert "8 laps" in text


def test_a_kerb_nobody_touched_needs_no_words(invented: Any):
    idle = tuple(SpanUse("kerb", "1", lap, (), 0.0, 0.0, 0.0) for lap in LAPS)
    assert said(view_of(invented, span_uses=idle), "1") == ""


def summary_of(**edges: float) -> CornerSummary:
    actions = {name: ActionSummary(value, 0.1, 9, 0.05, None) for name, value in edges.items()}
    return CornerSummary("1", "braked", actions, 100.0)


def test_road_is_left_where_it_is_worth_nothing_and_used_where_there_is_none():
    summary = summary_of(entry_edge_m=2.9, apex_inside_m=1.0, exit_edge_m=2.4)
    worths = {"entry": Worth(0.001), "apex": Worth(0.05), "exit": Worth(0.02, 0.04)}
    found = {u.part: u for u in find_road_use(summary, 1.8, worths)}  # type: ignore[arg-type]
    assert {part: one.verdict for part, one in found.items()} == {
        "entry": "leave it",
        "apex": "used",
        "exit": "worth using",
    }
    assert found["entry"].left_m == pytest.approx(2.0)
    assert found["entry"].worth_s == pytest.approx(0.002)
    assert found["exit"].worth_s == 0.04


def test_without_a_price_no_verdict_is_given():
    found = find_road_use(summary_of(exit_edge_m=2.4), 0.0, {})
    assert [(u.part, u.left_m, u.worth_s, u.verdict) for u in found] == [("exit", 2.4, None, None)]


def test_distances_to_edges_that_were_not_surveyed_are_not_road_use(invented: Any):
    view = compose_view(invented.make_findings(surveyed=False), METRIC)
    for corner in view["guide"]["corners"]:
        assert corner["road_use"]["exit"] is None
        assert corner["road_use"]["why_null"]
