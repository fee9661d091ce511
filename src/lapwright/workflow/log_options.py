"""How logs are read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from lapwright.readers.mapping import ChannelMapping


@dataclass(frozen=True, slots=True)
class LogOptions:
    """How logs are read; see the command line's options of the same names."""

    mapping: ChannelMapping | None = None
    unit_answers: Mapping[str, str] = field(default_factory=dict)
    accept_offered: bool = False
