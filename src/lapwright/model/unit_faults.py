"""Units, signs and axes held against physics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lapwright.messages import Outcome
from lapwright.model.amend import mark, note_repairs, put_channels, say, whole_span
from lapwright.model.mounting import find_mounting, find_swap, say_mounting
from lapwright.model.plausible import Evidence, Fit, build_evidence, fit_ratio
from lapwright.model.recording import Channel, Recording, Span
from lapwright.model.unit_checks import (
    CORRELATION,
    NOT_USED,
    SIGN_TURNED,
    SLOPE,
    WHEELS,
    Check,
    build_check,
    find_measured,
)
from lapwright.units import find_unit

Array = NDArray[np.float64]

#: A ratio within this of a unit's is that unit (common practice, no source).
_UNIT_TOLERANCE = 0.04

_ASK_SIGN = {
    "yaw_rate": "Turn the sign of yaw rate (or, if the path is mirrored, that of lon or y by "
    "--set longitude.invert=true or --set y.invert=true)?",
}


def check_units(recording: Recording, *, accept_offered: bool = False) -> Recording:
    """Hold speeds, rates and accelerations against each other and against positions.

    A unit that the file does not give is taken from physics and reported; one
    that contradicts physics is asked about when another unit fits.
    """
    recording = _check_each(recording, ("speed", "velocity_forward"), accept_offered)
    recording = _check_each(recording, ("yaw_rate",), accept_offered)
    recording = _check_each(recording, WHEELS, accept_offered)
    return _check_each(recording, ("acceleration_forward", "acceleration_left"), accept_offered)


def _check_each(recording: Recording, names: Sequence[str], accept: bool) -> Recording:
    present = [n for n in names if n in recording.channels]
    evidence = build_evidence(recording) if present else None
    if evidence is None:
        return recording
    for name in present:
        check = build_check(recording, evidence, name)
        if check is not None:
            recording = _judge(recording, evidence, check, accept)
    return recording


def _judge(recording: Recording, evidence: Evidence, check: Check, accept: bool) -> Recording:
    values = find_measured(recording, evidence, check, check.name)
    fit = fit_ratio(check.expected, values, check.least)
    if fit is None:
        return recording
    channel = recording.channels[check.name]
    size = abs(fit.slope)
    turned = check.signed and fit.slope < 0.0 and fit.r < -CORRELATION
    if not check.signed or abs(fit.r) > CORRELATION:
        unit = _find_fitting(channel, check, size)
        tolerance = _tolerance(check)
        if unit is not None and not 1.0 - tolerance < size < 1.0 + tolerance:
            recording = _change_unit(recording, check, unit, fit, accept)
            rescale = _factor(channel, unit)
            size *= rescale
            fit = replace(fit, slope=fit.slope * rescale)
        elif channel.how_known == "assumed" and SLOPE[0] < size < SLOPE[1]:
            recording = put_channels(recording, replace(channel, how_known="physics"))
    if turned and SLOPE[0] < size < SLOPE[1]:
        return _turn(recording, evidence, check, fit, accept)
    if not check.signed:
        return _judge_speed(recording, check, size)
    angle = find_mounting(recording, evidence, check)
    if angle is not None:
        return say_mounting(recording, check, angle)
    if not (SLOPE[0] < fit.slope < SLOPE[1] and fit.r > CORRELATION):
        return _judge_misfit(recording, evidence, check, fit)
    return _judge_offset(recording, evidence, check)


def _tolerance(check: Check) -> float:
    return _UNIT_TOLERANCE if not check.signed else 0.2


def _header_factor(channel: Channel) -> float:
    """SI factor by which the column was read."""
    unit = find_unit(channel.original_unit or channel.unit)
    return unit.factor if unit else 1.0


def _factor(channel: Channel, unit: str) -> float:
    """By how much stored values change when the column is read in another unit."""
    found = find_unit(unit)
    assert found is not None
    return found.factor / _header_factor(channel)


def _find_fitting(channel: Channel, check: Check, size: float) -> str | None:
    """Find the unit under which the channel agrees with physics."""
    tolerance = _tolerance(check)
    off = {u: abs(size * _factor(channel, u) - 1.0) for u in check.units}
    best = min(off, key=lambda u: off[u])
    return best if off[best] < tolerance else None


def _change_unit(
    recording: Recording, check: Check, unit: str, fit: Fit, accept: bool
) -> Recording:
    """Read the column in the unit that fits, asking when the header says otherwise."""
    channel = recording.channels[check.name]
    times = f"{abs(fit.slope):.3g} times the {check.other}"
    values = channel.values * _factor(channel, unit)
    read = replace(channel, values=values, original_unit=unit, how_known="physics")
    answer = f"--set {check.name}.unit={unit}"
    span = Span(check.name, float(channel.time[0]), float(channel.time[-1]), f"read as {unit}")
    if channel.how_known == "assumed":
        found = f"no unit; as {channel.unit} it would be {times}"
        recording = say(recording, "repaired", check.name, found, f"Read as {unit}")
    else:
        stated = channel.original_unit or channel.unit
        found = f'{times} (±{100.0 * fit.spread / abs(fit.slope):.1f} %) under "{stated}"'
        if accept:
            done = f"Read as {unit}, as offered ({answer})"
            recording = say(recording, "repaired", check.name, found, done)
        else:
            to_do = f"Read as {unit}?"
            recording = say(recording, "ask", check.name, found, "", to_do, answer=answer)
    return note_repairs(put_channels(recording, read), [span])


def _turn(
    recording: Recording, evidence: Evidence, check: Check, fit: Fit, accept: bool
) -> Recording:
    """Turn a sign; ask first when two channels could be the wrong one."""
    channel = recording.channels[check.name]
    found = f"slope {fit.slope:.2f} against {check.other} (r = {fit.r:.2f})".replace("-", "−")
    turned = replace(channel, values=-channel.values)
    answer = f"--set {check.name}.invert=true"
    span = whole_span(channel, SIGN_TURNED)
    if check.name == "yaw_rate":
        found = f"the path turns left where yaw rate says right (r = {fit.r:.2f})".replace("-", "−")
    sure = check.name.startswith("acceleration") and evidence.path_rate is not None
    sure = sure or check.name == "acceleration_forward"
    outcome: Outcome = "flagged"
    done, to_do, shown = "Read with its sign turned", "Check the mounting", None
    if not sure:
        outcome, done, to_do, shown = "ask", "", _ASK_SIGN.get(check.name, "Turn it?"), answer
        if accept:
            outcome, done, to_do = "repaired", f"Sign turned, as offered ({answer})", ""
    recording = say(recording, outcome, check.name, found, done, to_do, answer=shown)
    return note_repairs(put_channels(recording, turned), [span])


def _judge_speed(recording: Recording, check: Check, size: float) -> Recording:
    off = size - 1.0
    if abs(off) <= 0.05:
        return recording
    side = "above" if off > 0 else "below"
    found = f"{100.0 * abs(off):.0f} % {side} the {check.other}, and no unit explains it"
    return say(
        recording, "flagged", check.name, found, "Kept as it is", "Check tyre radius or scale"
    )


def _judge_misfit(recording: Recording, evidence: Evidence, check: Check, fit: Fit) -> Recording:
    """Mark a channel that contradicts physics under every unit and sign."""
    excited = float(np.nanstd(check.expected))
    if excited < 0.5 * check.least:
        return recording
    swapped = find_swap(recording, evidence, check)
    found = f"slope {fit.slope:.2f} against {check.other} (r = {fit.r:.2f})"
    found = f"inconsistent with the {check.other}: {found}".replace("-", "−")
    if swapped:
        found += f"; {swapped}"
    recording = say(
        recording, "flagged", check.name, found, "Marked, not used", "Check sensor and scale"
    )
    return mark(recording, [whole_span(recording.channels[check.name], NOT_USED)])


def _judge_offset(recording: Recording, evidence: Evidence, check: Check) -> Recording:
    if not check.name.startswith("acceleration"):
        return recording
    gap = find_measured(recording, evidence, check, check.name) - check.expected
    offset = float(np.nanmedian(gap))
    if abs(offset) < 0.5:
        return recording
    side = "above" if offset > 0 else "below"
    found = f"{abs(offset):.1f} m/s² {side} the {check.other} over the whole file"
    return say(
        recording, "flagged", check.name, found, "Kept; a constant offset is estimated with the "
        "motion", "Check the mounting",
    )  # fmt: skip
