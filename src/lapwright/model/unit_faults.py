"""Units, signs and axes held against physics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.messages import Outcome
from lapwright.model.amend import mark, note_repairs, put_channels, say, whole_span
from lapwright.model.plausible import (
    Evidence,
    Fit,
    build_evidence,
    fit_ratio,
    mean_over,
    mean_twice,
)
from lapwright.model.recording import Channel, Recording, Span
from lapwright.names import GLOSSARY
from lapwright.units import find_unit

Array = NDArray[np.float64]

#: What `Span.what` says of a channel that is kept but not to be used.
NOT_USED = "not used"
#: What `Span.what` says of a channel whose sign was turned.
SIGN_TURNED = "sign turned"
#: A ratio within this of a unit's is that unit (common practice, no source).
_UNIT_TOLERANCE = 0.04
#: Slope and correlation within which two sources agree (FAULTS' first thresholds).
_SLOPE = (0.8, 1.2)
_CORRELATION = 0.8
#: Below this correlation nothing can be said about a slope.
_RELATED = 0.3

_ASK_SIGN = {
    "yaw_rate": "Turn the sign of yaw rate (or, if the path is mirrored, that of lon or y by "
    "--set longitude.invert=true or --set y.invert=true)?",
}
_SPEEDS = ("m/s", "km/h", "mph", "kn")
_RATES = ("rad/s", "deg/s")
_ACCELERATIONS = ("m/s^2", "g")
_WHEELS = tuple(n for n in GLOSSARY if n.startswith("wheel_speed_"))


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


def check_units(recording: Recording, *, accept_offered: bool = False) -> Recording:
    """Hold speeds, rates and accelerations against each other and against positions.

    A unit that the file does not give is taken from physics and reported; one
    that contradicts physics is asked about when another unit fits.
    """
    recording = _check_each(recording, ("speed", "velocity_forward"), accept_offered)
    recording = _check_each(recording, ("yaw_rate",), accept_offered)
    recording = _check_each(recording, _WHEELS, accept_offered)
    return _check_each(recording, ("acceleration_forward", "acceleration_left"), accept_offered)


def _check_each(recording: Recording, names: Sequence[str], accept: bool) -> Recording:
    present = [n for n in names if n in recording.channels]
    evidence = build_evidence(recording) if present else None
    if evidence is None:
        return recording
    for name in present:
        check = _build_check(recording, evidence, name)
        if check is not None:
            recording = _judge(recording, evidence, check, accept)
    return recording


def _build_check(recording: Recording, evidence: Evidence, name: str) -> Check | None:
    """Say what physics gives for a channel; None when nothing in the file tells it."""
    if name in ("speed", "velocity_forward"):
        if evidence.path_speed is None:
            return None
        return Check(name, _SPEEDS, "speed from positions", evidence.path_speed, 8.0, False)
    if name in _WHEELS:
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


def _measured(recording: Recording, evidence: Evidence, check: Check, name: str) -> Array:
    """Mean of a channel under the same window as what it is held against."""
    if check.other.endswith("path"):
        return mean_twice(recording.channels[name], evidence)
    return _mean(recording, evidence, name)


def _judge(recording: Recording, evidence: Evidence, check: Check, accept: bool) -> Recording:
    values = _measured(recording, evidence, check, check.name)
    fit = fit_ratio(check.expected, values, check.least)
    if fit is None:
        return recording
    channel = recording.channels[check.name]
    size = abs(fit.slope)
    turned = check.signed and fit.slope < 0.0 and fit.r < -_CORRELATION
    if not check.signed or abs(fit.r) > _CORRELATION:
        unit = _find_fitting(channel, check, size)
        tolerance = _tolerance(check)
        if unit is not None and not 1.0 - tolerance < size < 1.0 + tolerance:
            recording = _change_unit(recording, check, unit, fit, accept)
            rescale = _factor(channel, unit)
            size *= rescale
            fit = replace(fit, slope=fit.slope * rescale)
        elif channel.how_known == "assumed" and _SLOPE[0] < size < _SLOPE[1]:
            recording = put_channels(recording, replace(channel, how_known="physics"))
    if turned and _SLOPE[0] < size < _SLOPE[1]:
        return _turn(recording, evidence, check, fit, accept)
    if not check.signed:
        return _judge_speed(recording, check, size)
    angle = _find_mounting(recording, evidence, check)
    if angle is not None:
        return _say_mounting(recording, check, angle)
    if not (_SLOPE[0] < fit.slope < _SLOPE[1] and fit.r > _CORRELATION):
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
    swapped = _find_swap(recording, evidence, check)
    found = f"slope {fit.slope:.2f} against {check.other} (r = {fit.r:.2f})"
    found = f"inconsistent with the {check.other}: {found}".replace("-", "−")
    if swapped:
        found += f"; {swapped}"
    recording = say(
        recording, "flagged", check.name, found, "Marked, not used", "Check sensor and scale"
    )
    return mark(recording, [whole_span(recording.channels[check.name], NOT_USED)])


def _say_mounting(recording: Recording, check: Check, angle: float) -> Recording:
    found = f"the sensor is mounted turned by {np.degrees(angle):.0f} deg about the vertical"
    done = "Kept; the rotation is estimated with the motion"
    return say(recording, "flagged", check.name, found.replace("-", "−"), done)


def _find_mounting(recording: Recording, evidence: Evidence, check: Check) -> float | None:
    """Angle in rad, left positive, by which a horizontal accelerometer is turned.

    ``measured = a · forward + b · left + c`` with ``a = cos ψ, b = sin ψ`` for the
    forward axis and ``a = −sin ψ, b = cos ψ`` for the left one; None when that
    does not explain the channel.
    """
    names = ("acceleration_forward", "acceleration_left")
    if check.name not in names:
        return None
    checks = [check if n == check.name else _build_check(recording, evidence, n) for n in names]
    if checks[0] is None or checks[1] is None:
        return None
    measured = _measured(recording, evidence, check, check.name)
    table = np.column_stack([c.expected for c in checks if c] + [np.ones(measured.size)])
    known = np.isfinite(table).all(axis=1) & np.isfinite(measured)
    if known.sum() < 100:
        return None
    a, b, c = np.linalg.lstsq(table[known], measured[known], rcond=None)[0]
    left = measured[known] - table[known] @ np.array([a, b, c])
    explained = 1.0 - float(np.var(left) / np.var(measured[known]))
    angle = float(np.arctan2(b, a) if check.name == names[0] else np.arctan2(-a, b))
    # What the expected value alone leaves must be clearly more, or the angle is noise.
    own = table[known][:, names.index(check.name)]
    r = float(np.corrcoef(own, measured[known])[0, 1])
    fits = explained > max(0.85, r * r + 0.03) and 0.85 < np.hypot(a, b) < 1.15
    return angle if fits and 0.1 < abs(angle) < 0.8 else None


def _find_swap(recording: Recording, evidence: Evidence, check: Check) -> str:
    """Say whether the two horizontal accelerations look exchanged."""
    pair = {
        "acceleration_forward": "acceleration_left",
        "acceleration_left": "acceleration_forward",
    }
    other = pair.get(check.name)
    if other is None or other not in recording.channels:
        return ""
    fit = fit_ratio(check.expected, _measured(recording, evidence, check, other), check.least)
    if fit is None or abs(fit.r) < _CORRELATION or not _SLOPE[0] < abs(fit.slope) < _SLOPE[1]:
        return ""
    return f"{recording.channels[other].original} has {fit.slope:+.2f}, so the axes look swapped"


def _judge_offset(recording: Recording, evidence: Evidence, check: Check) -> Recording:
    if not check.name.startswith("acceleration"):
        return recording
    gap = _measured(recording, evidence, check, check.name) - check.expected
    offset = float(np.nanmedian(gap))
    if abs(offset) < 0.5:
        return recording
    side = "above" if offset > 0 else "below"
    found = f"{abs(offset):.1f} m/s² {side} the {check.other} over the whole file"
    return say(
        recording, "flagged", check.name, found, "Kept; a constant offset is estimated with the "
        "motion", "Check the mounting",
    )  # fmt: skip
