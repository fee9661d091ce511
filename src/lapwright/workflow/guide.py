"""The main job: logs in, a guide out."""

from __future__ import annotations

import io
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from lapwright.driving.actions import find_passes
from lapwright.driving.consistency import summarise_corners
from lapwright.driving.passes import CornerPass
from lapwright.driving.track_limits import DEFAULT_RULE, Rule
from lapwright.errors import InputError, UsageError
from lapwright.guide.author import note_view
from lapwright.guide.captions import CaptionRules
from lapwright.guide.compose import compose_view
from lapwright.guide.document import Findings, Session, Text, quote_name
from lapwright.guide.unit_system import UnitSystem
from lapwright.messages import Message
from lapwright.model.car import Car, Measured
from lapwright.model.car_toml import read_given_car, render_car
from lapwright.model.circuit import Circuit
from lapwright.model.circuit_json import circuit_to_document
from lapwright.model.lap import Lap
from lapwright.model.lap_counter import find_counter_messages
from lapwright.model.lap_findings import find_lap_messages
from lapwright.possible.what import find_possible, price_possible
from lapwright.possible.worth import RoadWorth
from lapwright.publish.html import render_html
from lapwright.publish.json import render_json
from lapwright.readers.circuit_files import read_circuit
from lapwright.workflow.accounts import add_accounts
from lapwright.workflow.author import list_misfits, note_findings, note_road, read_author
from lapwright.workflow.driver import add_driver
from lapwright.workflow.hand_over import compose_video_captions, render_paper, render_tracks
from lapwright.workflow.inspect import find_missing
from lapwright.workflow.landmarks import place_landmarks, read_landmark_files
from lapwright.workflow.log_options import LogOptions
from lapwright.workflow.outputs import Made
from lapwright.workflow.session import (
    DrivenSession,
    Progress,
    build_session,
    find_info,
    quiet,
    read_recordings,
)
from lapwright.workflow.stints import find_stints, follow_driver
from lapwright.workflow.surroundings import add_surroundings, add_work_rooms


@dataclass(frozen=True, slots=True)
class GuideOptions:
    """What a guide is made of, besides the logs; see the command line's options."""

    logs: LogOptions = field(default_factory=LogOptions)
    circuit: tuple[Path, ...] = ()
    start: tuple[float, float] | None = None
    chosen_lap: str | None = None
    leave_out: tuple[str, ...] = ()
    car: Path | None = None
    driver: str = ""
    track_limits: Rule = DEFAULT_RULE
    captions: CaptionRules = field(default_factory=CaptionRules)
    notes: Path | None = None
    landmarks: tuple[Path, ...] = ()


def make_guide(
    logs: Sequence[Path],
    units: UnitSystem,
    options: GuideOptions | None = None,
    *,
    circuit: Circuit | None = None,
    progress: Progress = quiet,
) -> Made:
    """Make a guide from logs.

    Parameters
    ----------
    logs
        Files of one circuit.
    units
        Units in which sentences are written.
    circuit
        A circuit already at hand; otherwise the options' files, or the laps.

    Raises
    ------
    InputError
        If a log or survey cannot be used or asks something.
    UsageError
        If an option names a lap that does not exist.
    """
    options = options or GuideOptions()
    notes = read_author(options.notes, options.driver)
    marks = read_landmark_files(options.landmarks, options.logs)
    given = None if options.car is None else read_given_car(options.car)
    recordings = read_recordings(logs, options.logs, progress)
    if circuit is None and options.circuit:
        circuit = read_circuit(options.circuit)
    session = build_session(
        recordings,
        circuit=circuit,
        start=options.start,
        driver=notes.session.get("driver", ""),
        leave_out=options.leave_out,
        progress=progress,
    )
    progress("looking at every corner of every lap", 0, 1)
    road, misfits = note_road(place_landmarks(session.circuit, marks), notes)
    session = replace(session, circuit=road)
    passes = find_passes(session.circuit, session.laps)
    stints = find_stints(session, passes)
    if len(stints.drivers) > 1:
        session = follow_driver(session, choose_laps(session.laps, options.chosen_lap)[0])
    findings = note_findings(compose_findings(session, passes, options), notes)
    findings = _add_possible(replace(findings, stints=stints), given, progress)
    with ThreadPoolExecutor(1) as pool:
        worths = pool.submit(_price_road, findings)
        progress("looking at what is seen, and at the road used", 0, 1)
        findings = add_surroundings(findings, options.track_limits)
        progress("looking for what the driver does it on", 0, 1)
        findings = add_driver(findings)
        findings = add_work_rooms(add_accounts(findings, progress))
        progress("pricing the road", 0, 1)
        findings = _with_worths(findings, worths.result())
    progress("writing the guide", 0, 1)
    view, misfits = note_view(compose_view(findings, units), notes, session.circuit, misfits)
    document: dict[str, Any] = view["guide"]
    tracks, untold = render_tracks(view, options.captions)
    with ThreadPoolExecutor(1) as pool:
        printed = pool.submit(render_paper, view)
        page = render_html({**view, "captions": compose_video_captions(view, options.captions)})
        paper, unset = printed.result()
    files = {
        "guide.html": page,
        **paper,
        **tracks,
        "guide.json": render_json(document),
        "circuit.json": render_json(circuit_to_document(session.circuit)),
        "laps.parquet": laps_table(session.laps),
    }
    if findings.possible is not None and findings.possible.car is not None:
        files["car.toml"] = render_car(findings.possible.car).encode()
    messages = (
        *(m for r in recordings for m in r.messages),
        *find_counter_messages(recordings, session.laps, not session.start_chosen),
        *find_lap_messages(session.laps),
        *list_misfits(notes, misfits),
        *untold,
        *unset,
    )
    return Made(document, files, messages)


def _add_possible(findings: Findings, given: Measured | None, progress: Progress) -> Findings:
    """Add what is possible for the car given, or for the one found with the measures given."""
    whole, measures = (given, None) if isinstance(given, Car) else (None, given)
    what = find_possible(
        findings.circuit, findings.laps, _chosen(findings), car=whole, measures=measures,
        report=progress,
    )  # fmt: skip
    return replace(findings, possible=what, measured=given or what.car)


def _price_road(findings: Findings) -> tuple[RoadWorth, ...]:
    what = findings.possible
    return () if what is None else price_possible(findings.circuit, _chosen(findings), what)


def _with_worths(findings: Findings, worths: tuple[RoadWorth, ...]) -> Findings:
    what = findings.possible
    return findings if what is None else replace(findings, possible=replace(what, worths=worths))


def _chosen(findings: Findings) -> Lap:
    return next(one for one in findings.laps if one.id == findings.chosen_lap)


def compose_findings(
    session: DrivenSession, passes: Sequence[CornerPass], options: GuideOptions
) -> Findings:
    """Gather what was found: passes, summaries, the laps to follow and to hold against."""
    chosen, against = choose_laps(session.laps, options.chosen_lap)
    count = {lap.id for lap in session.laps if lap.used}
    passes = tuple(one for one in passes if one.lap in count)
    recordings = tuple(d.recording for d in session.drives)
    return Findings(
        version=version("lapwright"),
        inputs=tuple((r.file, r.sha256) for r in recordings),
        recordings=recordings,
        circuit=session.circuit,
        laps=session.laps,
        passes=passes,
        summaries=summarise_corners(session.circuit, session.laps, passes),
        chosen_lap=chosen,
        compare_lap=against,
        rate_hz=session.drives[0].motion.rate_hz,
        missing=_missing(session),
        session=_session(session),
        start_note=_start_note(session, options),
    )


def choose_laps(laps: Sequence[Lap], wanted: str | None) -> tuple[str, str | None]:
    """Choose the lap that the guide follows (the fastest that counts) and the one against it.

    Raises
    ------
    UsageError
        If the wanted lap does not exist or was not completed.
    InputError
        If no lap counts.
    """
    timed = sorted((lap for lap in laps if lap.used and lap.time_s), key=lambda p: p.time_s or 0)
    if wanted is not None and wanted not in {lap.id for lap in timed}:
        ids = ", ".join(lap.id for lap in laps if lap.used)
        raise UsageError(f"--lap: lap {wanted} is not among the laps that count ({ids}).")
    if not timed:
        reasons = "; ".join(f"lap {p.id}: {p.why_not}" for p in laps if p.why_not)
        found = f"no lap counts ({reasons})"
        to_do = "Record a whole lap on the road, or move the line with --start"
        raise InputError([Message("refused", laps[0].file, found, "No guide was made", to_do)])
    order = [lap.id for lap in timed]
    chosen = wanted or order[0]
    return chosen, next((i for i in order if i != chosen), None)


def laps_table(laps: Sequence[Lap]) -> bytes:
    """All laps' motion along the road as a Parquet file, a row group for each lap."""
    frames = [
        pl.DataFrame(
            {
                "lap": [lap.id] * int(lap.track.time.size),
                "used": [lap.used] * int(lap.track.time.size),
                **{
                    name: getattr(lap.track, name).astype(
                        "float32" if name != "time" else "float64"
                    )
                    for name in lap.track.__slots__
                },
                **{
                    name: _on_clock(lap, name) for name in ("throttle", "brake", "steering", "gear")
                },
            }
        )
        for lap in laps
        if lap.track is not None
    ]
    buffer = io.BytesIO()
    if frames:
        largest = max(f.height for f in frames)
        pl.concat(frames).write_parquet(buffer, row_group_size=largest)
    return buffer.getvalue()


def _on_clock(lap: Lap, name: str) -> pl.Series:
    trace, track = lap.traces.get(name), lap.track
    if trace is None or track is None:
        size = 0 if track is None else int(track.time.size)
        return pl.Series([None] * size, dtype=pl.Float32)
    return pl.Series(np.interp(track.time, trace.time, trace.values).astype("float32"))


def _missing(session: DrivenSession) -> tuple[Text, ...]:
    seen: dict[str, Text] = {}
    for drive in session.drives:
        for lack in find_missing(drive.recording):
            needs = lack.needs.replace("_", " ")
            text = f"{lack.result[0].upper()}{lack.result[1:]}: needs {needs}; {lack.instead}."
            seen.setdefault(lack.result, Text(text))
    if not session.circuit.surveyed:
        seen["edges"] = Text(
            "Distances to the edges: not surveyed, so they are of the road seen in use."
        )
    if not session.circuit.has_heights:
        seen["heights"] = Text("Crests, dips and sight: no heights were given.")
    return tuple(seen.values())


def _session(session: DrivenSession) -> Session:
    first = session.drives[0].recording
    drivers = dict.fromkeys(lap.driver for lap in session.laps if lap.driver)
    return Session(
        drivers=tuple(drivers),
        car=find_info(first, "car", "vehicle") or None,
        date=find_info(first, "date", "day") or None,
        conditions=find_info(first, "conditions", "weather") or None,
    )


def _start_note(session: DrivenSession, options: GuideOptions) -> Text | None:
    if options.start is not None:
        return Text("The start line is the one given.")
    if not session.start_chosen:
        name = quote_name(session.circuit.name or "the circuit")
        return Text(f"The start line is that of {name}.")
    return Text(
        "No start line was given: it was put where most laps are complete and the car is fast."
    )
