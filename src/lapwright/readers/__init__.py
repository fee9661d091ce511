"""From bytes to recordings: one file for each open format."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lapwright.readers.mapping import (
        ChannelMapping,
        ChannelRule,
        parse_answers,
        read_mapping,
        write_mapping,
    )
    from lapwright.readers.registry import read_log, read_logs

__all__ = [
    "ChannelMapping",
    "ChannelRule",
    "parse_answers",
    "read_log",
    "read_logs",
    "read_mapping",
    "write_mapping",
]


def __getattr__(name: str) -> Any:
    """Load a name when it is asked for: the reading process needs few of the modules."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    place = "registry" if name.startswith("read_log") else "mapping"
    return getattr(import_module(f"lapwright.readers.{place}"), name)
