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
    """Say of each lap that was set aside why, and what became of it."""
    times = [lap.time_s for lap in laps if lap.time_s is not None]
    usual = float(np.median(times)) if times else 0.0
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
        if lap.why_not and (lap.kind not in ORDINARY or _breaks_off(lap, usual))
    )


def _breaks_off(lap: Lap, usual_s: float) -> bool:
    """Tell whether the recording ends in the middle of a lap at speed."""
    if lap.kind != "in" or lap.track is None:
        return False
    if lap.end_s - lap.start_s < WELL_INTO_IT * usual_s:
        return False
    return bool(lap.track.speed[-1] > STILL_DRIVING_MPS)
