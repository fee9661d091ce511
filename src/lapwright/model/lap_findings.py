"""What is said about laps that do not count."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lapwright.messages import Message
from lapwright.model.lap import Lap

#: Kinds of lap that every recording has; nothing needs to be said about them …
ORDINARY = ("timed", "out", "in")
#: … unless the recording ends at speed, and not just after the line: m/s, share of a lap time.
STILL_DRIVING_MPS, WELL_INTO_IT = 10.0, 0.25


def find_lap_messages(laps: Sequence[Lap]) -> tuple[Message, ...]:
    """Say of each lap that was set aside why, and what became of it.

    Neighbouring laps that one reason sets aside are said together.
    """
    times = [lap.time_s for lap in laps if lap.time_s is not None]
    usual = float(np.median(times)) if times else 0.0
    told = [p for p in laps if p.why_not and (p.kind not in ORDINARY or _breaks_off(p, usual))]
    groups: list[list[Lap]] = []
    for lap in told:
        if groups and _belongs(groups[-1][-1], lap):
            groups[-1].append(lap)
        else:
            groups.append([lap])
    return tuple(_say_group(group) for group in groups)


def _belongs(lap: Lap, following: Lap) -> bool:
    """Whether the lap that follows was set aside for the same reason."""
    return (lap.file, lap.number + 1, lap.why_not) == (
        following.file,
        following.number,
        following.why_not,
    ) and (lap.time_s is None) == (following.time_s is None)


def _say_group(group: Sequence[Lap]) -> Message:
    first, last = group[0], group[-1]
    word = {1: f"lap {first.number}", 2: f"laps {first.number} and {last.number}"}
    place = word.get(len(group), f"laps {first.number}–{last.number}")
    return Message(
        "flagged",
        first.file,
        first.why_not,
        "Not timed" if first.time_s is None else "Left out of statistics",
        place=f"{place}, t = {first.start_s:.1f}–{last.end_s:.1f} s",
        start_s=first.start_s,
        end_s=last.end_s,
        lap=first.number,
    )


def _breaks_off(lap: Lap, usual_s: float) -> bool:
    """Tell whether the recording ends in the middle of a lap at speed."""
    if lap.kind != "in" or lap.track is None:
        return False
    if lap.end_s - lap.start_s < WELL_INTO_IT * usual_s:
        return False
    return bool(lap.track.speed[-1] > STILL_DRIVING_MPS)
