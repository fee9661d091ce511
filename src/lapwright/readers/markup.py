"""Files of markup under the name of a log: a web page, or a format that is not read yet."""

from __future__ import annotations

import re

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.recording import Recording
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.source import Source

_TITLE = re.compile(r"<title[^>]{0,200}>([^<]{0,200})", re.IGNORECASE)


def recognise(head: bytes) -> bool:
    """Whether the first sign of the content opens a tag."""
    return head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<")


def read(source: Source, _mapping: ChannelMapping) -> Recording:
    """Refuse the file with what it is.

    Raises
    ------
    InputError
        Always.
    """
    head = source.data[:8192].decode("utf-8", errors="replace")
    raise InputError([_refuse(source, *_say_content(head))])


def _say_content(head: str) -> tuple[str, str]:
    lower = head.lower()
    if "<html" in lower or "<!doctype html" in lower:
        title = _TITLE.search(head)
        shown = f' ("{title.group(1).strip()}")' if title else ""
        return (
            f"this is a web page{shown}, not a log",
            "Download the log again while signed in",
        )
    return "the content is markup, not a log", "Export the log as CSV, Parquet or GPX"


def _refuse(source: Source, found: str, to_do: str) -> Message:
    return Message(
        "refused", source.file, found, "Nothing was imported", to_do, place="line 1", line=1
    )
