"""One lap: when it was driven, whether it counts, and what happened along the road."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LapKind = Literal["timed", "out", "in", "pit", "part", "cut", "wrong way", "off road", "slow"]


@dataclass(frozen=True, slots=True)
class Track:
    """Motion along the road through one lap, arrays of shape (k,) on one clock.

    Parameters
    ----------
    time
        Seconds since the lap's start; begins a little before 0 and ends a little
        after the lap, so that the line itself can be interpolated.
    s
        Metres from the start line, non-decreasing, 0 at the start and the circuit's
        length at the end of the lap.
    n
        Metres left of the reference line; 0 throughout where the line is not known
        (see `knows_line`).
    heading_error
        Direction of travel less that of the road, rad, left positive.
    speed, acceleration_forward, acceleration_left, curvature
        Of the path, SI units, left positive.
    n_sd, speed_sd, acceleration_forward_sd, acceleration_left_sd
        Standard deviations.
    """

    time: Array
    s: Array
    n: Array
    heading_error: Array
    speed: Array
    acceleration_forward: Array
    acceleration_left: Array
    curvature: Array
    n_sd: Array
    speed_sd: Array
    acceleration_forward_sd: Array
    acceleration_left_sd: Array


#: Above this standard deviation of the position nothing is said of the line driven, m.
LINE_SD_M = 1.0


def knows_line(position_sd: Array) -> bool:
    """Whether positions are good enough to tell lines apart: half of them within `LINE_SD_M`."""
    return 2 * int(np.count_nonzero(position_sd < LINE_SD_M)) > position_sd.size


@dataclass(frozen=True, slots=True)
class Trace:
    """One logged channel through one lap, on its own clock: seconds since the lap's start."""

    time: Array
    values: Array


@dataclass(frozen=True, slots=True)
class Lap:
    """One lap of one recording.

    Parameters
    ----------
    id
        "3" with one log, "2.3" (second log, third lap) with several.
    number
        As driven, counted from 1; an out lap is 0.
    start_s, end_s
        On the recording's clock.
    time_s, time_sd_s
        Lap time and its standard deviation; None where the lap was not completed.
    used, why_not
        Whether statistics count it, and the reason if not.
    track
        None where the lap cannot be placed on the road.
    traces
        ``throttle`` and ``brake`` as shares of their highest plateau in the session,
        ``steering`` in rad with the wheel's zero taken out, ``gear``, ``engine_speed`` in
        rad/s; those that were logged.
    """

    id: str
    file: str
    driver: str
    number: int
    kind: LapKind
    start_s: float
    end_s: float
    time_s: float | None
    time_sd_s: float | None
    used: bool
    why_not: str = ""
    track: Track | None = None
    traces: Mapping[str, Trace] = field(default_factory=dict)
