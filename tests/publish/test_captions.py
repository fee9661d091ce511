"""Captions and chapters, held against the W3C's rules for WebVTT and another reader of it.

Rules: W3C, WebVTT: The Web Video Text Tracks Format, section 4 (syntax). The lap and its
corners are invented.
"""

from __future__ import annotations

import html
import io
import math
import re
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
import webvtt

from lapwright.errors import UsageError
from lapwright.guide.captions import (
    CaptionRules,
    Cue,
    compose_captions,
    compose_chapters,
    find_speech_s,
)
from lapwright.publish.captions import render_vtt

MakeView = Callable[..., dict[str, Any]]
HOSTILE = {
    "markup": "<b>x</b><c.red>&amp;&lt;",
    "quotes": "\"'`”",
    "arrow": "a --> b",
    "time": "\n\n1\n00:00.000 --> 00:01.000\nforged",
    "rtl": "\u202eabc\u200f שלום",
    "long": "x" * 10_000,
    "many words": "word " * 2_000,
    "control": "\0\r\x1b\ud800",
    "header": "WEBVTT\n\nNOTE x",
}
TIMING = re.compile(
    r"(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3}) --> (?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})"
)


def parse_strictly(data: bytes) -> list[tuple[float, float, str]]:
    """Parse a file by the syntax of the standard; whatever breaks a rule fails."""
    text = data.decode("utf-8")
    assert "\0" not in text
    assert text.startswith("WEBVTT\n\n")
    assert text.endswith("\n")
    cues = []
    for block in text.strip("\n").split("\n\n")[1:]:
        lines = block.split("\n")
        if lines[0].startswith("NOTE"):
            assert "-->" not in block
            continue
        identifier, timing, *payload = lines
        assert "-->" not in identifier
        match = TIMING.fullmatch(timing)
        assert match, timing
        h1, m1, s1, f1, h2, m2, s2, f2 = (int(g or 0) for g in match.groups())
        start, end = 3600 * h1 + 60 * m1 + s1, 3600 * h2 + 60 * m2 + s2
        assert payload
        assert all(payload)
        for line in payload:
            assert "-->" not in line
            assert not re.search(r"&(?!amp;|lt;|gt;|lrm;|rlm;|nbsp;|#\d+;)", line)
            assert "<" not in line
        cues.append((start + f1 / 1000, end + f2 / 1000, html.unescape("\n".join(payload))))
    assert all(end > start for start, end, _ in cues)
    assert [c[0] for c in cues] == sorted(c[0] for c in cues)
    return cues


def flatten(text: str) -> str:
    shown = text.encode("utf-8", "replace").decode()
    return " ".join(re.sub("[\0\u202a-\u202e]", "\ufffd", shown).split())


@pytest.fixture(scope="module")
def view(make_view: MakeView) -> dict[str, Any]:
    return make_view(laps=4)


@pytest.mark.parametrize("lead", [2.0, 4.0, 6.0])
@pytest.mark.parametrize("pace", [110.0, 160.0, 220.0])
@pytest.mark.parametrize("offset", [-20.0, 0.0, 12.5, 4000.0])
def test_lead_and_reading_speed_hold_for_every_caption(
    view: dict[str, Any], lead: float, pace: float, offset: float
):
    rules = CaptionRules(lead_s=lead, words_per_minute=pace, video_offset_s=offset)
    found = compose_captions(view, rules)
    cues = parse_strictly(render_vtt(found.cues))
    assert len(cues) == len(found.cues) > 5
    for (start, end, text), cue in zip(cues, found.cues, strict=True):
        assert text == cue.text
        assert cue.due_s is not None
        assert start <= cue.due_s - lead + 0.0011
        assert end <= cue.due_s + 0.0011
        words = len(text.split())  # counted as plainly as can be, which is the least
        assert (end - start) >= 60.0 * words / pace - 0.0011
        assert end - start >= find_speech_s(text, rules) - 0.0011
    assert all(a[1] <= b[0] for a, b in pairwise(cues))


def test_a_caption_is_due_when_the_chosen_lap_acts(view: dict[str, Any]):
    """The invented lap's own time at the place of its first action, read off its grid."""
    chosen = view["pictures"]["chosen_lap"]
    time, step = view["pictures"]["laps"][chosen]["time"], view["pictures"]["step_m"]
    own = {r["corner"]: r["actions"] for r in view["guide"]["corner_laps"] if r["lap"] == chosen}
    found = compose_captions(view, CaptionRules(video_offset_s=7.0))
    checked = 0
    for cue in found.cues:
        if "brakes" not in cue.text:
            continue
        done = own[cue.corner]
        first = min(done[n] for n in ("off_throttle_m", "brake_start_m", "turn_in_m")
                    if done.get(n) is not None)  # fmt: skip
        assert cue.due_s == pytest.approx(7.0 + time[int(first / step)], abs=0.1)
        checked += 1
    assert checked >= 5


def test_every_corner_is_spoken_of_or_reported(view: dict[str, Any]):
    found = compose_captions(view, CaptionRules(lead_s=8.0, words_per_minute=60.0))
    assert found.left_out
    spoken = {c.corner for c in found.cues} | set(found.left_out)
    assert spoken == {c["id"] for c in view["guide"]["corners"]}


def test_corners_that_are_worth_most_get_their_words_first(view: dict[str, Any]):
    slow = CaptionRules(lead_s=6.0, words_per_minute=70.0)
    corners = view["guide"]["corners"]
    left_out = compose_captions(view, slow).left_out
    assert left_out
    wanted = left_out[-1]
    ranked = [{**c, "rank": 1 if c["id"] == wanted else 50} for c in corners]
    found = compose_captions({**view, "guide": {**view["guide"], "corners": ranked}}, slow)
    assert wanted not in found.left_out


def test_the_offset_moves_everything(view: dict[str, Any]):
    near, far = (
        compose_chapters(view, CaptionRules(video_offset_s=offset)) for offset in (5.0, 65.0)
    )
    moved = [b.start_s - a.start_s for a, b in zip(near, far, strict=True)]
    assert moved == pytest.approx([60.0] * len(moved))


def test_chapters_are_the_corners_and_cover_the_lap(view: dict[str, Any]):
    cues = parse_strictly(render_vtt(compose_chapters(view, CaptionRules())))
    titles = [text for _, _, text in cues]
    assert len(cues) == len(view["guide"]["corners"])
    assert all(c["name"] in t for c, t in zip(view["guide"]["corners"], titles, strict=True))
    chosen = view["pictures"]["laps"][view["pictures"]["chosen_lap"]]["time"]
    assert cues[0][0] == 0.0
    assert cues[-1][1] == pytest.approx(chosen[-1], abs=0.001)
    assert all(a[1] == b[0] for a, b in pairwise(cues))


def test_a_corner_over_the_start_line_has_both_ends_of_the_lap(view: dict[str, Any]):
    length = view["guide"]["circuit"]["length_m"]
    first, *rest = view["guide"]["corners"]
    over = {**first, "start_m": length - 30.0, "apex_m": length - 5.0, "end_m": 20.0}
    chapters = compose_chapters(
        {**view, "guide": {**view["guide"], "corners": [over, *rest]}}, CaptionRules()
    )
    assert (chapters[0].corner, chapters[-1].corner) == (first["id"], first["id"])
    assert len(chapters) == len(rest) + 2


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_text_in_both_files(make_view: MakeView, name: str):
    hostile = HOSTILE[name]
    view = make_view(laps=3, hostile=hostile)
    rules = CaptionRules(video_offset_s=30.0)
    captions, chapters = compose_captions(view, rules), compose_chapters(view, rules)
    for cues in (captions.cues, chapters):
        data = render_vtt(cues, note=hostile)
        read = parse_strictly(data)
        assert [flatten(c.text) for c in cues] == [flatten(text) for _, _, text in read]
        other = list(webvtt.from_buffer(io.BytesIO(data)))
        assert len(other) == len(read)
        assert [c.start_in_seconds for c in other] == [int(start) for start, _, _ in read]
    assert flatten(hostile) in parse_strictly(render_vtt(chapters))[0][2]
    assert all(len(c.text) < 400 for c in captions.cues)  # a long name is cut where it is heard


def test_another_reader_gets_the_same(view: dict[str, Any]):
    data = render_vtt(compose_captions(view, CaptionRules()).cues, note="invented")
    ours = parse_strictly(data)
    other = list(webvtt.from_buffer(io.BytesIO(data)))
    assert [html.unescape(c.text) for c in other] == [text for _, _, text in ours]
    stamps = [tuple(map(float, c.start.split(":"))) for c in other]
    assert [h * 3600 + m * 60 + s for h, m, s in stamps] == pytest.approx([c[0] for c in ours])


@pytest.mark.parametrize(
    ("seconds", "stamp"),
    [(0.0, "00:00.000"), (59.9996, "01:00.000"), (3599.9994, "59:59.999"), (3600.0, "01:00:00.000"),
     (360_000.5, "100:00:00.500")],
)  # fmt: skip
def test_stamps_have_three_decimals_and_carry_over(seconds: float, stamp: str):
    text = render_vtt([Cue(seconds, seconds + 1.0, "x", "1")]).decode()
    assert text.splitlines()[3].split(" --> ")[0] == stamp


def test_a_video_that_begins_after_the_lap_has_nothing(view: dict[str, Any]):
    rules = CaptionRules(video_offset_s=-1000.0)
    found = compose_captions(view, rules)
    assert found.cues == ()
    assert len(found.left_out) == len(view["guide"]["corners"])
    assert compose_chapters(view, rules) == ()


def test_a_cue_without_time_is_left_out():
    cues = [Cue(1.0, 1.0002, "x", "1"), Cue(2.0, 1.0, "y", "2"), Cue(1.0, 2.0, " ", "3")]
    assert parse_strictly(render_vtt(cues)) == []


@pytest.mark.parametrize(
    "wrong",
    [{"lead_s": -1.0}, {"lead_s": math.nan}, {"words_per_minute": 0.0},
     {"video_offset_s": math.inf}],
)  # fmt: skip
def test_rules_that_cannot_be_kept_are_refused(wrong: dict[str, float]):
    with pytest.raises(UsageError, match="--"):
        CaptionRules(**wrong)
