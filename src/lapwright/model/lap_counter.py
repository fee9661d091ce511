"""The logger's own lap counter, held against the laps found by position."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from lapwright.messages import Message
from lapwright.model.lap import Lap
from lapwright.model.recording import Recording

Array = NDArray[np.float64]

#: A counter that changes further from the line than this counts something else, s.
OFF_LINE_S = 0.5


def find_counter_messages(
    recordings: Sequence[Recording], laps: Sequence[Lap], line_known: bool
) -> tuple[Message, ...]:
    """Say where a lap counter restarts, or changes away from the start line.

    Parameters
    ----------
    line_known
        Whether the start line was given; the place of one that the program chose says
        nothing about the counter.
    """
    return tuple(m for r in recordings for m in _check(r, laps, line_known))


def _check(recording: Recording, laps: Sequence[Lap], line_known: bool) -> Iterator[Message]:
    counter = recording.channels.get("lap")
    own = [lap for lap in laps if lap.file == recording.file]
    if counter is None or not own:
        return
    known = np.isfinite(counter.values)
    time, value = counter.time[known], counter.values[known]
    at = np.flatnonzero(np.diff(value) != 0.0) + 1
    found = [*(_say_offset(time[at], own) if line_known else ()), *_say_restart(time, value, own)]
    if found:
        done = "Laps counted from position"
        what = " and ".join(found)
        yield Message("flagged", recording.file, what, done, channel=counter.original)


def _say_offset(changes: Array, laps: Sequence[Lap]) -> Iterator[str]:
    lines = np.array([lap.start_s for lap in laps if lap.number > 0])
    if not changes.size or not lines.size:
        return
    off = changes[:, None] - lines
    nearest = off[np.arange(changes.size), np.argmin(np.abs(off), axis=1)]
    usual = float(np.median(nearest))
    if abs(usual) > OFF_LINE_S:
        side = "after" if usual > 0 else "before"
        yield f"changes {abs(usual):.1f} s {side} the start line"


def _say_restart(time: Array, value: Array, laps: Sequence[Lap]) -> Iterator[str]:
    falls = np.flatnonzero(np.diff(value) < 0.0) + 1
    if falls.size:
        at = float(time[falls[0]])
        lap = next((lap.number for lap in laps if lap.start_s <= at < lap.end_s), None)
        where = f"t = {at:.1f} s" if lap is None else f"lap {lap}"
        yield f"restarts at {value[falls[0]]:.0f} in {where}"
