"""From a recording as read to one that can be trusted: every change listed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from lapwright.errors import InputError
from lapwright.messages import Message, worst_outcome
from lapwright.model.attitude_faults import check_attitude, settle_steering
from lapwright.model.missing import check_missing
from lapwright.model.place_axes import check_axes
from lapwright.model.place_faults import repair_place
from lapwright.model.range_units import ask_thousands, guess_units, settle_assumed
from lapwright.model.recording import Recording
from lapwright.model.retime import restore_clock, retime_place
from lapwright.model.sensor_faults import repair_sensors
from lapwright.model.speed_faults import mark_wrong_speed
from lapwright.model.unit_faults import check_units

#: Findings of one kind that are listed one by one.
_LISTED = 6


def repair_recording(recording: Recording, *, accept_offered: bool = False) -> Recording:
    """Repair a recording's signals and mark what cannot be trusted.

    Parameters
    ----------
    recording
        As a reader gives it.
    accept_offered
        Take every offered answer and list it as repaired.

    Returns
    -------
    Recording
        With new messages, repairs and marked stretches. Removed samples are
        NaN; marked stretches keep their values.

    Raises
    ------
    InputError
        With all questions at once, those of reading included, or a refusal.
    """
    examined = examine_recording(recording, accept_offered=accept_offered)
    if worst_outcome(examined.messages) in ("ask", "refused"):
        raise InputError([m for m in examined.messages if m.outcome in ("ask", "refused")])
    return examined


def examine_recording(recording: Recording, *, accept_offered: bool = False) -> Recording:
    """Repair as `repair_recording` does, but keep questions as messages."""
    recording = guess_units(recording)
    recording = ask_thousands(recording, accept_offered=accept_offered)
    recording = check_axes(recording, accept_offered=accept_offered)
    recording = repair_place(recording)
    recording = restore_clock(recording)
    recording = repair_sensors(recording)
    recording = check_attitude(recording)
    recording = check_units(recording, accept_offered=accept_offered)
    recording = settle_steering(settle_assumed(recording))
    recording = mark_wrong_speed(recording)
    recording = retime_place(recording)
    recording = check_missing(recording)
    return replace(recording, messages=tuple(_shorten(recording.messages)))


def _shorten(messages: tuple[Message, ...]) -> Iterator[Message]:
    """Say each finding once, and findings of one kind beyond `_LISTED` in one message."""
    kinds: dict[tuple[str, ...], list[Message]] = {}
    for message in dict.fromkeys(messages):
        key = (message.outcome, message.channel or "", message.done, message.to_do)
        whole = message.start_s is None
        kinds.setdefault((*key, message.found) if whole else key, []).append(message)
    for alike in kinds.values():
        yield from alike[:_LISTED]
        if len(alike) > _LISTED:
            rest = alike[_LISTED:]
            yield replace(
                rest[0],
                found=f"{len(rest)} more like the one before",
                place=f"{rest[0].place} to {rest[-1].place}",
                end_s=rest[-1].end_s,
            )
