"""PDF, captions and chapters on the command line: options, what is said when there is none."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import webvtt

from lapwright.errors import NoAnswerError
from lapwright.workflow import hand_over

LAP = 2 * np.pi
Command = Callable[..., Any]


@pytest.fixture(scope="module")
def guide(
    tmp_path_factory: pytest.TempPathFactory, invented: ModuleType, command: Command
) -> Command:
    """Run ``guide`` on an invented log of two laps with its survey and start line."""
    folder = tmp_path_factory.mktemp("handed")
    log = invented.write_log(folder / "s.csv", invented.drive(-0.8, 2 * LAP + 1))
    survey = invented.write_survey(folder / "survey.csv")

    def run(*arguments: object, out: Path) -> Any:
        given = ("--circuit", survey, *invented.start_option())
        return command("guide", log, *given, *arguments, "--out", out)

    return run


def read_cues(path: Path) -> list[Any]:
    return list(webvtt.from_buffer(io.BytesIO(path.read_bytes())))


def test_captions_keep_to_the_offset_the_lead_and_the_words_a_minute(
    guide: Command, tmp_path: Path
):
    assert guide("--video-offset", "100", out=tmp_path / "a").code == 0
    options = ("--video-offset", "100", "--caption-lead", "8", "--caption-words", "90")
    assert guide(*options, out=tmp_path / "b").code == 0
    usual, calm = (read_cues(tmp_path / name / "guide.vtt") for name in ("a", "b"))
    assert usual
    assert calm
    chapters = read_cues(tmp_path / "a" / "chapters.vtt")
    assert chapters[0].start == "00:01:40.000"
    assert calm[0].start_in_seconds < usual[0].start_in_seconds
    for cue in calm:
        long = cue.end_in_seconds - cue.start_in_seconds + 1  # whole seconds only
        assert len(cue.text.split()) / long <= 90 / 60


def test_a_corner_without_time_for_words_is_said(guide: Command, tmp_path: Path):
    ran = guide("--video-offset", "-1000", out=tmp_path)
    assert ran.code == 0
    assert "guide.vtt: there is no time to say anything before corner" in ran.err
    assert "--video-offset" in ran.err
    assert read_cues(tmp_path / "guide.vtt") == []


@pytest.mark.parametrize(
    ("option", "value"),
    [("--caption-lead", "-1"), ("--caption-words", "0"), ("--video-offset", "nan"),
     ("--video-offset", "soon")],
)  # fmt: skip
def test_an_option_that_cannot_be_kept_is_wrong_use(
    guide: Command, tmp_path: Path, option: str, value: str
):
    ran = guide(option, value, out=tmp_path / "x")
    assert ran.code == 2
    assert option in ran.err
    assert not (tmp_path / "x").exists()


def test_a_guide_whose_pdf_cannot_be_set_is_made_without(
    guide: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    def fail(_view: Any) -> bytes:
        raise NoAnswerError("guide.pdf: the text could not be set (invented).")

    monkeypatch.setattr(hand_over, "render_pdf", fail)
    ran = guide(out=tmp_path)
    assert ran.code == 0
    assert "guide.pdf: the text could not be set (invented). It was not written" in ran.err
    assert (tmp_path / "guide.html").exists()
    assert not (tmp_path / "guide.pdf").exists()
