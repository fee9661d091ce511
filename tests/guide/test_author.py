"""The author's notes on a composed guide: his words stand, computed text stays as it is.

Findings are invented.
"""

from __future__ import annotations

import json
from html import escape
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapwright.guide.author import BY_AUTHOR, note_view
from lapwright.guide.captions import CaptionRules, compose_captions
from lapwright.guide.compose import compose_view
from lapwright.guide.document import quote_name
from lapwright.guide.instructions import TOPICS
from lapwright.guide.sentences import write_text
from lapwright.guide.unit_system import METRIC
from lapwright.model.note_circuit import note_circuit
from lapwright.model.notes import Misfit, Notes
from lapwright.model.notes_toml import read_notes_text
from lapwright.publish.captions import render_vtt
from lapwright.publish.html import render_html
from lapwright.publish.json import render_json
from lapwright.publish.plain import render_plain

SYSTEM = METRIC.as_view()
HOSTILE = [
    "</script><img src=x onerror=alert(1)>{0}&\u2028\"'",
    "a --> b\n\n00:00.000 --> 00:01.000\nforged",
    '=HYPERLINK("x")',
    "\u202eabc\u2069 שלום",
    "x" * 10_000,
]


def make(invented: Any, text: str, **more: Any) -> tuple[dict[str, Any], tuple[Misfit, ...]]:
    notes = read_notes_text(text.encode(), "notes.toml")
    findings = invented.make_findings(**more)
    circuit, misfits = note_circuit(findings.circuit, notes)
    return note_view(compose_view(findings, METRIC), notes, circuit, misfits)


def advice_of(view: dict[str, Any], corner: str) -> list[str]:
    """The advice of a corner, which page and guide.json have to agree on."""
    words = view["words"]["corners"][corner]
    said = [write_text(t, SYSTEM) for t in words["instructions"]]
    record = next(c for c in view["guide"]["corners"] if c["id"] == corner)
    assert len(words["topics"]) == len(said)
    assert [t.replace("\u2060", "") for t in said] == record["advice"]
    return list(record["advice"])


def test_no_notes_change_nothing_that_is_said(invented: Any):
    plain = compose_view(invented.make_findings(), METRIC)
    view, misfits = make(invented, "")
    assert misfits == ()
    assert render_json(view["words"]["corners"]) == render_json(plain["words"]["corners"])
    for noted, corner in zip(view["guide"]["corners"], plain["guide"]["corners"], strict=True):
        assert {**noted, "chosen_references": 0} == {**corner, "chosen_references": 0}


def test_the_view_that_notes_are_put_on_stays_as_it_is(invented: Any):
    findings = invented.make_findings()
    before = compose_view(findings, METRIC)
    text = (
        '[[corners]]\ncorner = 2\ntext = "x"\n'
        '[[advice]]\ncorner = 2\nabout = "slowing"\nhide = true\n'
        '[[references]]\ncorner = 2\naction = "turn_in"\nreference = "x"\n'
    )
    note_view(before, read_notes_text(text.encode(), "n"), findings.circuit)
    assert render_json(before["words"]) == render_json(compose_view(findings, METRIC)["words"])
    assert render_json(before["guide"]) == render_json(compose_view(findings, METRIC)["guide"])


@pytest.mark.parametrize("topic", TOPICS[:5])
def test_advice_is_hidden(invented: Any, topic: str):
    plain, _ = make(invented, "")
    was = advice_of(plain, "2")
    at = plain["words"]["corners"]["2"]["topics"].index(topic)
    view, misfits = make(invented, f'[[advice]]\ncorner = 2\nabout = "{topic}"\nhide = true\n')
    assert misfits == ()
    assert advice_of(view, "2") == was[:at] + was[at + 1 :]
    assert advice_of(view, "3") == advice_of(plain, "3")


def test_advice_is_moved_and_reworded_and_says_whose_words_it_is(invented: Any):
    was = advice_of(make(invented, "")[0], "2")
    view, misfits = make(
        invented,
        '[[advice]]\ncorner = 2\nabout = "throttle"\nreword = "Wait {0}."\nposition = 1\n',
    )
    assert misfits == ()
    topics = view["words"]["corners"]["2"]["topics"]
    assert topics[0] == "throttle"
    assert advice_of(view, "2") == [
        "Wait {0}." + BY_AUTHOR,
        *(w for w in was if "pick-up" not in w),
    ]
    other = make(invented, '[[advice]]\ncorner = 2\nabout = "slowing"\nposition = 99\n')[0]
    assert advice_of(other, "2") == [*was[1:], was[0]]


def test_texts_and_captions_are_the_author_s(invented: Any):
    view, _ = make(
        invented,
        '[[corners]]\ncorner = 2\ntext = ["One.", "Two."]\ncaption = "look at the hut"\n'
        '[[corners]]\nat_m = 560\ntext = "Three."\n',
    )
    record = next(c for c in view["guide"]["corners"] if c["id"] == "2")
    assert record["notes"] == ["One.", "Two.", "Three."]
    said = [c.text for c in compose_captions(view, CaptionRules()).cues if c.corner == "2"]
    assert any("look at the hut" in text for text in said)


@pytest.mark.parametrize("action", ["brake_start", "brake_start_m"])
def test_a_chosen_reference_stands_first_and_is_spoken(invented: Any, action: str):
    view, misfits = make(
        invented, f'[[references]]\ncorner = 2\naction = "{action}"\nreference = "the white post"\n'
    )
    assert misfits == ()
    first = write_text(view["words"]["corners"]["2"]["references"][0], SYSTEM)
    assert first.startswith("Brake start: the white post, the author's choice")
    assert "tell nothing" in first
    record = next(c for c in view["guide"]["corners"] if c["id"] == "2")
    assert record["chosen_references"] == [
        {"action": "brake_start_m", "reference": "the white post", "computed": False}
    ]
    said = [c.text for c in compose_captions(view, CaptionRules()).cues if c.corner == "2"]
    assert any("brakes on the white post" in text for text in said)


def test_a_chosen_reference_that_was_computed_says_how_it_repeats(invented: Any):
    findings = invented.make_findings()
    view = compose_view(findings, METRIC)
    row = {
        "text": {"t": "the place {0} past hut", "v": [[8.0, "distance"]]}, "kind": "place",
        "what": "place", "scatter_m": 1.25, "scatter_s": 0.03, "score": 0.9, "as_good": True,
    }  # fmt: skip
    view["words"]["corners"]["2"]["reference_tables"] = [
        {"action": "brake_start_m", "label": "brake start", "rows": [row]}
    ]
    text = '[[references]]\ncorner = 2\naction = "brake_start"\nreference = "8 m past hut"\n'
    notes = read_notes_text(text.replace("8 m", "8\u00a0m").encode(), "n")
    noted, _ = note_view(view, notes, findings.circuit)
    first = write_text(noted["words"]["corners"]["2"]["references"][0], SYSTEM)
    assert "repeats with it within ±\u00a01.3\u00a0m" in first


WORK = [
    {"what": {"t": "Corner 2: brake later", "v": []}, "corner": "2", "worth_s": 0.1},
    {"what": {"t": "Corner 3: go sooner", "v": []}, "corner": "3", "worth_s": 0.05},
]
RECORDS = [
    {"corner": "2", "what": "Corner 2: brake later", "cause": "early_braking"},
    {"corner": "3", "what": "Corner 3: go sooner", "cause": "late_throttle"},
]


@pytest.mark.parametrize(
    ("change", "left"),
    [
        ("hide = true", ["Corner 3: go sooner"]),
        ('reword = "Later"', ["Later (the author's words)", "Corner 3: go sooner"]),
        ("position = 2", ["Corner 3: go sooner", "Corner 2: brake later"]),
        ('hide = true\ncause = "early_braking"', ["Corner 3: go sooner"]),
        ('hide = true\ncause = "line"', ["Corner 2: brake later", "Corner 3: go sooner"]),
    ],
)
def test_the_order_of_work_is_the_author_s_too(invented: Any, change: str, left: list[str]):
    findings = invented.make_findings()
    view = compose_view(findings, METRIC)
    view["order_of_work"], view["guide"]["order_of_work"] = WORK, RECORDS
    text = f'[[advice]]\ncorner = 2\nabout = "work"\n{change}\n'
    noted, misfits = note_view(view, read_notes_text(text.encode(), "n"), findings.circuit)
    assert [write_text(item["what"], SYSTEM) for item in noted["order_of_work"]] == left
    assert [item["what"] for item in noted["guide"]["order_of_work"]] == left
    assert len(misfits) == ("line" in change)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ('[[advice]]\ncorner = 9\nabout = "gear"\nreword = "Kept words"', "corner 9 is not there"),
        ('[[advice]]\ncorner = 2\nabout = "gear"\nreword = "Kept words"', "no advice about gear"),
        ('[[advice]]\ncorner = 2\nabout = "work"\nreword = "Kept words"', "nothing for corner 2"),
        ('[[references]]\ncorner=9\naction="gear"\nreference="Kept words"', "corner 9 is not"),
        ('[[references]]\ncorner=2\naction="jump"\nreference="Kept words"', "no such action"),
        ('[[corners]]\ncorner = 9\ntext = "Kept words"', "corner 9 is not there"),
    ],
)  # fmt: skip
def test_a_note_that_no_longer_fits_is_kept_and_reported(invented: Any, text: str, why: str):
    view, misfits = make(invented, text)
    assert [why in m.why for m in misfits] == [True]
    assert misfits[0].to_do
    assert misfits[0].place.line == 1
    kept = view["guide"]["notes"]["not_fitting"]
    assert [(k["text"], k["line"]) for k in kept] == [("Kept words", 1)]
    assert "Kept words" in render_plain(view)
    assert json.loads(render_json(view["guide"]))["notes"]["file"] == "notes.toml"


@pytest.mark.parametrize("hostile", HOSTILE)
def test_hostile_notes_are_text_on_the_page_in_json_and_in_captions(invented: Any, hostile: str):
    quoted = json.dumps(hostile)
    text = "\n".join(
        f"[[corners]]\ncorner = {n}\nname = {quoted}\ntext = {quoted}\ncaption = {quoted}\n"
        f'[[advice]]\ncorner = {n}\nabout = "slowing"\nreword = {quoted}\n'
        f'[[references]]\ncorner = {n}\naction = "turn_in"\nreference = {quoted}'
        for n in (2, 3)
    )
    view, misfits = make(invented, text)
    assert misfits == ()
    page = render_html(view).decode()
    assert page.count("<script") == render_html(make(invented, "")[0]).decode().count("<script")
    assert "<img" not in page.split("<script>")[0].replace("&lt;img", "")
    assert escape(hostile) in render_plain(view)
    record = json.loads(render_json(view["guide"]))["corners"][1]
    assert record["notes"] == [hostile]
    assert record["advice"][0] == hostile + BY_AUTHOR
    for block in render_vtt(compose_captions(view, CaptionRules()).cues).decode().split("\n\n"):
        assert block.count("-->") <= 1


@given(
    st.text(st.sampled_from("ab 1אبc\u202a\u202b\u202d\u202e\u202c\u2066\u2067\u2068\u2069\u200f"))
)
def test_a_name_keeps_its_direction_to_itself(name: str):
    """Unicode Standard Annex #9, BD9: the isolate that opens ends with the last sign."""
    quoted = quote_name(name)
    if quoted == name:
        assert not set(name) - set("ab 1c")
        return
    depth = 0
    for place, sign in enumerate(quoted):
        depth += (sign in "\u2066\u2067\u2068") - (sign == "\u2069")
        assert (depth == 0) == (place == len(quoted) - 1)
    assert quoted[0] == "\u2068"
    assert [c for c in quoted if c.isalnum()] == [c for c in name if c.isalnum()]


def test_empty_notes_have_no_file(invented: Any):
    findings = invented.make_findings()
    view, _ = note_view(compose_view(findings, METRIC), Notes(""), findings.circuit)
    assert view["guide"]["notes"] == {"file": None, "not_fitting": []}
