"""Stretches in which the logged speed leaves the speed from positions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from lapwright.model.amend import mark, say
from lapwright.model.plausible import Evidence, build_evidence, find_noise, find_plane, mean_over
from lapwright.model.recording import Recording, Span

Array = NDArray[np.float64]

#: Off by this share for this long (first thresholds; common practice, no source).
_OFF, _OFF_S = 0.05, 1.0
#: Positions may come this much later or earlier than speed without being a fault.
_LATE_S = 0.4
#: Slower than this a share says nothing.
_MOVING_MPS = 8.0
#: Robust: so many standard deviations of the path speed's noise are allowed on top.
_SIGMAS = 5.0


def mark_wrong_speed(recording: Recording) -> Recording:
    """Mark stretches in which speed and the speed from positions differ for long."""
    for name in ("speed", "velocity_forward"):
        evidence = build_evidence(recording) if name in recording.channels else None
        if evidence is not None and evidence.path_speed is not None:
            recording = _mark_stretches(recording, name, evidence, evidence.path_speed)
    return recording


def _mark_stretches(recording: Recording, name: str, evidence: Evidence, path: Array) -> Recording:
    speed = mean_over(recording.channels[name], evidence.time, evidence.half_window)
    usual = float(np.nanmedian(speed / np.maximum(path, 1.0))) if np.isfinite(speed).any() else 0.0
    if abs(usual - 1.0) > _OFF:
        return recording  # a wrong unit or scale, said elsewhere
    off = _find_off(recording, evidence, path, speed)
    edges = np.flatnonzero(np.diff(off.astype(np.int8), prepend=0, append=0))
    for first, end in zip(edges[0::2], edges[1::2], strict=True):
        start, stop = float(evidence.time[first]), float(evidence.time[end - 1])
        # The windows reach half a window beyond the fault on either side.
        if stop - start < max(_OFF_S, 2.0 * evidence.half_window):
            continue
        v, p = float(np.median(speed[first:end])), float(np.median(path[first:end]))
        found = f"{v:.0f} m/s where positions give {p:.0f} m/s for {stop - start:.1f} s"
        recording = say(
            recording, "flagged", name, found, "Marked, speed from positions to be used there",
            span=(start, stop),
        )  # fmt: skip
        recording = mark(recording, [Span(name, start, stop, "off")])
    return recording


def _find_off(
    recording: Recording, evidence: Evidence, path: Array, speed: Array
) -> NDArray[np.bool_]:
    """Grid points at which speed lies outside all that positions gave around that moment."""
    step = float(np.median(np.diff(evidence.time)))
    size = 2 * max(round(_LATE_S / step), 1) + 1
    known = np.isfinite(path) & np.isfinite(speed)
    low = minimum_filter1d(np.where(known, path, np.inf), size)
    high = maximum_filter1d(np.where(known, path, -np.inf), size)
    place = find_plane(recording)
    noise = find_noise(*place) * np.sqrt(2.0) / (2.0 * evidence.half_window) if place else 0.0
    room = _OFF * np.maximum(path, speed) + _SIGMAS * noise
    off = (speed < low - room) | (speed > high + room)
    return np.asarray(known & off & (np.maximum(path, speed) > _MOVING_MPS))
