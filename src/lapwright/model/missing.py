"""Channels that a file lacks, and what that costs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lapwright.model.amend import find_place_names, say
from lapwright.model.plausible import find_noise, find_plane
from lapwright.model.recording import Recording

Array = NDArray[np.float64]


def check_missing(recording: Recording) -> Recording:
    """Say what is lost without a speed or without a position."""
    has_speed = any(n in recording.channels for n in ("speed", "velocity_forward"))
    has_wheels = any(n.startswith("wheel_speed_") for n in recording.channels)
    has_place = find_place_names(recording) is not None
    if not has_place and not has_speed and not has_wheels:
        return say(
            recording, "refused", "", "neither a position nor a speed channel",
            "Nothing can be worked out", "Name them with --set x.column=NAME and the like",
        )  # fmt: skip
    if not has_speed:
        recording = _say_no_speed(recording, has_place)
    return recording if has_place else _say_no_place(recording)


def _say_no_speed(recording: Recording, has_place: bool) -> Recording:
    if not has_place:
        done = "Speed taken from the wheels; it is wrong where they slip"
        return say(recording, "flagged", "", "no speed channel", done)
    place = find_plane(recording)
    if place is None:
        return say(recording, "flagged", "", "no speed channel", "Speed derived from positions")
    rate = 1.0 / float(np.median(np.diff(place[0])))
    done = f"Speed derived from positions ({rate:.3g} Hz); minimum speeds are good to "
    done += f"±{3.6 * _speed_error(*place):.1f} km/h"
    return say(recording, "flagged", "", "no speed channel", done)


def _speed_error(t: Array, x: Array, y: Array) -> float:
    """95 % error in m/s of a speed taken from a line through positions over half a second.

    Slope error of a straight line through m points of step h and noise sigma:
    sigma / (h sqrt(m (m² − 1) / 12)).
    """
    step = float(np.median(np.diff(t)))
    noise = find_noise(t, x, y)
    m = max(round(0.5 / step) + 1, 3)
    return float(1.96 * noise / (step * np.sqrt(m * (m * m - 1) / 12.0)))


def _say_no_place(recording: Recording) -> Recording:
    if "yaw_rate" in recording.channels:
        done = "Placed by speed and yaw rate, which drifts by metres in a lap"
        return say(
            recording, "flagged", "", "no position channel (looked for lat/lon and x/y)",
            f"{done}; no statement on line or road use",
        )  # fmt: skip
    return say(
        recording, "flagged", "", "no position channel (looked for lat/lon and x/y)",
        "Corners by distance only; no statement on line or road use",
    )  # fmt: skip
