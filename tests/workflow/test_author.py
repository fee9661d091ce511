"""Notes on their way through the command line: kept over new laps, reported, refused. Invented."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import webvtt
from pypdf import PdfReader

LAP = 2 * np.pi
HOSTILE = "<b>&amp; --> =1+1 \u202eabc {0} " + "y" * 10_000
NOTES = f"""
landmark_lines = "white hut: at 100 m, left, 6 m off, 2 m high"

[session]
driver = "Ada Field"
car = "club saloon"
date = 2031-05-04
conditions = "damp, then dry"

[[corners]]
corner = 1
name = "Old Gate"
number = "1g"
text = ["Look early.", {json.dumps(HOSTILE)}]

[[advice]]
corner = "Old Gate"
about = "edges"
hide = true

[[advice]]
corner = 1
about = "slowest"
reword = "Roll it in."
position = 1

[[corners]]
corner = 77
text = "Words for a corner that is gone."
"""
Command = Callable[..., Any]


@pytest.fixture(scope="module")
def made(
    tmp_path_factory: pytest.TempPathFactory, invented: ModuleType, command: Command
) -> dict[str, Any]:
    """A guide with notes, and another one with the same notes, its own circuit and new laps."""
    folder = tmp_path_factory.mktemp("author")
    first = invented.write_log(folder / "s.csv", invented.drive(-0.8, 3 * LAP + 1))
    later = invented.write_log(folder / "t.csv", invented.drive(-0.6, 3 * LAP + 1, seed=5))
    survey, notes = invented.write_survey(folder / "survey.csv"), folder / "notes.toml"
    notes.write_text(NOTES, "utf-8")
    common = ("--notes", notes, "--video-offset", "20")
    one = command("guide", first, "--circuit", survey, *invented.start_option(), *common,
                  "--out", folder / "a")  # fmt: skip
    two = command("guide", later, "--circuit", folder / "a" / "circuit.json", *common,
                  "--out", folder / "b")  # fmt: skip
    return {"folder": folder, "ran": [one, two], "survey": survey, "log": first}


def guide_of(made: dict[str, Any], name: str) -> dict[str, Any]:
    read: dict[str, Any] = json.loads((made["folder"] / name / "guide.json").read_text("utf-8"))
    return read


@pytest.mark.parametrize(("name", "number"), [("a", 0), ("b", 1)])
def test_notes_stand_in_the_guide_and_over_new_laps(made: dict[str, Any], name: str, number: int):
    ran = made["ran"][number]
    assert ran.code == 0, ran.err
    guide = guide_of(made, name)
    session = guide["session"]
    assert (session["drivers"], session["car"]) == (["Ada Field"], "club saloon")
    assert (session["date"], session["conditions"]) == ("2031-05-04", "damp, then dry")
    corner = next(c for c in guide["corners"] if c["id"] == "1g")
    assert corner["name"] == "Old Gate"
    assert corner["notes"] == ["Look early.", HOSTILE]
    assert corner["advice"][0] == "Roll it in. (the author's words)"
    assert not [text for text in corner["advice"] if text.startswith("From the edge")]
    others = [c for c in guide["corners"] if c["id"] != "1g"]
    assert all(any(t.startswith("From the edge") for t in c["advice"]) for c in others)
    assert [k["text"] for k in guide["notes"]["not_fitting"]] == [
        "Words for a corner that is gone."
    ]


def test_what_does_not_fit_is_said_with_its_line(made: dict[str, Any]):
    line = NOTES.splitlines().index("corner = 77")  # the header above it, counted from 1
    for ran in made["ran"]:
        said = [s for s in ran.err.splitlines() if s.startswith("notes.toml")]
        assert said == [
            f"notes.toml, [[corners]] 2, line {line}: corner 77 is not there. The note is kept in "
            "the guide and not used. Name the corner by at_m, or correct its number."
        ]


def test_landmarks_of_the_notes_are_on_the_circuit_once(made: dict[str, Any]):
    for name in ("a", "b"):
        circuit = json.loads((made["folder"] / name / "circuit.json").read_text("utf-8"))
        assert [m["name"] for m in circuit["landmarks"]] == ["white hut"]
        assert [c["name"] for c in circuit["corners"] if c["id"] == "1g"] == ["Old Gate"]


def test_hostile_notes_are_text_in_every_file(made: dict[str, Any]):
    folder = made["folder"] / "a"
    page = (folder / "guide.html").read_text("utf-8")
    assert "<b>&amp;" not in page
    assert "&lt;b&gt;&amp;amp;" in page
    text = "".join(p.extract_text() for p in PdfReader(folder / "guide.pdf").pages)
    squeezed = "".join(text.replace("\u200b", "").split())
    assert "<b>&amp;-->=1+1[U+202E]abc{" in squeezed
    assert squeezed.count("y") > 10_000  # over several pages, their feet between
    assert "Wordsforacornerthatisgone." in squeezed
    for name in ("guide.vtt", "chapters.vtt"):
        cues = list(webvtt.from_buffer(io.BytesIO((folder / name).read_bytes())))
        assert cues
        assert all("-->" not in cue.text for cue in cues)


def test_a_wrong_file_is_refused_before_any_log_is_read(
    made: dict[str, Any], command: Command, tmp_path: Path
):
    notes = tmp_path / "n.toml"
    notes.write_text("[[corners]]\ncorner = 1\nnmae = 'x'\n[[splits]]\ncorner = 1\n", "utf-8")
    ran = command("guide", made["log"], "--notes", notes, "--out", tmp_path / "x")
    assert ran.code == 3
    assert ran.out == ""
    assert "reading" not in ran.err
    assert "n.toml, [[corners]] 1, nmae, line 3: is no field of this table" in ran.err
    assert "at_m is missing" in ran.err
    assert not (tmp_path / "x").exists()


def test_a_landmark_that_cannot_be_placed_is_refused(
    made: dict[str, Any], command: Command, tmp_path: Path, invented: ModuleType
):
    notes = tmp_path / "n.toml"
    notes.write_text("[[landmarks]]\nname='hut'\nat_m=99999\nside='left'\n", "utf-8")
    ran = command("guide", made["log"], "--circuit", made["survey"], *invented.start_option(),
                  "--notes", notes, "--out", tmp_path / "x")  # fmt: skip
    assert ran.code == 3
    assert "the lap has 0 to" in ran.err


def test_a_driver_on_the_command_line_comes_before_the_notes(
    made: dict[str, Any], command: Command, tmp_path: Path, invented: ModuleType
):
    ran = command("guide", made["log"], "--circuit", made["survey"], *invented.start_option(),
                  "--notes", made["folder"] / "notes.toml", "--driver", "Bo Lane",
                  "--out", tmp_path / "x")  # fmt: skip
    assert ran.code == 0
    guide = json.loads((tmp_path / "x" / "guide.json").read_text("utf-8"))
    assert guide["session"]["drivers"] == ["Bo Lane"]
