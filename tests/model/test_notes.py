"""The author's notes: what a file may hold, what is refused and where, what they do to a circuit.

The circuit is invented; its lengths and bends are plain arithmetic.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lapwright.errors import InputError
from lapwright.model.circuit import Circuit, Corner, Landmark, RoadSpan
from lapwright.model.circuit_json import circuit_from_document, circuit_to_document
from lapwright.model.note_circuit import find_corner, note_circuit, put_landmarks
from lapwright.model.notes import CornerKey, Notes
from lapwright.model.notes_toml import read_notes, read_notes_text

LENGTH = 2000.0


def make_circuit() -> Circuit:
    """A round road whose bend swells to the left at 550 m and to the right at 620 m."""
    count = 1000
    s = np.arange(count) * LENGTH / count
    radius = LENGTH / (2 * math.pi)
    angle, flat = s / radius, np.zeros(count)
    bump = 0.02 * np.exp(-(((s - 550) / 20) ** 2)) - 0.03 * np.exp(-(((s - 620) / 20) ** 2))
    corners = (
        Corner("1", "Gate", "left", 1950.0, 10.0, 60.0),  # over the start line
        Corner("2", "", "left", 500.0, 560.0, 660.0),
        Corner("3", "", "right", 1000.0, 1050.0, 1100.0),
        Corner("4", "", "left", 1150.0, 1200.0, 1250.0, "A"),
        Corner("5", "", "left", 1300.0, 1350.0, 1400.0, "A"),
    )
    return Circuit(
        name="Round Mere", length_m=LENGTH, s=s, x=radius * np.sin(angle),
        y=radius * (1 - np.cos(angle)), z=flat, heading=angle, curvature=flat + 1 / radius + bump,
        slope=flat, banking=flat, vertical_curvature=flat, left=flat + 5.0, right=flat + 6.0,
        turns="anticlockwise", surveyed=True, has_heights=False, corners=corners,
        landmarks=(Landmark("hut", 20.0, 9.0, 3.0),),
        spans=(RoadSpan("kerb", "inner", 1990.0, 25.0, 6.0, 5.0),),
    )  # fmt: skip


def parse(text: str) -> Notes:
    return read_notes_text(text.encode(), "notes.toml")


def apply(text: str, circuit: Circuit | None = None) -> tuple[Circuit, list[str]]:
    made, misfits = note_circuit(circuit or make_circuit(), parse(text))
    return made, [m.why for m in misfits]


def refused(text: str | bytes) -> list[Any]:
    data = text.encode() if isinstance(text, str) else text
    with pytest.raises(InputError) as caught:
        read_notes_text(data, "notes.toml")
    return list(caught.value.messages)


def test_corners_are_named_numbered_and_found_by_number_name_or_place():
    made, misfits = apply(
        '[[corners]]\ncorner = 2\nname = "Weir"\nnumber = "2b"\n'
        '[[corners]]\ncorner = "Gate"\nname = "Old Gate"\n'
        '[[corners]]\nat_m = 1210\nname = "Fold"\nnumber = 9\n'
    )
    assert misfits == []
    assert [(c.id, c.name) for c in made.corners] == [
        ("1", "Old Gate"), ("2b", "Weir"), ("3", ""), ("9", "Fold"), ("5", ""),
    ]  # fmt: skip
    assert [c.found for c in made.corners] == ["", "2", "", "4", ""]


@pytest.mark.parametrize(
    ("at_m", "found"),
    [(1999.0, "1"), (30.0, "1"), (1075.0, "3"), (1090.0, None), (800.0, None), (1050.0, "3")],
)
def test_a_place_means_the_corner_that_it_lies_in_or_a_near_apex(at_m: float, found: str | None):
    circuit = make_circuit()
    moved = tuple(replace(c, end_m=1060.0) if c.id == "3" else c for c in circuit.corners)
    corner = find_corner(replace(circuit, corners=moved), CornerKey(at_m=at_m))
    assert (corner.id if corner else None) == found


def test_merged_corners_are_one_from_the_first_s_start_to_the_last_s_end():
    made, misfits = apply('[[merges]]\ncorners = ["4", 5]\n')
    assert misfits == []
    assert [c.id for c in made.corners] == ["1", "2", "3", "4"]
    whole = made.corners[3]
    assert (whole.start_m, whole.end_m, whole.found, whole.complex) == (1150.0, 1400.0, "4+5", "A")


def test_corners_merge_over_the_start_line():
    made, misfits = apply('[[merges]]\ncorners = ["5", "1"]\n')
    assert misfits == []
    whole = next(c for c in made.corners if c.id == "5")
    assert (whole.start_m, whole.end_m) == (1300.0, 60.0)


def test_a_split_corner_is_two_each_with_the_apex_where_it_bends_most():
    """The invented bends are sharpest at 550 m, to the left, and at 620 m, to the right."""
    made, misfits = apply('[[splits]]\ncorner = "2"\nat_m = 585\n')
    assert misfits == []
    first, second = made.corners[1:3]
    assert (first.id, first.start_m, first.end_m, first.direction) == ("2a", 500.0, 585.0, "left")
    assert (second.id, second.start_m, second.end_m) == ("2b", 585.0, 660.0)
    assert second.direction == "right"
    assert first.apex_m == pytest.approx(550.0, abs=2.0)
    assert second.apex_m == pytest.approx(620.0, abs=2.0)


EVERYTHING = """
renumber = true
[[merges]]
corners = ["4", "5"]
[[splits]]
corner = "2"
at_m = 585
[[corners]]
corner = "2b"
name = "Weir out"
[[corners]]
corner = "5"
name = "Fold"
[[kerbs]]
name = "inner"
start_m = 1990
end_m = 25
side = "left"
width_m = 0.5
[[patches]]
name = "new asphalt"
start_m = 300
end_m = 340
grip_factor = 1.05
"""


def test_corners_are_numbered_anew_after_merging_and_splitting():
    made, misfits = apply(EVERYTHING)
    assert misfits == []
    assert [(c.id, c.found, c.name) for c in made.corners] == [
        ("1", "", "Gate"), ("2", "2a", ""), ("3", "2b", "Weir out"), ("4", "3", ""),
        ("5", "4+5", "Fold"),
    ]  # fmt: skip


def test_notes_used_again_on_their_own_circuit_change_nothing():
    once, _ = apply(EVERYTHING)
    written = circuit_from_document(circuit_to_document(once))
    assert written.corners == once.corners
    twice, misfits = apply(EVERYTHING, written)
    assert misfits == []
    assert twice.corners == once.corners
    assert set(twice.spans) == set(once.spans)


def test_a_circuit_written_before_there_were_notes_is_read():
    document = circuit_to_document(make_circuit())
    for corner in document["corners"]:
        del corner["found"]
    assert circuit_from_document(document).corners == make_circuit().corners


def test_kerbs_lie_outside_the_edge_and_patches_from_edge_to_edge():
    made, _ = apply(EVERYTHING)
    kerb, patch = made.spans
    assert (kerb.left_m, kerb.right_m) == (5.5, 5.0)  # the edge is 5 m to the left
    assert (patch.left_m, patch.right_m, patch.grip_factor) == (5.0, -6.0, 1.05)
    right, _ = apply('[[kerbs]]\nname = "x"\nstart_m = 10\nend_m = 20\nside = "right"\n')
    assert (right.spans[-1].left_m, right.spans[-1].right_m) == (-6.0, -7.0)


def test_a_landmark_of_the_same_name_is_replaced():
    made = put_landmarks(make_circuit(), [Landmark("hut", 25.0, 8.0), Landmark("gate", 1.0, -9.0)])
    assert [(m.name, m.at_m) for m in made.landmarks] == [("hut", 25.0), ("gate", 1.0)]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ('[[corners]]\ncorner = 8\ntext = "x"', "corner 8 is not there"),
        ('[[corners]]\nat_m = 800\ntext = "x"', "corner at 800 m is not there"),
        ('[[merges]]\ncorners = ["3", "8"]', "corner 8 is not there"),
        ('[[merges]]\ncorners = ["1", "3"]', "do not follow each other"),
        ('[[splits]]\ncorner = "8"\nat_m = 5', "corner 8 is not there"),
        ('[[splits]]\ncorner = "3"\nat_m = 500', "500 m is not inside corner 3"),
        ('[[corners]]\ncorner = 3\nnumber = "4"', "another corner has the number 4"),
        ('[[patches]]\nstart_m = 10\nend_m = 2500', "10 to 2500 m is not on the lap"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_reported_and_changes_nothing(text: str, why: str):
    made, misfits = apply(text)
    assert len(misfits) == 1
    assert why in misfits[0]
    assert (made.corners, made.spans) == (make_circuit().corners, make_circuit().spans)


def test_no_two_corners_ever_get_the_same_number():
    made, misfits = apply(
        '[[corners]]\ncorner = 3\nnumber = "x"\n[[corners]]\ncorner = 4\nnumber = "x"\n'
    )
    ids = [c.id for c in made.corners]
    assert len(set(ids)) == len(ids)
    assert misfits


def test_numbers_can_be_exchanged():
    made, misfits = apply(
        '[[corners]]\ncorner = 3\nnumber = 4\n[[corners]]\ncorner = 4\nnumber = 3\n'
    )  # fmt: skip
    assert misfits == []
    assert [c.id for c in made.corners] == ["1", "2", "4", "3", "5"]


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("[[corners]]\ncorner = 1\n\nnmae = 'x'", 4, ["[[corners]] 1, nmae", "Use one of"]),
        ("[[corners]]\ncorner = 1\n[[corners]]\ncorner = 2\nname = 3", 5, ["name", "Give a text"]),
        ("[[corners]]\nname = 'x'", 1, ["does not say which corner", "corner or at_m"]),
        ("[[corners]]\ncorner = 1\nat_m = 3", 1, ["does not say which corner"]),
        ("[[splits]]\ncorner = 1", 1, ["at_m is missing", "Give a number as at_m"]),
        ("[[splits]]\ncorner = 1\nat_m = nan", 3, ["at_m", "Give a number"]),
        ("[[splits]]\ncorner = 1\nat_m = true", 3, ["at_m", "Give a number"]),
        ("[[merges]]\ncorners = [1]", 2, ["two or more"]),
        ("[[advice]]\ncorner = 1\nabout = 'gear'", 1, ["changes nothing", "reword, hide or"]),
        ("[[advice]]\ncorner=1\nabout='gear'\nposition = 0", 4, ["a whole number from 1"]),
        ("[[landmarks]]\nat_m = 3\nside = 'up'", 3, ['"left" or "right"']),
        ("[[kerbs]]\nstart_m = 1\nend_m = 2", 1, ["on which side"]),
        ("[[patches]]\nstart_m=1\nend_m=2\nleft_m=1\nright_m=2", 1, ["left_m above right_m"]),
        ("[[kerbs]]\nstart_m=1\nend_m=2\nside='left'\nwidth_m=-1", 1, ["width"]),
        ("\n[sesion]\ndriver = 'x'", 2, ["[sesion]", "is not known", "session"]),
        ("[session]\ndriver = 3", 2, ["driver", "Give a text"]),
        ("[corners]\ncorner = 1", 1, ["is no list of tables", "[[corners]]"]),
        ("renumber = 'yes'", None, ["renumber", "true or false"]),
        ("landmark_lines = 3", None, ["landmark_lines"]),
        ("[[corners]]\ncorner = = 1", 2, ["is no TOML"]),
        ("advice = 3", 1, ["is no list of tables"]),
    ],
)
def test_what_is_wrong_is_refused_with_line_field_and_way_out(
    text: str, line: int | None, words: list[str]
):
    messages = refused(text)
    assert len(messages) == 1
    assert messages[0].line == line
    assert messages[0].outcome == "refused"
    assert messages[0].to_do
    for word in words:
        assert word in messages[0].text


def test_all_that_is_wrong_is_said_at_once():
    messages = refused("[[corners]]\nx = 1\n[[splits]]\ncorner = 1\n[[merges]]\ncorners = 3\n")
    found = [m.text for m in messages]
    assert len(found) == 3
    assert "line 2" in found[0] + found[1] + found[2]
    assert any("at_m is missing" in text for text in found)
    assert any("two or more" in text for text in found)


@pytest.mark.parametrize("data", [b"\xff\xfe", b"a = 1\0", b"[" * 3000, b"x" * 5_000_000])
def test_bytes_that_are_no_notes_are_refused(data: bytes):
    assert len(refused(data)) == 1


def test_a_file_that_is_not_there_is_said(tmp_path: Path):
    with pytest.raises(InputError, match=r"gone\.toml: the file cannot be opened"):
        read_notes(tmp_path / "gone.toml")


def test_a_day_may_be_written_as_a_day_and_a_file_may_begin_with_a_mark():
    notes = read_notes_text(b"\xef\xbb\xbf[session]\ndate = 2031-05-04\n", "n.toml")
    assert notes.session == {"date": "2031-05-04"}
