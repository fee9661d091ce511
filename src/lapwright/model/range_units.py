"""Units that a header leaves out, told by the range of the values."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lapwright.model.amend import drop_channel, note_repairs, put_channels, say
from lapwright.model.recording import Channel, Recording, Span
from lapwright.model.unit_checks import TIMES_1000
from lapwright.names import GLOSSARY
from lapwright.units import find_unit

#: Above the first figure a channel without a unit is read in the second (common practice,
#: no source): pedals beyond 1.5 are per cent, an engine beyond 1 000 counts turns a minute.
_BEYOND = {
    "throttle": ((1.5, "%"),),
    "brake": ((101.0, "bar"), (1.5, "%")),
    "lap_share": ((1.5, "%"),),
    "engine_speed": ((1600.0, "1/min"),),
    "steering": ((12.0, "deg"),),
    "road_wheel_angle": ((1.2, "deg"),),
    "roll": ((1.2, "deg"),),
    "pitch": ((1.2, "deg"),),
    "brake_pressure": ((250_000.0, "Pa"), (300.0, "kPa"), (0.0, "bar")),
    "speed": ((130.0, "km/h"),),
}


#: Held against physics first; the range of the values decides only where that says nothing.
_LAST = ("speed", "velocity_forward", "acceleration_forward", "acceleration_left", "yaw_rate")


def guess_units(recording: Recording) -> Recording:
    """Read channels without a unit in the unit that their range tells, and say so."""
    for name in _BEYOND:
        channel = recording.channels.get(name)
        if channel is not None and channel.how_known == "assumed" and name not in _LAST:
            recording = _guess(recording, channel)
    return recording


def ask_thousands(recording: Recording, *, accept_offered: bool = False) -> Recording:
    """Ask when an engine seems to turn a few times a minute: thousands written with a point."""
    channel = recording.channels.get("engine_speed")
    unit = find_unit(channel.original_unit) if channel and channel.original_unit else None
    if channel is None or unit is None or channel.how_known == "mapping":
        return recording
    turns = channel.values[np.isfinite(channel.values)] / unit.factor
    if unit.name != "1/min" or not turns.size or not 0.5 < np.percentile(turns, 99) < 30.0:
        return recording
    low, high = float(np.percentile(turns, 1)), float(np.percentile(turns, 99))
    answer = "--set engine_speed.scale=1000"
    found = f"values of {low:.1f} to {high:.1f} 1/min; they look like thousands with a point"
    offered = f"Import as {1000 * low:,.0f} to {1000 * high:,.0f}?".replace(",", " ")
    read = replace(channel, values=1000.0 * channel.values)
    span = Span("engine_speed", float(channel.time[0]), float(channel.time[-1]), TIMES_1000)
    if accept_offered:
        done = f"Multiplied by 1 000, as offered ({answer})"
        recording = say(recording, "repaired", "engine_speed", found, done)
    else:
        recording = say(recording, "ask", "engine_speed", found, "", offered, answer=answer)
    return note_repairs(put_channels(recording, read), [span])


def settle_assumed(recording: Recording) -> Recording:
    """Say which units stay assumed, after physics had nothing to hold them against."""
    for name in _LAST:
        channel = recording.channels.get(name)
        if channel is None or channel.how_known != "assumed":
            continue
        before = recording
        recording = _guess(recording, channel) if name in _BEYOND else recording
        if recording is before:
            found = "no unit, and nothing in the file to hold it against"
            to_do = f"Say the unit with --set {name}.unit=UNIT if it is another"
            recording = say(recording, "flagged", name, found, f"Taken as {channel.unit}", to_do)
    return recording


def _guess(recording: Recording, channel: Channel) -> Recording:
    known = np.abs(channel.values[np.isfinite(channel.values)])
    if not known.size:
        return recording
    largest = float(np.percentile(known, 99.9))
    unit_text = next((u for bound, u in _BEYOND[channel.name] if largest > bound), None)
    unit = find_unit(unit_text) if unit_text else None
    if unit is None or unit_text is None:
        return recording
    name = "brake_pressure" if unit.dimension == "pressure" else channel.name
    read = replace(
        channel,
        name=name,
        unit=GLOSSARY[name].unit,
        values=channel.values * unit.factor,
        original_unit=unit_text,
        how_known="physics",
    )
    found = f"no unit; values reach {largest:.4g}"
    recording = say(recording, "repaired", channel.name, found, f"Read as {unit_text}")
    if name != channel.name:
        recording = drop_channel(recording, channel.name)
    span = Span(name, float(channel.time[0]), float(channel.time[-1]), f"read as {unit_text}")
    return note_repairs(put_channels(recording, read), [span])
