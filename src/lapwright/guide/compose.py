"""From findings to ``guide.json`` and to the view that the page shows."""

from __future__ import annotations

from typing import Any, Final

from lapwright.driving.action_names import ACTIONS
from lapwright.guide.action_words import compose_action_words
from lapwright.guide.charts import compose_pictures
from lapwright.guide.corner_records import compose_corners
from lapwright.guide.corner_words import compose_corner_words
from lapwright.guide.document import Findings
from lapwright.guide.figures import HUMAN_TIMING_S
from lapwright.guide.lap_times import summarise_lap_times
from lapwright.guide.ledger_records import compose_ledger, compose_ledger_view, compose_work
from lapwright.guide.ledger_words import compose_ledger_words, say_work
from lapwright.guide.possible_records import compose_car, compose_possible, find_car, why_null
from lapwright.guide.possible_words import compose_possible_words
from lapwright.guide.road_records import compose_track_limits
from lapwright.guide.sentences import write_text
from lapwright.guide.sight_records import compose_eye
from lapwright.guide.sight_words import compose_sight_words
from lapwright.guide.stint_words import compose_stint_words, compose_stints
from lapwright.guide.unit_system import UnitSystem, units_as_view
from lapwright.guide.wording import (
    compose_cautions,
    compose_facts,
    count_used,
    find_sample_length,
    find_top_speed,
    say_lede,
    say_missing,
    say_title,
)
from lapwright.model.recording import Channel, Recording

SCHEMA: Final = "lapwright.guide/1"


def compose_view(findings: Findings, units: UnitSystem) -> dict[str, Any]:
    """Compose what the page shows: the guide, its pictures, its words and the units.

    Arrays are NumPy arrays in SI units; sentences carry their values, so that the page
    can write them in other units.
    """
    return {
        "guide": compose_guide(findings, units),
        "pictures": compose_pictures(findings),
        "words": {
            "title": say_title(findings),
            "lede": say_lede(findings).as_view(),
            "facts": compose_facts(findings),
            "actions": compose_action_words(),
            "corners": compose_corner_words(findings),
            "missing": [text.as_view() for text in say_missing(findings)],
            "possible": compose_possible_words(findings),
            "sight": compose_sight_words(findings),
            "ledger": compose_ledger_words(findings),
            "stints": compose_stint_words(findings),
        },
        "ledger": compose_ledger_view(findings),
        "order_of_work": [say_work(findings, item) for item in findings.work],
        "units": units_as_view(units),
    }


def compose_guide(findings: Findings, units: UnitSystem) -> dict[str, Any]:
    """Compose the content of ``guide.json``.

    Every field of the schema is there; what this version does not work out is null or
    empty, and the reason stands beside it. Sentences are written in ``units``, numbers
    are SI.
    """
    system = units.as_view()
    return {
        "schema": SCHEMA,
        "made_by": {
            "program": "lapwright",
            "version": findings.version,
            "inputs": [{"file": file, "sha256": digest} for file, digest in findings.inputs],
        },
        "cautions": compose_cautions(findings),
        "session": _compose_session(findings),
        "circuit": _compose_circuit(findings, system),
        "recording": _compose_recording(findings),
        "laps": _compose_laps(findings),
        "chosen_lap": findings.chosen_lap,
        "compare_lap": findings.compare_lap,
        "car": compose_car(findings),
        "car_why_null": None if find_car(findings) else why_null(findings),
        "possible": compose_possible(findings),
        "corners": compose_corners(findings, system),
        "corner_laps": _compose_corner_laps(findings),
        "human_timing_s": HUMAN_TIMING_S,
        "eye": compose_eye(findings),
        **compose_ledger(findings),
        "order_of_work": compose_work(findings, system),
        **compose_stints(findings),
        "missing": [write_text(text.as_view(), system) for text in say_missing(findings)],
    }


def _compose_session(findings: Findings) -> dict[str, Any]:
    session, times = findings.session, summarise_lap_times(findings)
    used = count_used(findings)
    return {
        "drivers": list(session.drivers), "car": session.car, "date": session.date,
        "conditions": session.conditions, "laps_used": used,
        "laps_set_aside": len(findings.laps) - used,
        "best_lap": times.best.id if times.best else None,
        "best_time_s": times.best.time_s if times.best else None,
        "median_time_s": times.median_s, "time_spread_s": times.spread_s,
    }  # fmt: skip


def _compose_circuit(findings: Findings, system: dict[str, Any]) -> dict[str, Any]:
    circuit, note = findings.circuit, findings.start_note
    return {
        "name": circuit.name, "length_m": circuit.length_m, "surveyed": circuit.surveyed,
        "turns": circuit.turns, "has_heights": circuit.has_heights,
        "start_note": write_text(note.as_view(), system) if note else None,
    }  # fmt: skip


def _compose_recording(findings: Findings) -> dict[str, Any]:
    return {
        "rate_hz": findings.rate_hz,
        "top_speed_mps": find_top_speed(findings),
        "sample_m": find_sample_length(findings),
        "channels": [
            _compose_channel(findings, recording, channel)
            for recording in findings.recordings
            for channel in recording.channels.values()
        ],
        "repairs": [
            {"file": recording.file, "channel": span.channel, "from_s": span.from_s,
             "to_s": span.to_s, "what": span.what}
            for recording in findings.recordings
            for span in recording.repairs
        ],
    }  # fmt: skip


def _compose_channel(findings: Findings, recording: Recording, channel: Channel) -> dict[str, Any]:
    return {
        "file": recording.file, "name": channel.name, "unit": channel.unit,
        "original": channel.original, "original_unit": channel.original_unit,
        "how_known": channel.how_known, "rate_hz": channel.rate_hz,
        "delay_s": findings.delays.get(channel.name, channel.delay_s),
    }  # fmt: skip


def _compose_laps(findings: Findings) -> list[dict[str, Any]]:
    return [
        {
            "id": lap.id, "file": lap.file, "driver": lap.driver, "number": lap.number,
            "time_s": lap.time_s, "time_sd_s": lap.time_sd_s,
            "used": lap.used, "why_not": None if lap.used else lap.why_not, "kind": lap.kind,
            **compose_track_limits(findings, lap),
        }
        for lap in findings.laps
    ]  # fmt: skip


def _compose_corner_laps(findings: Findings) -> list[dict[str, Any]]:
    return [
        {
            "corner": one.corner, "lap": one.lap, "time_s": one.time_s,
            "actions": {name: one.actions.get(name) for name in ACTIONS},
        }
        for one in findings.passes
    ]  # fmt: skip
