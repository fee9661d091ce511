"""One lap through one corner: the stretch of time to look in, and its landmarks in time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.model.circuit import Circuit, Corner
from lapwright.model.lap import Lap, Trace, Track

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Window:
    """One lap from the apex of the corner before to the apex of the corner after.

    ``apex_s`` and the other ``_s`` are times since the lap's start at which the car
    passes the corner's places; ``before_s`` is the end of the corner before and
    ``next_s`` the start of the corner after.
    """

    lap: Lap
    track: Track
    corner: Corner
    sign: int
    inside: NDArray[np.bool_]
    before_s: float
    start_s: float
    apex_s: float
    end_s: float
    next_s: float
    last_s: float

    def between(self, from_s: float, to_s: float) -> NDArray[np.bool_]:
        """Tell which samples of the track lie between two times."""
        return (self.track.time >= from_s) & (self.track.time <= to_s)

    def trace(self, name: str) -> Trace | None:
        """Return a logged channel; None where it was not logged."""
        return self.lap.traces.get(name)

    def value(self, name: str, at_s: float) -> float:
        """Interpolate one of the track's columns at a time."""
        return float(np.interp(at_s, self.track.time, getattr(self.track, name)))


def open_window(
    lap: Lap, circuit: Circuit, corner: Corner, before: Corner, after: Corner
) -> Window | None:
    """Open the window of one lap on one corner; None where the lap does not cover it."""
    track = lap.track
    if track is None:
        return None
    length = circuit.length_m

    def back(place: float) -> float:
        return corner.apex_m - (corner.apex_m - place) % length

    def forth(place: float) -> float:
        gap = (place - corner.apex_m) % length
        return corner.apex_m + (gap if gap > 0 else length)

    alone = before is corner
    first = corner.apex_m - length / 2 if alone else back(before.apex_m)
    last = corner.apex_m + length / 2 if alone else forth(after.apex_m)
    start, end = back(corner.start_m), forth(corner.end_m)
    if track.s[0] > start or track.s[-1] < end:
        return None
    middle = first if alone else max(first, back(before.end_m))
    following = last if alone else min(last, max(end, forth(after.start_m)))
    s, index = np.unique(track.s, return_index=True)
    time = track.time[index]
    places = np.interp([middle, start, corner.apex_m, end, following, last], s, time)
    inside = (track.s >= first) & (track.s <= last)
    return Window(lap, track, corner, 1 if corner.direction == "left" else -1, inside, *places)
