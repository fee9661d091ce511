"""Horizontal accelerometers that are mounted turned, or whose axes are exchanged."""

from __future__ import annotations

import numpy as np

from lapwright.model.amend import say
from lapwright.model.plausible import Evidence, fit_ratio
from lapwright.model.recording import Recording
from lapwright.model.unit_checks import CORRELATION, SLOPE, Check, build_check, find_measured


def say_mounting(recording: Recording, check: Check, angle: float) -> Recording:
    """Say by how much a sensor is turned; its values stay as they are."""
    found = f"the sensor is mounted turned by {np.degrees(angle):.0f} deg about the vertical"
    done = "Kept; the rotation is estimated with the motion"
    return say(recording, "flagged", check.name, found.replace("-", "−"), done)


def find_mounting(recording: Recording, evidence: Evidence, check: Check) -> float | None:
    """Angle in rad, left positive, by which a horizontal accelerometer is turned.

    ``measured = a · forward + b · left + c`` with ``a = cos ψ, b = sin ψ`` for the
    forward axis and ``a = −sin ψ, b = cos ψ`` for the left one; None when that
    does not explain the channel.
    """
    names = ("acceleration_forward", "acceleration_left")
    if check.name not in names:
        return None
    checks = [check if n == check.name else build_check(recording, evidence, n) for n in names]
    if checks[0] is None or checks[1] is None:
        return None
    measured = find_measured(recording, evidence, check, check.name)
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


def find_swap(recording: Recording, evidence: Evidence, check: Check) -> str:
    """Say whether the two horizontal accelerations look exchanged."""
    pair = {
        "acceleration_forward": "acceleration_left",
        "acceleration_left": "acceleration_forward",
    }
    other = pair.get(check.name)
    if other is None or other not in recording.channels:
        return ""
    fit = fit_ratio(check.expected, find_measured(recording, evidence, check, other), check.least)
    if fit is None or abs(fit.r) < CORRELATION or not SLOPE[0] < abs(fit.slope) < SLOPE[1]:
        return ""
    return f"{recording.channels[other].original} has {fit.slope:+.2f}, so the axes look swapped"
