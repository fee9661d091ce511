"""Small pure edits of a recording: put a channel, say a finding, mark a stretch."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from lapwright.messages import Message, Outcome
from lapwright.model.recording import Channel, Recording, Span

#: Channels that together say where the car is, in the two kinds of coordinates.
PLACES = (("latitude", "longitude"), ("x", "y"))


def find_place_names(recording: Recording) -> tuple[str, str] | None:
    """Find the two channels that hold the position; None without a position."""
    held = (p for p in PLACES if all(n in recording.channels for n in p))
    return next(held, None)


def put_channels(recording: Recording, *channels: Channel) -> Recording:
    """Return the recording with channels added or replaced by name."""
    return replace(recording, channels={**recording.channels, **{c.name: c for c in channels}})


def drop_channel(recording: Recording, name: str) -> Recording:
    """Return the recording without one channel."""
    return replace(recording, channels={n: c for n, c in recording.channels.items() if n != name})


def mark(recording: Recording, spans: Iterable[Span]) -> Recording:
    """Return the recording with stretches marked as not to be trusted."""
    return replace(recording, marked=(*recording.marked, *spans))


def note_repairs(recording: Recording, spans: Iterable[Span]) -> Recording:
    """Return the recording with stretches listed as changed."""
    return replace(recording, repairs=(*recording.repairs, *spans))


def say(
    recording: Recording,
    outcome: Outcome,
    names: str | Iterable[str],
    found: str,
    done: str = "",
    to_do: str = "",
    *,
    span: tuple[float, float] | None = None,
    answer: str | None = None,
) -> Recording:
    """Return the recording with one more message.

    Parameters
    ----------
    names
        Canonical channel names; the message shows the file's own. Empty for none.
    span
        First and last second of the place, or None for the whole file.
    """
    listed = [names] if isinstance(names, str) else list(names)
    shown = [recording.channels[n].original if n in recording.channels else n for n in listed if n]
    message = Message(
        outcome,
        recording.file,
        found,
        done,
        to_do,
        place=say_span(*span) if span else "",
        channel=", ".join(shown) or None,
        start_s=span[0] if span else None,
        end_s=span[1] if span else None,
        answer=answer,
    )
    return replace(recording, messages=(*recording.messages, message))


def say_span(start_s: float, end_s: float) -> str:
    """Say a span of time: "t = 131.2–134.2 s", or one moment."""
    digits = 1 if end_s - start_s >= 1.0 else 2
    start, end = f"{start_s:.{digits}f}", f"{end_s:.{digits}f}"
    return f"t = {start} s" if start == end else f"t = {start}–{end} s"


def whole_span(channel: Channel, what: str) -> Span:
    """Span from a channel's first to its last sample."""
    return Span(channel.name, float(channel.time[0]), float(channel.time[-1]), what)


def blank_marked(recording: Recording, name: str) -> Channel:
    """Return a channel with every marked stretch set to NaN, ready for estimates."""
    channel = recording.channels[name]
    values = channel.values.copy()
    for span in recording.marked:
        if span.channel == name:
            values[(channel.time >= span.from_s) & (channel.time <= span.to_s)] = np.nan
    return replace(channel, values=values)
