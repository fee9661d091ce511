"""From bytes to recordings: one file for each open format."""

from lapwright.readers.mapping import (
    ChannelMapping,
    ChannelRule,
    parse_answers,
    read_mapping,
    write_mapping,
)
from lapwright.readers.registry import read_log

__all__ = [
    "ChannelMapping",
    "ChannelRule",
    "parse_answers",
    "read_log",
    "read_mapping",
    "write_mapping",
]
