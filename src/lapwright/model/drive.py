"""A whole recording as one motion in the plane, with its channels on the pedals' clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.amend import blank_marked, find_place_names
from lapwright.model.circuit import Origin
from lapwright.model.lap_period import find_crossings
from lapwright.model.recording import Channel, Recording
from lapwright.numerics.dead_reckoning import close_dead_reckoning
from lapwright.numerics.delays import LONGEST_LOOK_S, align_delays
from lapwright.numerics.frames import LocalFrame, geodetic_to_local, middle_frame
from lapwright.numerics.motion import estimate_motion
from lapwright.numerics.motion_grid import FASTEST_HZ
from lapwright.numerics.series import DelayEstimate, Motion, Series

Array = NDArray[np.float64]

#: Channels that the motion is estimated from, and the group whose delay they share.
GROUPS = {
    "x": "position",
    "y": "position",
    "heading": "position",
    "speed": "speed",
    "velocity_forward": "speed",
    "velocity_left": "speed",
    "acceleration_forward": "imu",
    "acceleration_left": "imu",
    "yaw_rate": "imu",
}
PEDALS = ("throttle", "brake", "brake_pressure")
#: Closing a lap hides how far it drifted inside: metres, against simulated laps.
DEAD_RECKONED_SD_M = 3.0
#: A delay is taken out only where it stands out of its uncertainty this many times.
DELAY_EVIDENCE = 3.0


@dataclass(frozen=True, slots=True)
class Care:
    """How closely a recording is looked at.

    Parameters
    ----------
    fastest_hz
        Rate of the motion at most; see `lapwright.numerics.motion.estimate_motion`.
    delays_from_s
        The delays are found in so many seconds at most.
    """

    fastest_hz: float = FASTEST_HZ
    delays_from_s: float = LONGEST_LOOK_S


CLOSELY = Care()


@dataclass(frozen=True, slots=True)
class Drive:
    """One recording made whole.

    Parameters
    ----------
    recording
        As repaired; the delays found stand in its channels.
    motion
        In the plane of the position source, on the pedals' clock.
    height
        Height at the motion's times in m, shape (n,); None where not logged.
    origin
        Where the plane's origin lies on the earth; None for plane coordinates.
    delays
        By group of sources: what was found.
    """

    recording: Recording
    motion: Motion
    height: Array | None
    origin: Origin | None
    delays: Mapping[str, DelayEstimate]


def build_drive(recording: Recording, origin: Origin | None = None, care: Care = CLOSELY) -> Drive:
    """Fuse a repaired recording into one motion.

    Parameters
    ----------
    recording
        Repaired; with position, or speed and yaw rate.
    origin
        Plane to use for geodetic positions; None for the middle of this recording.
    care
        How closely.

    Raises
    ------
    NoAnswerError
        If there is neither a position nor a speed.
    InputError
        If there is no position and the rest does not repeat from lap to lap.
    """
    series, place = _series(recording, origin)
    pedals = {n: _one(recording, n) for n in PEDALS if n in recording.channels}
    delays = align_delays({**series, **pedals}, care.delays_from_s)
    shifts = {group: _shift(d) for group, d in delays.items()}
    moved = {
        name: replace(s, time=s.time - shifts.get(GROUPS[name], 0.0)) for name, s in series.items()
    }
    motion = estimate_motion(moved, fastest_hz=care.fastest_hz)
    if "x" not in moved:
        motion = _closed(motion, recording.file)
    return Drive(
        recording=_with_delays(recording, shifts),
        motion=motion,
        height=_height(recording, motion, shifts.get("position", 0.0)),
        origin=place,
        delays=delays,
    )


def _closed(motion: Motion, file: str) -> Motion:
    """Lay the laps of a motion without positions over each other."""
    crossings = find_crossings(motion)
    if len(crossings) < 2:
        found = "no position, and speed and yaw rate do not repeat from lap to lap"
        to_do = "Log a position or a yaw rate, for two whole laps at least"
        raise InputError([Message("refused", file, found, "No laps can be placed", to_do)])
    closed = close_dead_reckoning(motion, crossings)
    return replace(closed, position_sd=np.maximum(closed.position_sd, DEAD_RECKONED_SD_M))


def _series(recording: Recording, origin: Origin | None) -> tuple[dict[str, Series], Origin | None]:
    names = find_place_names(recording)
    series = {
        n: _one(recording, n) for n in GROUPS if n in recording.channels and n not in ("x", "y")
    }
    if names is None:
        return series, None
    first, second = (_one(recording, n) for n in names)
    if names[0] == "x":
        return {"x": first, "y": second, **series}, None
    if origin is None:
        frame = middle_frame(first.values, second.values)
        origin = Origin(frame.latitude, frame.longitude, frame.height)
    frame = LocalFrame(origin.latitude_deg, origin.longitude_deg, origin.altitude_m)
    x, y, _ = geodetic_to_local(frame, first.values, second.values, origin.altitude_m)
    if series.get("heading") is not None:
        series.pop("heading")  # grid and compass headings are not told apart safely
    return {"x": Series(first.time, x), "y": Series(first.time, y), **series}, origin


def _one(recording: Recording, name: str) -> Series:
    channel: Channel = blank_marked(recording, name)
    return Series(channel.time, channel.values)


def _shift(found: DelayEstimate) -> float:
    sure = found.identifiable and abs(found.delay_s) > DELAY_EVIDENCE * found.sd
    return found.delay_s if sure else 0.0


def _with_delays(recording: Recording, shifts: Mapping[str, float]) -> Recording:
    groups = {**GROUPS, "latitude": "position", "longitude": "position", "altitude": "position"}
    return replace(
        recording,
        channels={
            n: replace(c, delay_s=c.delay_s + shifts.get(groups.get(n, ""), 0.0))
            for n, c in recording.channels.items()
        },
    )


def _height(recording: Recording, motion: Motion, shift: float) -> Array | None:
    name = next((n for n in ("z", "altitude") if n in recording.channels), None)
    if name is None:
        return None
    channel = blank_marked(recording, name)
    good = np.isfinite(channel.values)
    if good.sum() < 10:
        return None
    return np.interp(motion.time, channel.time[good] - shift, channel.values[good])
