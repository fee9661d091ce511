"""What is said about laps that do not count."""

from __future__ import annotations

from collections.abc import Sequence

from lapwright.messages import Message
from lapwright.model.lap import Lap

#: Kinds of lap that every recording has; nothing needs to be said about them.
ORDINARY = ("timed", "out", "in")


def find_lap_messages(laps: Sequence[Lap]) -> tuple[Message, ...]:
    """Say of each lap that was set aside why, and what became of it."""
    return tuple(
        Message(
            "flagged",
            lap.file,
            lap.why_not,
            "Not timed" if lap.time_s is None else "Left out of statistics",
            place=f"lap {lap.number}, t = {lap.start_s:.1f}–{lap.end_s:.1f} s",
            start_s=lap.start_s,
            end_s=lap.end_s,
            lap=lap.number,
        )
        for lap in laps
        if lap.why_not and lap.kind not in ORDINARY
    )
