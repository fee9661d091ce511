"""What is in a file: channels, units and how they were known, repairs, what is missing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from threading import Thread
from typing import Final

from lapwright.errors import InputError
from lapwright.messages import Message, Outcome, worst_outcome
from lapwright.model.recording import Recording
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.registry import read_log
from lapwright.readers.source import Report, say_nothing


@dataclass(frozen=True, slots=True)
class LapRow:
    """One lap as the inspection lists it; ``time_s`` is None when not timed."""

    number: int
    time_s: float | None
    valid: bool
    why_not: str | None = None


@dataclass(frozen=True, slots=True)
class Lack:
    """A result that a file cannot give, and the channels of which one would give it."""

    result: str
    needs: str
    instead: str


@dataclass(frozen=True, slots=True)
class Inspection:
    """What was found in one file.

    ``recording`` is None when nothing could be read; ``missing`` lists the
    results that lack a channel.
    """

    file: str
    outcome: Outcome
    messages: tuple[Message, ...]
    recording: Recording | None
    laps: tuple[LapRow, ...] = ()
    missing: tuple[Lack, ...] = ()


#: Reading a file of so many bytes takes longer than loading what looks for laps.
LARGE: Final = 4_000_000
#: Result, the sets of channels of which one is enough, and what is said without them.
_NEEDS: tuple[tuple[str, tuple[tuple[str, ...], ...], str], ...] = (
    (
        "line and use of the road",
        (("latitude", "longitude"), ("x", "y")),
        "corners by distance only",
    ),
    (
        "minimum and exit speeds as logged",
        (("speed",), ("velocity_forward",)),
        "speed derived from positions",
    ),
    (
        "brake points and release by the pedal",
        (("brake",), ("brake_pressure",)),
        "braking seen from deceleration, without release",
    ),
    ("throttle pick-up and full throttle", (("throttle",),), "drive seen from acceleration"),
    ("steering corrections", (("steering",), ("road_wheel_angle",)), "nothing is said of it"),
    ("gear and down-changes", (("gear",),), "nothing is said of it"),
    ("grip from a sensor", (("acceleration_left",), ("yaw_rate",)), "grip from the path"),
    (
        "load over crests and through dips",
        (("acceleration_up",), ("altitude",), ("z",)),
        "heights from the survey only",
    ),
    (
        "sideslip",
        (("velocity_forward", "velocity_left"), ("heading",)),
        "nothing is said of it",
    ),
    (
        "wheel slip",
        (
            (
                "wheel_speed_front_left",
                "wheel_speed_front_right",
                "wheel_speed_rear_left",
                "wheel_speed_rear_right",
            ),
        ),
        "nothing is said of it",
    ),
)


def inspect_log(
    path: str | Path,
    *,
    mapping: ChannelMapping | None = None,
    unit_answers: Mapping[str, str] | None = None,
    accept_offered: bool = False,
    laps: Sequence[LapRow] = (),
    progress: Report = say_nothing,
) -> Inspection:
    """Inspect a file; findings of every severity are in the result, none is raised.

    Parameters
    ----------
    path
        The log.
    mapping, unit_answers, accept_offered
        As for `read_log`.
    laps
        Rows to list, from whoever splits laps.
    progress
        Is told how much of a large text table is read.

    Raises
    ------
    UsageError
        When an answer names no channel or field.
    """
    path = Path(path)
    if path.is_file() and path.stat().st_size > LARGE:
        Thread(target=import_module, args=("lapwright.workflow.lap_rows",)).start()
    try:
        raw = read_log(
            path,
            mapping=mapping,
            unit_answers=unit_answers,
            accept_offered=accept_offered,
            report=progress,
        )
    except InputError as error:
        return Inspection(path.name, worst_outcome(error.messages), error.messages, None)
    from lapwright.model.repair import examine_recording

    recording = examine_recording(raw, accept_offered=accept_offered)
    return build_inspection(recording, laps)


def build_inspection(recording: Recording, laps: Sequence[LapRow] = ()) -> Inspection:
    """Build the inspection of a recording that was already repaired."""
    messages = recording.messages
    return Inspection(
        recording.file,
        worst_outcome(messages),
        messages,
        recording,
        tuple(laps),
        find_missing(recording),
    )


def find_missing(recording: Recording) -> tuple[Lack, ...]:
    """Find the results for which a file lacks every channel that would give them."""
    unused = {s.channel for s in recording.marked if s.what == "not used"}
    held = set(recording.channels) - unused
    lacks = []
    for result, choices, instead in _NEEDS:
        if not any(held.issuperset(choice) for choice in choices):
            needs = " or ".join(" + ".join(choice) for choice in choices)
            lacks.append(Lack(result, needs, instead))
    return tuple(lacks)
