"""The channel glossary: names, units, signs and meaning, as data.

Axes follow ISO 8855: x forward, y left, z up; steering is positive to the left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Kind = Literal["signal", "state"]


@dataclass(frozen=True, slots=True)
class ChannelName:
    """One canonical channel.

    Parameters
    ----------
    name
        Canonical name, used everywhere inside.
    unit
        SI unit of the stored values ("1" for a share or a count).
    meaning
        One line, with the sign where there is one.
    kind
        ``signal`` for something measured, ``state`` for something that holds
        its value until it changes (gear, lap counter, driving aids).
    """

    name: str
    unit: str
    meaning: str
    kind: Kind = "signal"


_ROWS: Final = (
    ChannelName("time", "s", "time since the recording's start or any fixed moment"),
    ChannelName("utc", "s", "seconds since 1970-01-01 00:00 UTC"),
    ChannelName("latitude", "deg", "geodetic latitude, WGS 84, north positive"),
    ChannelName("longitude", "deg", "geodetic longitude, WGS 84, east positive"),
    ChannelName("altitude", "m", "height above the ellipsoid or the sea, whichever the logger has"),
    ChannelName("x", "m", "position in a fixed plane, first axis"),
    ChannelName("y", "m", "position in a fixed plane, second axis, left of x"),
    ChannelName("z", "m", "height in a fixed frame, up positive"),
    ChannelName("distance", "m", "distance driven since the start of the recording or the lap"),
    ChannelName("lap_share", "1", "share of the lap driven, 0 to 1"),
    ChannelName("heading", "rad", "direction of the car's x axis, from the x axis, left positive"),
    ChannelName("speed", "m/s", "speed over ground"),
    ChannelName("velocity_forward", "m/s", "velocity along the car's x axis"),
    ChannelName("velocity_left", "m/s", "velocity along the car's y axis, left positive"),
    ChannelName("acceleration_forward", "m/s^2", "acceleration along x, braking negative"),
    ChannelName("acceleration_left", "m/s^2", "acceleration along y, positive in a left turn"),
    ChannelName("acceleration_up", "m/s^2", "specific force along z, about 9.81 at rest"),
    ChannelName("yaw_rate", "rad/s", "rotation about z, positive in a left turn"),
    ChannelName("roll", "rad", "rotation about x, left side up positive"),
    ChannelName("pitch", "rad", "rotation about y, nose down positive"),
    ChannelName("steering", "rad", "steering angle at the hand wheel, left positive"),
    ChannelName(
        "road_wheel_angle", "rad", "mean steering angle of the front wheels, left positive"
    ),
    ChannelName("throttle", "1", "throttle pedal, 0 released to 1"),
    ChannelName("brake", "1", "brake pedal, 0 released to 1"),
    ChannelName("brake_pressure", "Pa", "pressure in the brake circuit"),
    ChannelName("gear", "1", "engaged gear, 0 neutral, -1 reverse", "state"),
    ChannelName("engine_speed", "rad/s", "speed of the crankshaft or the motor"),
    ChannelName("wheel_speed_front_left", "m/s", "circumferential speed of the wheel"),
    ChannelName("wheel_speed_front_right", "m/s", "circumferential speed of the wheel"),
    ChannelName("wheel_speed_rear_left", "m/s", "circumferential speed of the wheel"),
    ChannelName("wheel_speed_rear_right", "m/s", "circumferential speed of the wheel"),
    ChannelName("lap", "1", "lap counter of the logger", "state"),
    ChannelName("fuel_mass", "kg", "fuel on board"),
)

#: Canonical name to its row.
GLOSSARY: Final[dict[str, ChannelName]] = {row.name: row for row in _ROWS}
