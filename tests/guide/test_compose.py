"""The guide holds every field, its sentences hold its own numbers, and names stay names."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from lapwright.driving.action_names import ACTIONS
from lapwright.driving.passes import ActionSummary
from lapwright.guide.action_words import WORDS
from lapwright.guide.compose import compose_guide, compose_view
from lapwright.guide.document import Text
from lapwright.guide.sentences import write_text
from lapwright.guide.unit_system import IMPERIAL, METRIC
from lapwright.publish.html import render_html
from lapwright.publish.json import render_json

HOSTILE = "</script><img src=x onerror=alert(1)>{0}&\u2028\"'"

# The fields that other programs read, as the interface fixes them.
TOP = (
    "schema made_by cautions session circuit recording laps car possible corners ledger habits "
    "order_of_work corner_laps"
)
CORNER = (
    "id name direction start_m apex_m end_m kind complex rank worth_s actions road_worth "
    "flat_margin load sight references room advice notes"
)
ACTION = "median spread n floor human_floor why_null"


def sentences(view: Any) -> Iterator[tuple[str | None, dict[str, Any]]]:
    """Yield every sentence of a view with the corner that it stands in."""
    words = view["words"]
    yield None, words["lede"]
    for fact in words["facts"]:
        yield None, fact["text"]
    for text in words["missing"]:
        yield None, text
    for corner, said in words["corners"].items():
        for text in (said["title"], said["why"], *said["instructions"]):
            yield corner, text
        if said["spread_note"]:
            yield corner, said["spread_note"]


def numbers(tree: Any) -> Iterator[float]:
    """Yield every number of a document."""
    if isinstance(tree, dict):
        for value in tree.values():
            yield from numbers(value)
    elif isinstance(tree, list):
        for value in tree:
            yield from numbers(value)
    elif isinstance(tree, int | float) and not isinstance(tree, bool):
        yield float(tree)


def test_every_field_of_the_schema_is_there(invented: Any):
    guide = compose_guide(invented.make_findings(), METRIC)
    assert set(TOP.split()) <= guide.keys()
    assert guide["schema"] == "lapwright.guide/1"
    assert {"program", "version", "inputs"} <= guide["made_by"].keys()
    assert {"drivers", "car", "date", "conditions", "laps_used"} <= guide["session"].keys()
    assert {"name", "length_m", "surveyed", "turns"} <= guide["circuit"].keys()
    assert {"rate_hz", "channels", "repairs"} <= guide["recording"].keys()
    for corner in guide["corners"]:
        assert set(CORNER.split()) <= corner.keys()
        assert list(corner["actions"]) == list(ACTIONS)
        for action in corner["actions"].values():
            assert set(ACTION.split()) <= action.keys()


def test_what_is_null_has_its_reason(invented: Any):
    guide = compose_guide(invented.make_findings(traces=("throttle",)), METRIC)
    assert guide["car"] is None
    assert guide["car_why_null"]
    assert guide["possible"]["why_null"]
    nulls = [a for c in guide["corners"] for a in c["actions"].values() if a["median"] is None]
    assert nulls
    assert all(action["why_null"] for action in nulls)


@pytest.mark.parametrize("laps", [1, 2, 11])
def test_every_number_in_a_sentence_is_a_number_of_the_guide(invented: Any, laps: int):
    view = compose_view(invented.make_findings(laps=laps), METRIC)
    guide = json.loads(render_json(view["guide"]))
    everywhere = np.array(list(numbers({k: v for k, v in guide.items() if k != "corner_laps"})))
    count = 0
    for corner, text in sentences(view):
        own = next((c for c in guide["corners"] if c["id"] == corner), None)
        known = everywhere if own is None else np.array([*numbers(own), *numbers(guide["session"]),
                                                         guide["human_timing_s"]])  # fmt: skip
        for value, *_ in text["v"]:
            assert np.min(np.abs(np.abs(known) - value)) < 1e-6, text
            count += 1
    assert count > 40


def test_templates_have_no_number_but_the_names_of_corners_and_laps(invented: Any):
    view = compose_view(invented.make_findings(), METRIC)
    for _, text in sentences(view):
        bare = re.sub(r"\{\d+\}|([Cc]orner|complex|lap|and) \d+|2031-05-04", "", text["t"])
        assert not re.search(r"\d", bare), text["t"]
        holes = {int(hole) for hole in re.findall(r"\{(\d+)\}", text["t"])}
        assert all(hole < len(text["v"]) for hole in holes), text["t"]


def test_a_place_over_the_line_is_told_from_the_apex(invented: Any):
    """Planted: the brake begins 62 m before an apex that lies 10 m after the line."""
    view = compose_view(invented.make_findings(), METRIC)
    corner = view["guide"]["corners"][0]
    brake = corner["actions"]["brake_start_m"]
    assert brake["median"] == pytest.approx(1948.0)
    assert brake["from_apex_m"] == pytest.approx(-62.0)
    # 4.8 m at 40 m/s is 120 ms; 10 ms at 40 m/s is 0.4 m.
    assert brake["spread_s"] == pytest.approx(0.120)
    assert corner["advice"][0].startswith(
        "Brakes 62\u00a0m before the apex (±\u00a04.8\u00a0m over 11 laps); "
        "that is ±\u00a0120\u00a0ms of timing, where ±\u00a010\u00a0ms would make "
        "±\u00a00.4\u00a0m."
    )


def test_a_complex_over_the_line_is_named_in_driving_order(invented: Any):
    view = compose_view(invented.make_findings(), METRIC)
    why = [view["words"]["corners"][c]["why"]["t"] for c in ("4", "1", "2")]
    assert (
        why[0]
        == "Part of the complex 4 and 1. Leads onto {0} of road before the next corner begins."
    )
    assert why[1].startswith("Part of the complex 4 and 1.")
    assert "complex" not in why[2]


def test_each_corner_has_three_to_five_sentences_and_none_orders(invented: Any):
    for traces in (("throttle", "brake", "steering", "gear"), ("throttle",), ()):
        view = compose_view(invented.make_findings(traces=traces), METRIC)
        for said in view["words"]["corners"].values():
            assert 3 <= len(said["instructions"]) <= 5
        assert not any(
            re.search(r"\b(should|must|needs? to|try|brake later|you)\b", text["t"])
            for _, text in sentences(view)
        )


def test_a_switch_of_units_changes_sentences_and_no_number(invented: Any):
    metric, imperial = (
        compose_view(invented.make_findings(), units) for units in (METRIC, IMPERIAL)
    )
    assert metric["words"] == imperial["words"]
    assert (metric["units"]["chosen"], imperial["units"]["chosen"]) == ("metric", "imperial")
    first, second = (view["guide"]["corners"][0]["advice"][2] for view in (metric, imperial))
    assert "km/h" in first
    assert "mph" in second
    # 24.3 m/s are 87.48 km/h and 54.36 mph (24.3 × 3600 / 1609.344).
    assert re.match(r"Slowest at 87\u00a0km/h", first)
    assert re.match(r"Slowest at 54\u00a0mph", second)


def test_missing_channels_are_named_and_nothing_is_said_of_them(invented: Any):
    findings = invented.make_findings(traces=(), surveyed=False, heights=False, rate_hz=5.0,
                                      missing=(Text("No brake in the log."),))  # fmt: skip
    view = compose_view(findings, METRIC)
    missing = " ".join(text["t"] for text in view["words"]["missing"])
    for word in ("No brake in the log.", "samples"):
        assert word in missing
    said = " ".join(t["t"] for corner, t in sentences(view) if corner)
    assert not re.search(r"[Tt]hrottle|[Bb]rakes|brake go|[Gg]ear", said)
    assert "the edge of the road seen in use" in said
    assert any("not surveyed" in text for text in view["guide"]["cautions"])


def test_a_spread_within_the_floor_is_called_alike(invented: Any):
    findings = invented.make_findings()
    corner = findings.summaries["2"]
    close = ActionSummary(498.0, 0.2, 9, 0.5, 0.4)
    actions = {**corner.actions, "brake_start_m": close}
    summaries = {**findings.summaries, "2": type(corner)("2", "braked", actions, 80.0)}
    view = compose_view(invented.make_findings(summaries=summaries), METRIC)
    said = view["guide"]["corners"][1]["advice"][0]
    assert said.startswith(
        "Brakes 62\u00a0m before the apex (alike over 9 of 11 laps within ±\u00a00.5\u00a0m, "
        "the least that this log can tell); ±\u00a010\u00a0ms of timing would make "
        "±\u00a00.4\u00a0m."
    )


def test_what_varies_most_is_held_against_the_larger_floor(invented: Any):
    findings = invented.make_findings()
    corner = findings.summaries["2"]
    quiet = {name: ActionSummary(a.median, 0.3, a.n, 0.4, a.human_floor)
             for name, a in corner.actions.items()}  # fmt: skip
    loud = {**quiet, "throttle_first_m": ActionSummary(566.0, 6.0, 11, 0.5, 0.3)}
    for actions, expected in ((quiet, "No moment of this corner"), (loud, "throttle pick-up")):
        summaries = {**findings.summaries, "2": type(corner)("2", "braked", actions, 80.0)}
        view = compose_view(invented.make_findings(summaries=summaries), METRIC)
        note = write_text(view["words"]["corners"]["2"]["spread_note"], METRIC.as_view())
        assert expected in note
    assert "±\u00a06.0\u00a0m over 11 laps" in note
    assert note.endswith("would leave ±\u00a00.5\u00a0m.")


def test_hostile_names_stay_text_and_fill_no_hole(invented: Any):
    view = compose_view(invented.make_findings(hostile=HOSTILE), METRIC)
    page = render_html(view).decode()
    assert "<img" not in page.split("<script>")[0].replace("&lt;img", "")
    assert render_json(view["guide"]).decode().count("onerror") > 5
    title = write_text(view["words"]["corners"]["1"]["title"], METRIC.as_view())
    lede = write_text(view["words"]["lede"], METRIC.as_view())
    for said in (title, lede):
        assert HOSTILE.replace("{0}", "{\u20600}") in said
    assert view["guide"]["circuit"]["name"].endswith(HOSTILE)


def test_findings_without_corners_or_names_still_make_a_page(invented: Any):
    findings = invented.make_findings(laps=1)
    bare = type(findings)(
        version="0", inputs=(), recordings=(), circuit=findings.circuit, laps=findings.laps,
        passes=(), summaries={}, chosen_lap=findings.chosen_lap,
    )  # fmt: skip
    view = compose_view(bare, METRIC)
    assert b"No lap that counts passed this corner" in render_html(view)
    guide = json.loads(render_json(view["guide"]))
    assert guide["recording"]["rate_hz"] is None
    assert guide["corners"][0]["kind"] is None


def test_every_action_has_words(invented: Any):
    words = compose_view(invented.make_findings(), METRIC)["words"]["actions"]
    assert list(words) == list(ACTIONS)
    assert WORDS.keys() == ACTIONS.keys()
    for name, said in words.items():
        assert said["is_place"] == (said["before"] is not None) == ACTIONS[name].is_place
        assert said["quantity"] in METRIC.quantities


@pytest.mark.parametrize(("laps", "repeats"), [(2, False), (3, True)])
def test_two_laps_do_not_say_how_anything_repeats(invented: Any, laps: int, repeats: bool):
    view = compose_view(invented.make_findings(laps=laps), METRIC)
    said = json.dumps(view["words"]["facts"]) + json.dumps(view["words"]["corners"])
    assert ("\\u00b1" in said) == repeats
    assert ("takes three laps" in view["words"]["lede"]["t"]) != repeats
