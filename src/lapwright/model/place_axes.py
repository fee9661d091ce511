"""Latitude and longitude under each other's name."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lapwright.messages import set_option
from lapwright.model.amend import note_repairs, put_channels, say, whole_span
from lapwright.model.plausible import Fit, build_evidence, fit_ratio
from lapwright.model.recording import Recording

#: Sound positions agree with speed within this; the median hides faults of stretches.
_AGREES = 0.02
#: Ratios of a stretched plane scatter by more than this as the car turns.
_SCATTERS = 0.05


def check_axes(recording: Recording, *, accept_offered: bool = False) -> Recording:
    """Ask whether latitude and longitude are exchanged, judged by path length and speed.

    A degree of longitude is shorter than one of latitude by the cosine of the
    latitude, so exchanged names stretch the path by direction.
    """
    names = ("latitude", "longitude")
    if not all(n in recording.channels for n in names):
        return recording
    first, second = (recording.channels[n] for n in names)
    beyond = bool(np.nanmax(np.abs(second.values)) > 90.0)
    if first.time is not second.time or beyond:
        return recording
    as_read = _fit_speed(recording)
    if as_read is None or (abs(as_read.slope - 1.0) < _AGREES and as_read.spread < _SCATTERS):
        return recording
    swapped = put_channels(
        recording,
        replace(first, values=second.values, original=second.original),
        replace(second, values=first.values, original=first.original),
    )
    fit = _fit_speed(swapped)
    if fit is None or abs(fit.slope - 1.0) > _AGREES or fit.spread > 0.5 * as_read.spread:
        return recording
    return _ask(recording, swapped, as_read, fit, accept_offered)


def _fit_speed(recording: Recording) -> Fit | None:
    evidence = build_evidence(recording)
    has_speed = "speed" in recording.channels or "velocity_forward" in recording.channels
    if evidence is None or not has_speed or evidence.path_speed is None or evidence.speed is None:
        return None
    return fit_ratio(evidence.speed, evidence.path_speed, 8.0)


def _ask(
    recording: Recording, swapped: Recording, as_read: Fit, fit: Fit, accept: bool
) -> Recording:
    first, second = (recording.channels[n] for n in ("latitude", "longitude"))
    exchanged = (("latitude.column", second.original), ("longitude.column", first.original))
    answer = " ".join(set_option(key, column) for key, column in exchanged)
    found = f"the path's speed is {as_read.slope:.2f} (±{as_read.spread:.2f}) times the logged "
    found += f"speed; with the two exchanged it is {fit.slope:.2f} (±{fit.spread:.2f})"
    names = ("latitude", "longitude")
    if accept:
        done = f"Exchanged, as offered ({answer})"
        said = say(recording, "repaired", names, found, done)
    else:
        said = say(recording, "ask", names, found, "", "Exchange them?", answer=answer)
    spans = [whole_span(swapped.channels[n], "exchanged") for n in names]
    return note_repairs(replace(swapped, messages=said.messages), spans)
