"""What a coach hands over besides the page: a PDF, captions and chapters for a lap's video."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lapwright.errors import NoAnswerError
from lapwright.guide.captions import CaptionRules, compose_captions, compose_chapters
from lapwright.messages import Message
from lapwright.publish.captions import render_vtt
from lapwright.publish.pdf import render_pdf


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


def render_paper(view: Mapping[str, Any]) -> tuple[dict[str, bytes], tuple[Message, ...]]:
    """Render the PDF; a guide whose text cannot be set has none, and says so."""
    try:
        return {"guide.pdf": render_pdf(view)}, ()
    except NoAnswerError as error:
        found = str(error).removeprefix("guide.pdf: ")
        to_do = "Print guide.html instead"
        return {}, (Message("flagged", "guide.pdf", found, "It was not written", to_do),)
