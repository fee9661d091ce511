"""What a coach hands over besides the page: a PDF, captions and chapters for a lap's video."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from lapwright.errors import NoAnswerError
from lapwright.guide.captions import CaptionRules, compose_captions, compose_chapters
from lapwright.messages import Message
from lapwright.publish.captions import render_vtt
from lapwright.publish.json import render_json
from lapwright.publish.pdf import render_pdf, render_review_pdf
from lapwright.publish.review_page import render_review


def render_tracks(
    view: Mapping[str, Any], rules: CaptionRules
) -> tuple[dict[str, bytes], tuple[Message, ...]]:
    """Render captions and chapters of the chosen lap, and say what there was no time for."""
    captions = compose_captions(view, rules)
    lap, offset = view["pictures"]["chosen_lap"], f"{rules.video_offset_s:g}"
    note = f"Timed to lap {lap}, which begins {offset} s after the video."
    files = {
        "guide.vtt": render_vtt(captions.cues, note),
        "chapters.vtt": render_vtt(compose_chapters(view, rules), note),
    }
    if not captions.left_out:
        return files, ()
    corners = ", ".join(captions.left_out)
    to_do = "Use a video that begins earlier (--video-offset), or less --caption-lead"
    found = f"there is no time to say anything before corner {corners}"
    return files, (Message("flagged", "guide.vtt", found, "Nothing is said there", to_do),)


def compose_video_captions(view: Mapping[str, Any], rules: CaptionRules) -> dict[str, Any]:
    """Compose the captions for the page, which moves them to where the reader's video begins.

    They are timed to a video that begins so early that nothing before the line is lost.
    """
    early = replace(rules, video_offset_s=rules.lead_s + rules.farthest_s)
    vtt = render_vtt(compose_captions(view, early).cues).decode()
    return {
        "lap": view["pictures"]["chosen_lap"], "offset_s": rules.video_offset_s,
        "begins_s": early.video_offset_s, "vtt": vtt,
    }  # fmt: skip


def render_paper(view: Mapping[str, Any]) -> tuple[dict[str, bytes], tuple[Message, ...]]:
    """Render the PDF; a guide whose text cannot be set has none, and says so."""
    return _render_or_say("guide", render_pdf, view)


def render_review_files(
    document: Mapping[str, Any],
) -> tuple[dict[str, bytes], tuple[Message, ...]]:
    """Render a review as data, page and PDF; one whose text cannot be set says so."""
    files = {"review.json": render_json(document), "review.html": render_review(document)}
    paper, unset = _render_or_say("review", render_review_pdf, document)
    return {**files, **paper}, unset


def _render_or_say(
    name: str, render: Callable[[Mapping[str, Any]], bytes], view: Mapping[str, Any]
) -> tuple[dict[str, bytes], tuple[Message, ...]]:
    try:
        return {f"{name}.pdf": render(view)}, ()
    except NoAnswerError as error:
        found = str(error).removeprefix(f"{name}.pdf: ")
        to_do = f"Print {name}.html instead"
        return {}, (Message("flagged", f"{name}.pdf", found, "It was not written", to_do),)
