"""Conventions and faults of heading, velocity components, roll and pitch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lapwright.model.amend import (
    drop_channel,
    mark,
    note_repairs,
    put_channels,
    say,
    whole_span,
)
from lapwright.model.plausible import Evidence, build_evidence, fit_ratio, mean_over, wrap
from lapwright.model.recording import Channel, Recording
from lapwright.model.unit_checks import NOT_USED, SIGN_TURNED

Array = NDArray[np.float64]

#: Sideslip and road camber keep heading and course within this (common practice, no source).
_HEADING_FIT_RAD = 0.15
#: No car on its wheels leans or climbs by more; the steepest bankings are about 0.6 rad
#: (common practice, no source).
_STEEPEST_RAD = 0.7


def check_attitude(recording: Recording) -> Recording:
    """Settle which way heading counts, in which frame velocities are, and whether roll can be."""
    recording = _unwrap_heading(recording)
    evidence = build_evidence(recording)
    if evidence is not None:
        recording = _settle_velocities(recording, evidence)
        recording = _settle_heading(recording, evidence)
    for name in ("roll", "pitch"):
        recording = _check_lean(recording, name)
    return recording


def settle_steering(recording: Recording) -> Recording:
    """Turn steering that is logged positive to the right, judged by the path's curvature."""
    names = [n for n in ("steering", "road_wheel_angle") if n in recording.channels]
    evidence = build_evidence(recording) if names else None
    if evidence is None or evidence.speed is None:
        return recording
    rate = evidence.path_rate
    if rate is None and "yaw_rate" in recording.channels:
        rate = mean_over(recording.channels["yaw_rate"], evidence.time, evidence.half_window)
    if rate is None:
        return recording
    curvature = np.where(evidence.speed > 8.0, rate / np.maximum(evidence.speed, 8.0), np.nan)
    for name in names:
        recording = _turn_steering(recording, evidence, curvature, name)
    return recording


def _turn_steering(
    recording: Recording, evidence: Evidence, curvature: Array, name: str
) -> Recording:
    channel = recording.channels[name]
    angle = mean_over(channel, evidence.time, evidence.half_window)
    known = np.isfinite(angle) & np.isfinite(curvature)
    if known.sum() < 50 or np.std(angle[known]) == 0.0 or np.std(curvature[known]) == 0.0:
        return recording
    r = float(np.corrcoef(angle[known], curvature[known])[0, 1])
    if r > -0.8:
        return recording
    found = f"positive to the right (r = {r:.2f} against the path's curvature)"
    recording = say(recording, "repaired", name, found.replace("-", "−"), "Turned to left positive")
    recording = note_repairs(recording, [whole_span(channel, SIGN_TURNED)])
    return put_channels(recording, replace(channel, values=-channel.values))


def _unwrap_heading(recording: Recording) -> Recording:
    """Make heading continuous, so that it can be interpolated."""
    channel = recording.channels.get("heading")
    if channel is None:
        return recording
    values = channel.values.copy()
    known = np.isfinite(values)
    if channel.how_known == "assumed" and known.any() and np.ptp(values[known]) > 8.0:
        values = np.radians(values)
        channel = replace(channel, original_unit="deg", how_known="physics")
        recording = say(
            put_channels(recording, channel), "repaired", "heading",
            "no unit; values pass a full turn of 6.28 rad", "Read as deg",
        )  # fmt: skip
    values[known] = np.unwrap(values[known])
    return put_channels(recording, replace(channel, values=values))


def _settle_velocities(recording: Recording, evidence: Evidence) -> Recording:
    """Tell velocities along the car's axes from velocities along the world's."""
    names = ("velocity_forward", "velocity_left")
    if evidence.east is None or evidence.north is None:
        return recording
    if not all(n in recording.channels for n in names):
        return recording
    means = [mean_over(recording.channels[n], evidence.time, evidence.half_window) for n in names]
    fits = [
        fit_ratio(e, m, 5.0) for e, m in zip((evidence.east, evidence.north), means, strict=True)
    ]
    if any(f is None or f.r < 0.95 or not 0.9 < f.slope < 1.1 for f in fits):
        return recording
    return _replace_world_velocities(recording, names)


def _replace_world_velocities(recording: Recording, names: tuple[str, str]) -> Recording:
    first, second = (recording.channels[n] for n in names)
    found = "velocities along the world's axes, not the car's"
    recording = say(recording, "repaired", names, found, "Used as speed over ground")
    speed = replace(first, name="speed", values=np.hypot(first.values, second.values))
    if "speed" not in recording.channels and first.time.size == second.time.size:
        recording = put_channels(recording, speed)
    others = {**recording.others, first.original: first, second.original: second}
    for name in names:
        recording = drop_channel(recording, name)
    return replace(recording, others=others)


def _settle_heading(recording: Recording, evidence: Evidence) -> Recording:
    """Turn compass headings into mathematical ones, judged by the direction of travel."""
    channel = recording.channels.get("heading")
    if channel is None:
        return recording
    in_degrees = (channel.original_unit or "").strip().startswith(("deg", "°", "º"))
    if evidence.path_course is None:
        return _assume_heading(recording, channel, in_degrees)
    course = evidence.path_course
    known = np.isfinite(course)
    if known.sum() < 50:
        return _assume_heading(recording, channel, in_degrees)
    at = np.interp(evidence.time, channel.time, channel.values)
    if _misfit(at, course) < _HEADING_FIT_RAD:
        return _note(recording, "from the x axis, left positive, as the path shows")
    if _misfit(np.pi / 2 - at, course) < _HEADING_FIT_RAD:
        recording = put_channels(recording, replace(channel, values=np.pi / 2 - channel.values))
        return _note(recording, "compass, clockwise from north, as the path shows; turned")
    return _turn_by_constant(recording, channel, at, course)


def _note(recording: Recording, what: str) -> Recording:
    return replace(recording, info={**recording.info, "heading counts": what})


def _assume_heading(recording: Recording, channel: Channel, in_degrees: bool) -> Recording:
    """Without positions: degrees are taken as a compass, radians as mathematical."""
    if not in_degrees:
        return _note(recording, "from the x axis, left positive (assumed)")
    recording = put_channels(recording, replace(channel, values=np.pi / 2 - channel.values))
    return _note(recording, "compass, clockwise from north (assumed); turned")


def _misfit(heading: Array, course: Array) -> float:
    return float(np.nanmedian(np.abs(wrap(heading - course))))


def _turn_by_constant(
    recording: Recording, channel: Channel, at: Array, course: Array
) -> Recording:
    """Take out a constant angle between the heading's zero and the plane's x axis."""
    for sign in (1.0, -1.0):
        gap = wrap(course - sign * at)
        gap = gap[np.isfinite(gap)]
        constant = float(np.angle(np.mean(np.exp(1j * gap))))
        if _misfit(sign * at + constant, course) < _HEADING_FIT_RAD:
            turned = replace(channel, values=sign * channel.values + constant)
            found = f"differs from the direction of travel by a constant {constant:.2f} rad"
            found += ", counted clockwise" if sign < 0 else ""
            recording = say(recording, "repaired", "heading", found, "Taken out")
            return _note(put_channels(recording, turned), "turned to fit the path")
    found = "does not follow the direction of travel under any usual convention"
    recording = say(
        recording, "flagged", "heading", found, "Marked, not used", "Check the channel's name"
    )
    return mark(recording, [whole_span(channel, NOT_USED)])


def _check_lean(recording: Recording, name: str) -> Recording:
    """Mark roll or pitch that no car on its wheels can have."""
    channel = recording.channels.get(name)
    if channel is None:
        return recording
    values = np.abs(channel.values[np.isfinite(channel.values)])
    beyond = float((values > _STEEPEST_RAD).mean()) if values.size else 0.0
    if beyond < 0.02:
        return recording
    found = f"beyond {_STEEPEST_RAD} rad in {100.0 * beyond:.0f} % of the file, up to "
    found += f"{values.max():.2f} rad: no car on its wheels leans so far"
    recording = say(
        recording, "flagged", name, found, "Marked, not used", "Check the unit and the sensor"
    )
    return mark(recording, [whole_span(channel, NOT_USED)])
