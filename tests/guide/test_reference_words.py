"""References in sentences: named by what is seen, with their laps, never as a cause. Invented."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from lapwright.driving.gears import CornerGears, GearCompared
from lapwright.driving.phases import CornerPhases
from lapwright.driving.place_names import PlaceName
from lapwright.driving.references import ActionReferences, Repeat, TimeRelation
from lapwright.driving.steering import HandsSummary
from lapwright.guide.compose import compose_view
from lapwright.guide.document import Findings
from lapwright.guide.hands_words import say_corner_hands
from lapwright.guide.instructions import say_instructions
from lapwright.guide.reference_names import name_reference
from lapwright.guide.reference_words import (
    compose_reference_marks,
    compose_reference_tables,
    say_corner_references,
)
from lapwright.guide.sentences import write_text
from lapwright.guide.told import tell_corner
from lapwright.guide.unit_system import METRIC
from lapwright.publish.json import render_json

LAPS = tuple(str(k) for k in range(1, 12))
KERB = PlaceName("kerb_start", "the start of the inner kerb", -9.0)


def repeat(kind: str, what: str, scatter_m: float, **changes: Any) -> Repeat:
    one = Repeat(
        kind, what, (), None, None, 0.0, scatter_m, scatter_m / 50.0, 0.5, False  # type: ignore[arg-type]
    )  # fmt: skip
    return replace(one, **changes)


STRAIGHT = repeat("state", "straight_steering", 3.0, as_good=True, value=0.06)
PLACE = repeat("place", "place", 9.0, place=KERB)


def found(*repeats: Repeat, **changes: Any) -> ActionReferences:
    one = ActionReferences("2", "brake_start_m", LAPS, 498.0, repeats, True, 0.003)
    return replace(one, **changes)


def with_references(findings: Findings, *own: ActionReferences) -> Findings:
    return replace(findings, references={"2": own})


def written(texts: list[Any]) -> list[str]:
    system = METRIC.as_view()
    return [write_text(t.as_view(), system).replace("\u00a0", " ") for t in texts]


@pytest.fixture
def base(invented: Any) -> Findings:
    return invented.make_findings()  # type: ignore[no-any-return]


def test_a_reference_is_held_against_others(base: Findings) -> None:
    said = with_references(base, found(STRAIGHT, PLACE))
    text = written(say_corner_references(said, base.circuit.corners[1]))
    assert text == [
        "Brake start repeats with straight steering ± 3.0 m (60 ms of timing, 11 laps); "
        "with the place 9 m before the start of the inner kerb ± 9.0 m."
    ]


def test_what_lies_close_cannot_be_told_apart(base: Findings) -> None:
    near = replace(PLACE, scatter_m=3.4, as_good=True)
    said = with_references(base, found(STRAIGHT, near, settled=False))
    text = written(say_corner_references(said, base.circuit.corners[1]))[0]
    assert "these laps cannot tell it apart from the place 9 m before" in text
    assert compose_reference_marks(said) == []


def test_instructions_name_only_what_is_settled(base: Findings) -> None:
    corner = base.circuit.corners[1]
    settled = with_references(base, found(STRAIGHT, PLACE))
    open_ = with_references(base, found(STRAIGHT, PLACE, settled=False))
    first = written(say_instructions(tell_corner(settled, corner)))[0]
    assert "repeating with straight steering" in first
    assert "repeating" not in written(say_instructions(tell_corner(open_, corner)))[0]
    assert "repeating" not in written(say_instructions(tell_corner(base, corner)))[0]


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (repeat("state", "speed", 1.0, value=50.0), "reaching 180 km/h"),
        (repeat("state", "gear", 1.0, value=3.0, delay_s=0.42), "0.4 s after changing to gear 3"),
        (repeat("alignment", "alignment", 1.0, names=("post", "tower")), "post in line with tower"),
        (
            repeat("view", "view", 1.0, names=("barn",), delay_s=0.9),
            "0.9 s after barn coming into view",
        ),
        (
            repeat("state", "straight_steering", 1.0, value=0.2),
            "the wheel nearly straight",
        ),
        (repeat("place", "place", 1.0, place=PlaceName("apex", "", -62.0)),
         "the place 62 m before the apex"),
        (repeat("place", "place", 1.0, place=PlaceName("landmark", "hut {0}", 6.0)),
         "the place 6 m past hut {0}"),
    ],
)  # fmt: skip
def test_references_are_named_by_what_is_seen_or_felt(one: Repeat, said: str) -> None:
    assert written([name_reference(one)])[0].replace("\u2060", "") == said


def test_guide_json_has_the_fields(base: Findings) -> None:
    relation = TimeRelation(0.01, 0.004, 0.016)
    said = with_references(base, found(STRAIGHT, PLACE, against_time=relation))
    view = compose_view(said, METRIC)
    corners = {c["id"]: c for c in view["guide"]["corners"]}
    rows = corners["2"]["references"]
    assert corners["2"]["references_why_empty"] is None
    assert {"action", "reference", "kind", "scatter_m", "scatter_s", "laps", "score"} <= set(
        rows[0]
    )
    assert (rows[0]["kind"], rows[0]["laps"], rows[0]["scatter_m"]) == ("state", 11, 3.0)
    assert corners["2"]["reference_actions"][0]["laps"] == list(LAPS)
    assert corners["2"]["reference_actions"][0]["time_s_per_m"]["low"] == 0.004
    assert corners["1"]["references"] == []
    assert corners["1"]["references_why_empty"]
    assert json.loads(render_json(view["guide"]))["corners"]
    mark = view["pictures"]["references"][0]
    assert (mark["corner"], mark["action"], mark["at_m"]) == ("2", "brake_start_m", 498.0)


def test_the_table_says_what_causes_is_not_known(base: Findings) -> None:
    relation = TimeRelation(0.01, 0.004, 0.016)
    said = with_references(base, found(STRAIGHT, PLACE, against_time=relation))
    table = compose_reference_tables(said, base.circuit.corners[1])[0]
    text = write_text(table["time"], METRIC.as_view()).replace("\u00a0", " ")
    assert text == (
        "On these 11 laps the corner took 0.10 s longer for each 10 m later "
        "(between 0.04 s and 0.16 s); which causes which is not known."
    )
    assert [row["as_good"] for row in table["rows"]] == [True, False]


def numbers(part: Any) -> list[float]:
    """Every number that stands in a document, without its sign."""
    if isinstance(part, dict):
        return [n for value in part.values() for n in numbers(value)]
    if isinstance(part, list):
        return [n for value in part for n in numbers(value)]
    return [abs(float(part))] if isinstance(part, (int, float)) else []


def test_every_number_of_a_sentence_stands_in_the_document(base: Findings) -> None:
    """Speeds, gears, metres to a landmark, scatter, laps, and seconds for metres later."""
    named = [
        repeat("state", "speed", 2.1, value=51.3),
        repeat("state", "gear", 2.2, value=3.0, delay_s=0.42),
        repeat("alignment", "alignment", 2.3, names=("post", "tower"), delay_s=0.31),
        repeat("place", "place", 2.4, place=PlaceName("landmark", "hut", 6.4)),
        repeat("place", "place", 2.5, place=PlaceName("kerb_end", "the kerb's end", -11.6)),
        repeat("view", "view", 2.6, names=("barn",), delay_s=0.7),
    ]
    relation = TimeRelation(-0.0123, -0.0171, -0.0042)
    for first in named:
        others = [replace(r, as_good=True) for r in named if r.kind != first.kind]
        one = found(first, *others, against_time=relation)
        said = with_references(base, one)
        corner = base.circuit.corners[1]
        time = compose_reference_tables(said, corner)[0]["time"]
        texts = [t.as_view() for t in say_corner_references(said, corner)] + [time]
        values = [value[0] for text in texts for value in text["v"]]
        assert len(values) >= 8
        record = compose_view(said, METRIC)["guide"]["corners"][1]
        rows, actions = record["references"], record["reference_actions"]
        held = numbers([rows, actions, [len(a["laps"]) for a in actions]])
        assert not [v for v in values if not any(abs(abs(v) - n) < 1e-9 for n in held)]


def test_hands_rotation_and_gears_name_their_laps(base: Findings) -> None:
    said = replace(
        base,
        hands={"2": HandsSummary("2", LAPS, 2.0, 1.5, 0.4)},
        phases={"2": CornerPhases("2", LAPS, (0.5, 0.2, 0.3), (0.9, None, 0.8))},
        gears={"2": CornerGears("2", LAPS, compared=GearCompared(2, 3, 1.0, LAPS[:6], LAPS[6:]))},
    )
    assert written(say_corner_hands(said, base.circuit.corners[1])) == [
        "The wheel is turned 115° in all, with 1.5 corrections a lap (11 laps).",
        "Of the turning 50 % is done on the brake, 20 % off both pedals, 30 % on the throttle "
        "(11 laps).",
        "In use of the car's grip, on average: 90 % on the brake, 80 % on the throttle (11 laps).",
        "Exits in gear 2 were 3.6 km/h faster than in gear 3 (6 and 5 laps).",
    ]


def test_nothing_is_said_of_what_is_missing(base: Findings) -> None:
    bare = replace(
        base,
        hands={"2": HandsSummary("2", why_null="no steering channel")},
        phases={"2": CornerPhases("2", why_null="no brake channel")},
        gears={"2": CornerGears("2", why_null="no gear channel")},
        references={"2": (found(why_null="4 laps; at least 6 are needed", settled=False),)},
    )
    corner = base.circuit.corners[1]
    assert say_corner_hands(bare, corner) == []
    assert say_corner_references(bare, corner) == []
    record = compose_view(bare, METRIC)["guide"]["corners"][1]
    assert record["references_why_empty"] == "4 laps; at least 6 are needed"
    assert record["steering"]["why_null"] == "no steering channel"
    assert record["rotation"]["why_null"] == "no brake channel"
    assert record["gears"]["why_null"] == "no gear channel"
