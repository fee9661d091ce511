"""What one file holds: channels over time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lapwright.messages import Message

Array = NDArray[np.float64]
HowKnown = Literal["header", "mapping", "name", "physics", "assumed"]


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel on its own time base.

    Parameters
    ----------
    name
        Canonical name (see ``lapwright.names``) or the original name of a
        channel that the glossary does not know.
    unit
        Unit of ``values``: the glossary's SI unit, or the original unit text
        of an unknown channel.
    time
        Seconds, strictly increasing, shape (n,). Shared between channels of one rate.
    values
        Shape (n,), NaN where missing.
    original, original_unit
        As written in the file; the unit is None where the file gave none, and
        the one taken instead where ``how_known`` is "mapping" or "physics".
    how_known
        How the unit came to be known: the file's header, a channel mapping,
        the channel's name, a check against physics, or assumed as the glossary's.
    delay_s
        How much later this channel shows an event than the pedals do; already
        taken out of ``time``.
    """

    name: str
    unit: str
    time: Array
    values: Array
    original: str
    original_unit: str | None = None
    how_known: HowKnown = "header"
    delay_s: float = 0.0

    @property
    def rate_hz(self) -> float:
        """Native sampling rate in Hz outside gaps; NaN with fewer than two samples."""
        if self.time.size < 2:
            return float("nan")
        steps = np.diff(self.time)
        return float(1.0 / np.mean(steps[steps < 2.5 * np.median(steps)]))


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time that was marked or mended in a channel."""

    channel: str
    from_s: float
    to_s: float
    what: str


@dataclass(frozen=True, slots=True)
class Recording:
    """All channels of one file, in SI units, with what was found and mended.

    Parameters
    ----------
    file
        Name of the file, without its folder.
    sha256
        Hash of the original bytes, lower-case hexadecimal.
    channels
        By canonical name; channels the glossary does not know are in ``others``.
    info
        Name-value lines that stood before the data, as text.
    messages
        Findings, in the order in which they were made.
    repairs
        Each stretch that was changed.
    marked
        Spans kept unchanged but not to be trusted (flagged).
    """

    file: str
    sha256: str
    channels: Mapping[str, Channel]
    others: Mapping[str, Channel] = field(default_factory=dict)
    info: Mapping[str, str] = field(default_factory=dict)
    messages: tuple[Message, ...] = ()
    repairs: tuple[Span, ...] = ()
    marked: tuple[Span, ...] = ()
