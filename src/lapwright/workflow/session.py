"""From logs to laps on a circuit: what every request begins with."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from lapwright.driving.corners import find_corners, keep_corners
from lapwright.driving.grid import build_grid
from lapwright.errors import InputError, NoAnswerError, UsageError
from lapwright.messages import Message
from lapwright.model.amend import find_place_names
from lapwright.model.build_circuit import reverse_circuit, start_at, start_from
from lapwright.model.circuit import Circuit, Origin
from lapwright.model.circuit_from_laps import build_circuit_from_laps
from lapwright.model.drive import CLOSELY, Care, Drive, build_drive
from lapwright.model.lap import Lap
from lapwright.model.pedals import build_signals
from lapwright.model.recording import Recording
from lapwright.model.repair import examine_recording
from lapwright.model.split_laps import (
    Placed,
    choose_start,
    cut_traces,
    place_motion,
    set_aside_slow,
    split_laps,
)
from lapwright.numerics.frames import LocalFrame, geodetic_to_local
from lapwright.readers.registry import read_logs
from lapwright.workflow.log_options import LogOptions

#: What is being done, how much of it, of how much.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class DrivenSession:
    """Logs made whole, on one circuit with its corners.

    ``start_chosen`` tells that no start line was given and the program chose one.
    """

    drives: tuple[Drive, ...]
    circuit: Circuit
    laps: tuple[Lap, ...]
    start_chosen: bool


def quiet(_what: str, _done: int, _total: int) -> None:
    """Report no progress."""


def read_recordings(
    paths: Sequence[Path], options: LogOptions, progress: Progress = quiet
) -> tuple[Recording, ...]:
    """Read and repair logs; all questions about all of them are raised at once.

    Raises
    ------
    InputError
        With the refused findings and the questions of every file.
    """
    recordings: list[Recording] = []
    stops: list[Message] = []
    for i, path in enumerate(paths):
        progress(f"reading {path.name}", i, len(paths))
        try:
            held = read_logs(
                path,
                mapping=options.mapping,
                unit_answers=dict(options.unit_answers),
                accept_offered=options.accept_offered,
                report=progress,
            )
            recordings += [
                examine_recording(r, accept_offered=options.accept_offered) for r in held
            ]
        except InputError as error:
            stops.extend(error.messages)
    for recording in recordings:
        stops.extend(m for m in recording.messages if m.outcome in ("ask", "refused"))
        stops.extend(_without_place(recording))
    if stops:
        raise InputError(stops)
    return tuple(recordings)


def build_session(
    recordings: Sequence[Recording],
    *,
    circuit: Circuit | None = None,
    start: tuple[float, float] | None = None,
    driver: str = "",
    leave_out: Sequence[str] = (),
    care: Care = CLOSELY,
    progress: Progress = quiet,
) -> DrivenSession:
    """Fuse recordings, place them on the circuit, split and label the laps.

    Parameters
    ----------
    circuit
        None to make one from the laps.
    start
        A point on the start line: x, y in m, or latitude, longitude in degrees for
        geodetic logs. None keeps a circuit.json's own line, else one is chosen.
    care
        How closely the motion is worked out.

    Raises
    ------
    InputError
        If there is no complete lap.
    """
    origin = None if circuit is None else circuit.origin
    drives = build_drives(recordings, origin, progress, care)
    progress("placing the laps on the road", 0, 1)
    road = circuit or build_circuit_from_laps(
        [d.motion for d in drives], [d.height for d in drives], file=drives[0].recording.file
    )
    name = find_info(recordings[0], "circuit", "track", "venue", "course")
    road = replace(road, name=road.name or name, origin=road.origin or drives[0].origin)
    road, placed = _right_way_round(road, drives)
    known = bool(circuit is not None and circuit.corners) and start is None
    if start is not None:
        road = start_at(road, *_point(start, drives[0].origin))
    elif not known:
        road = start_from(road, choose_start(drives, placed, road))
    placed = [place_motion(d, road) for d in drives]
    laps = _laps(drives, placed, road, driver)
    laps = _leave_out(laps, leave_out)
    road = _with_corners(road, laps)
    return DrivenSession(tuple(drives), road, laps, start is None and not known)


def build_drives(
    recordings: Sequence[Recording],
    origin: Origin | None,
    progress: Progress = quiet,
    care: Care = CLOSELY,
) -> list[Drive]:
    """Fuse recordings in one plane, the first one's where ``origin`` is None.

    Raises
    ------
    InputError
        If a recording holds no motion.
    """
    drives: list[Drive] = []
    for i, recording in enumerate(recordings):
        progress(f"working out the motion of {recording.file}", i, len(recordings))
        try:
            drives.append(build_drive(recording, origin, care))
        except NoAnswerError as error:
            to_do = "Record longer, or name the columns with --channels"
            found = str(error).removeprefix("motion: ").rstrip(".")
            raise InputError(
                [Message("refused", recording.file, found, "No laps were found", to_do)]
            ) from error
        origin = origin or drives[-1].origin
    return drives


def _without_place(recording: Recording) -> list[Message]:
    held = set(recording.channels)
    if find_place_names(recording) or ("yaw_rate" in held and held & {"speed", "velocity_forward"}):
        return []
    return [
        Message(
            "refused",
            recording.file,
            "no channels for the position (x, y or latitude, longitude), nor speed and yaw rate",
            "No laps can be placed on a road",
            "Log a position, or name its columns with --channels",
        )
    ]


def _right_way_round(road: Circuit, drives: Sequence[Drive]) -> tuple[Circuit, list[Placed]]:
    """Turn the circuit to the direction of the first log; later ones keep their own."""
    placed = [place_motion(d, road) for d in drives]
    if placed[0].backwards:
        road = reverse_circuit(road)
        placed = [place_motion(d, road) for d in drives]
    for drive, on in zip(drives, placed, strict=True):
        near = np.mean(np.abs(on.n) < 60.0)
        if near < 0.5:
            raise InputError(
                [
                    Message(
                        "refused",
                        drive.recording.file,
                        f"{100 * (1 - near):.0f} % of the positions lie more than 60 m from "
                        "the circuit's road",
                        "Nothing was worked out",
                        "Check that circuit and log belong together and use the same axes",
                    )
                ]
            )
    return road, placed


def _point(start: tuple[float, float], origin: Origin | None) -> tuple[float, float]:
    if origin is None:
        return start
    if abs(start[0]) > 90 or abs(start[1]) > 180:
        raise UsageError("--start: this log has latitude and longitude; give LAT,LON in degrees.")
    frame = LocalFrame(origin.latitude_deg, origin.longitude_deg, origin.altitude_m)
    x, y, _ = geodetic_to_local(frame, start[0], start[1], origin.altitude_m)
    return float(x), float(y)


def _laps(
    drives: Sequence[Drive], placed: Sequence[Placed], road: Circuit, driver: str
) -> tuple[Lap, ...]:
    out: list[Lap] = []
    for i, (drive, on) in enumerate(zip(drives, placed, strict=True)):
        name = driver or find_info(drive.recording, "driver", "name")
        number = i + 1 if len(drives) > 1 else None
        signals = build_signals(drive)
        out.extend(
            replace(lap, traces=cut_traces(lap, signals))
            for lap in split_laps(drive, on, road, driver=name, log_number=number)
        )
    laps = set_aside_slow(tuple(out))
    if not any(lap.time_s is not None for lap in laps):
        crossed = sum(lap.number > 0 for lap in laps)
        raise InputError(
            [
                Message(
                    "refused",
                    drives[0].recording.file,
                    f"the start line is crossed {crossed} times",
                    "No complete lap",
                    "Set the line with --start, or record longer",
                )
            ]
        )
    return laps


def find_info(recording: Recording, *words: str) -> str:
    """Find a value among the lines before the data by its name; empty without one."""
    lower = {k.strip().lower(): v for k, v in recording.info.items()}
    return next((lower[w] for w in words if lower.get(w)), "")


def _leave_out(laps: tuple[Lap, ...], ids: Sequence[str]) -> tuple[Lap, ...]:
    unknown = set(ids) - {lap.id for lap in laps}
    if unknown:
        known = ", ".join(lap.id for lap in laps)
        raise UsageError(f"--leave-out: no lap {', '.join(sorted(unknown))}; there are {known}.")
    why = "left out as asked"
    return tuple(replace(lap, used=False, why_not=why) if lap.id in ids else lap for lap in laps)


def _with_corners(road: Circuit, laps: Sequence[Lap]) -> Circuit:
    found = () if road.corners else find_corners(road, build_grid(road, laps))
    return replace(road, corners=keep_corners(road.corners, found))
