"""Captions and chapters as WebVTT files (W3C, WebVTT: The Web Video Text Tracks Format)."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from lapwright.guide.captions import Cue

_BLANKS: Final = re.compile(r"[^\S\u00a0\u202f]+")  # no-break spaces stay
#: Besides markup: what would turn the direction of the text after a name.
_ESCAPES: Final = str.maketrans(
    {
        "&": "&amp;",
        "<": "&lt;",
        ">": "&gt;",
        **dict.fromkeys("\0\u202a\u202b\u202c\u202d\u202e", "\ufffd"),
    }
)


def render_vtt(cues: Iterable[Cue], note: str = "") -> bytes:
    """Render cues as a WebVTT file, in the order of their starts.

    Text is one line in which no sign means markup, and ``-->`` cannot occur. A cue
    without text or time is left out.

    Parameters
    ----------
    note
        A remark for whoever opens the file.
    """
    blocks = ["WEBVTT"]
    if note:
        blocks.append(f"NOTE {escape_text(note)}")
    timed = [(_milliseconds(c.start_s), _milliseconds(c.end_s), escape_text(c.text)) for c in cues]
    there = sorted(t for t in timed if t[1] > t[0] and t[2])
    for number, (start, end, text) in enumerate(there, 1):
        blocks.append(f"{number}\n{write_stamp(start)} --> {write_stamp(end)}\n{text}")
    return ("\n\n".join(blocks) + "\n\n").encode("utf-8")


def escape_text(text: str) -> str:
    """Write a text so that it is one line and nothing but text in a cue.

    Examples
    --------
    >>> escape_text("a --> <b>")
    'a --&gt; &lt;b&gt;'
    """
    line = _BLANKS.sub(" ", text).strip()
    return line.encode("utf-8", "replace").decode("utf-8").translate(_ESCAPES)


def write_stamp(milliseconds: int) -> str:
    """Write a time; hours only where there are some.

    Examples
    --------
    >>> write_stamp(60_000)
    '01:00.000'
    """
    seconds, rest = divmod(milliseconds, 1000)
    minutes, second = divmod(seconds, 60)
    hours, minute = divmod(minutes, 60)
    return (f"{hours:02d}:" if hours else "") + f"{minute:02d}:{second:02d}.{rest:03d}"


def _milliseconds(seconds: float) -> int:
    return max(round(seconds * 1000.0), 0)
