"""What physics gives for a channel, on the grid of the evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lapwright.model.plausible import Evidence, mean_over, mean_twice
from lapwright.model.recording import Recording
from lapwright.names import GLOSSARY

Array = NDArray[np.float64]

#: What `Span.what` says of a channel that is kept but not to be used.
NOT_USED: Final = "not used"
#: What `Span.what` says of a channel whose sign was turned, or that was multiplied.
SIGN_TURNED: Final = "sign turned"
TIMES_1000: Final = "times 1000"
#: Slope and correlation within which two sources agree (common practice, no source).
SLOPE: Final = (0.8, 1.2)
CORRELATION: Final = 0.8
WHEELS: Final = tuple(n for n in GLOSSARY if n.startswith("wheel_speed_"))

_SPEEDS = ("m/s", "km/h", "mph", "kn")
_RATES = ("rad/s", "deg/s")
_ACCELERATIONS = ("m/s^2", "g")


@dataclass(frozen=True, slots=True)
class Check:
    """One channel against what physics gives for it.

    Parameters
    ----------
    name
        The channel.
    units
        Units in which its column may be.
    other
        What it is held against, in words.
    expected
        Its value by physics on the evidence's grid, shape (m,).
    least
        Smallest expected magnitude that tells a slope.
    signed
        Whether the sign has a meaning that can be lost.
    """

    name: str
    units: Sequence[str]
    other: str
    expected: Array
    least: float
    signed: bool


def build_check(recording: Recording, evidence: Evidence, name: str) -> Check | None:
    """Say what physics gives for a channel; None when nothing in the file tells it."""
    if name in ("speed", "velocity_forward"):
        if evidence.path_speed is None:
            return None
        return Check(name, _SPEEDS, "speed from positions", evidence.path_speed, 8.0, False)
    if name in WHEELS:
        if evidence.speed is None:
            return None
        return Check(name, _SPEEDS, "speed", evidence.speed, 8.0, False)
    if name == "yaw_rate":
        if evidence.path_rate is None:
            return None
        return Check(name, _RATES, "turning rate of the path", evidence.path_rate, 0.1, True)
    if name == "acceleration_forward":
        if evidence.speed_rate is None:
            return None
        return Check(
            name, _ACCELERATIONS, "rate of change of speed", evidence.speed_rate, 1.0, True
        )
    if evidence.speed is None:
        return None
    rate, other = evidence.path_rate, "speed × turning rate of the path"
    if "yaw_rate" in recording.channels and not _is_unused(recording, "yaw_rate"):
        rate, other = _mean(recording, evidence, "yaw_rate"), "speed × yaw rate"
    if rate is None:
        return None
    return Check(name, _ACCELERATIONS, other, evidence.speed * rate, 1.0, True)


def _is_unused(recording: Recording, name: str) -> bool:
    return any(s.channel == name and s.what == NOT_USED for s in recording.marked)


def _mean(recording: Recording, evidence: Evidence, name: str) -> Array:
    return mean_over(recording.channels[name], evidence.time, evidence.half_window)


def find_measured(recording: Recording, evidence: Evidence, check: Check, name: str) -> Array:
    """Mean of a channel under the same window as what it is held against."""
    if check.other.endswith("path"):
        return mean_twice(recording.channels[name], evidence)
    return _mean(recording, evidence, name)
