"""The sentences of a corner in the cases where the usual one would say too much."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from lapwright.driving.passes import ActionSummary
from lapwright.guide.compose import compose_guide
from lapwright.guide.figures import count_decimals, spread_seconds, width_figure
from lapwright.guide.unit_system import METRIC

Advise = Callable[..., str]
NONE = ActionSummary(None, None, 0, None, None, "does not happen in this corner")


@pytest.fixture
def advise(invented: Any) -> Advise:
    """Give the sentences of corner 2 with some of its actions changed."""

    def say(kind: str = "braked", **changed: ActionSummary) -> str:
        findings = invented.make_findings()
        usual = findings.summaries["2"]
        summary = replace(usual, kind=kind, actions={**usual.actions, **changed})
        summaries = {**findings.summaries, "2": summary}
        guide = compose_guide(invented.make_findings(summaries=summaries), METRIC)
        return " ".join(guide["corners"][1]["advice"])

    return say


def test_a_flat_corner_claims_no_more_than_its_kind(advise: Advise):
    said = advise("flat", brake_start_m=NONE, off_throttle_m=NONE, brake_end_m=NONE)
    assert "No braking and no lift for this corner on at least half of the laps." in said


def test_a_lift_is_said_where_nobody_brakes(advise: Advise):
    said = advise("lifted", brake_start_m=NONE)
    assert said.startswith("Leaves full throttle 75\u00a0m before the apex (±\u00a04.8\u00a0m over")


def test_a_release_within_a_sample_is_not_timed(advise: Advise):
    said = advise(brake_release_s=ActionSummary(0.04, 0.01, 11, 0.016, 0.014))
    assert "Lets the brake go faster than this log can time;" in said


def test_the_slowest_point_at_the_entry_is_called_so(advise: Advise):
    said = advise(minimum_speed_m=ActionSummary(501.0, 0.2, 11, 0.4, 0.4))
    assert "at the corner's entry;" in said


def test_full_throttle_that_never_comes_is_said(advise: Advise):
    said = advise(full_throttle_m=NONE, off_full_throttle_s=NONE)
    assert "full throttle is not reached before the next corner." in said


def test_a_path_beyond_the_edge_is_said_in_words(advise: Advise):
    said = advise(apex_inside_m=ActionSummary(-0.3, 0.1, 11, 0.02, None))
    assert "0.3\u00a0m beyond it on the inside at the apex" in said


def test_fewer_laps_are_counted(advise: Advise):
    said = advise(throttle_first_m=ActionSummary(566.0, 4.8, 7, 0.4, 0.4))
    assert "Throttle pick-up 6\u00a0m after the apex (±\u00a04.8\u00a0m over 7 of 11 laps)" in said


def test_a_single_lap_out_of_several_is_called_so(advise: Advise):
    said = advise(brake_start_m=ActionSummary(498.0, None, 1, 0.4, 0.4))
    assert said.startswith("Brakes 62\u00a0m before the apex (one of 11 laps).")
    assert "off the brake 8\u00a0m before the apex (±\u00a04.8\u00a0m)" in said


@pytest.mark.parametrize(
    ("spread", "floor", "quantity", "decimals"),
    [
        (4.8, 0.4, "distance", 0), (0.2, 0.1, "distance", 1), (0.02, 0.01, "distance", 1),
        (0.02, 0.01, "offset", 1), (None, 0.01, "distance", 0), (0.03, 0.01, "time", 2),
        (0.2, 0.01, "time", 1), (0.4, 0.06, "speed", 0), (0.05, 0.01, "speed", 1),
    ],
)  # fmt: skip
def test_a_figure_is_no_finer_than_spread_and_floor(spread, floor, quantity: str, decimals: int):
    """The last digit is worth at most about three times less than the spread (1.4 km/h: none)."""
    assert count_decimals(ActionSummary(62.0, spread, 9, floor, None), quantity) == decimals


@pytest.mark.parametrize(
    ("width", "quantity", "figure"),
    [(14.2, "distance", ("offset", 0)), (4.8, "distance", ("offset", 1)),
     (0.07, "time", ("time", 2)), (0.05, "offset", ("offset", 2)),
     (0.005, "speed", ("speed", 2)), (0.001, "speed", ("speed", 3))],
)  # fmt: skip
def test_a_spread_is_written_with_about_two_digits(width: float, quantity: str, figure: Any):
    assert width_figure(width, quantity) == (width, *figure)


def test_a_spread_in_time_is_the_way_at_the_speed_there():
    """Closed form: 4.8 m at 62 m/s are 77.4 ms; 10 ms at 62 m/s are 0.62 m."""
    action = ActionSummary(100.0, 4.8, 11, 0.3, 0.62)
    assert spread_seconds(action) == pytest.approx(4.8 / 62.0)
    assert spread_seconds(replace(action, human_floor=None)) is None
