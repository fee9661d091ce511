"""An inspection as a JSON document and as text for a terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from lapwright.messages import SEVERITY, Message, Outcome
from lapwright.model.recording import Channel, Recording, Span
from lapwright.workflow.inspect import Inspection, LapRow

SCHEMA = "lapwright.inspection/1"
#: A terminal shows each of so many laps; of more only so many of the quickest.
MOST_LAPS, QUICKEST = 60, 10


def render_document(inspection: Inspection) -> dict[str, Any]:
    """Render the inspection as the JSON document ``lapwright.inspection/1``."""
    recording = inspection.recording
    channels = [] if recording is None else _all_channels(recording)
    return {
        "schema": SCHEMA,
        "file": inspection.file,
        "sha256": None if recording is None else recording.sha256,
        "outcome": inspection.outcome,
        "messages": [_render_message(m) for m in inspection.messages],
        "laps": [
            {"number": r.number, "time_s": r.time_s, "valid": r.valid, "why_not": r.why_not}
            for r in inspection.laps
        ],
        "channels": [_render_channel(c) for c in channels],
        "repairs": [] if recording is None else [_render_span(s) for s in recording.repairs],
        "marked": [] if recording is None else [_render_span(s) for s in recording.marked],
        "missing": [
            {"result": k.result, "needs": k.needs, "instead": k.instead} for k in inspection.missing
        ],
        "info": {} if recording is None else dict(recording.info),
    }


def _all_channels(recording: Recording) -> list[Channel]:
    return [*recording.channels.values(), *recording.others.values()]


def _render_message(message: Message) -> dict[str, Any]:
    """Render a message; places that do not apply are left out."""
    places = {
        "line": message.line,
        "byte": message.byte,
        "channel": message.channel,
        "start_s": message.start_s,
        "end_s": message.end_s,
        "lap": message.lap,
        "answer": message.answer,
    }
    known = {k: v for k, v in places.items() if v is not None}
    return {"text": message.text, "outcome": message.outcome, **known}


def _render_channel(channel: Channel) -> dict[str, Any]:
    rate = channel.rate_hz
    return {
        "name": channel.name,
        "unit": channel.unit,
        "original": channel.original,
        "original_unit": channel.original_unit,
        "rate_hz": None if math.isnan(rate) else round(rate, 4),
        "how_known": channel.how_known,
        "delay_s": channel.delay_s,
    }


def _render_span(span: Span) -> dict[str, Any]:
    return {
        "channel": span.channel,
        "from_s": round(span.from_s, 4),
        "to_s": round(span.to_s, 4),
        "what": span.what,
    }


def render_text(inspection: Inspection) -> str:
    """Render the inspection for a terminal."""
    recording = inspection.recording
    parts = [f"{inspection.file}: {inspection.outcome}"]
    if recording is not None:
        parts += [_say_extent(recording), "", *_channel_table(recording)]
    parts += _message_lines(inspection.messages)
    if inspection.laps:
        parts += ["", "Laps", *_lap_lines(inspection.laps)]
    if inspection.missing:
        parts += ["", "Missing"]
        parts += [f"  {k.result}: needs {k.needs}; {k.instead}" for k in inspection.missing]
    return "\n".join(parts) + "\n"


def _say_extent(recording: Recording) -> str:
    channels = _all_channels(recording)
    if not channels:
        return "no channels"
    start = min(float(c.time[0]) for c in channels)
    end = max(float(c.time[-1]) for c in channels)
    rows = max(c.time.size for c in channels)
    text = f"{end - start:.1f} s, {rows} samples"
    begun = recording.info.get("time 0 is at")
    dialect = recording.info.get("dialect")
    return "; ".join(p for p in (text, f"begins {begun}" if begun else "", dialect) if p)


_HOW = {
    "header": "from the header",
    "mapping": "from your mapping or answer",
    "name": "from its name",
    "physics": "found by physics",
    "assumed": "assumed",
}


def _channel_table(recording: Recording) -> list[str]:
    rows = [("channel", "unit", "column", "rate", "how the unit is known")]
    for channel in recording.channels.values():
        column = channel.original
        column += f" [{channel.original_unit}]" if channel.original_unit else ""
        rows.append(
            (channel.name, channel.unit, column, _say_rate(channel), _HOW[channel.how_known])
        )
    widths = [max(len(row[i]) for row in rows) for i in range(5)]
    lines = [
        "  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]
    if recording.others:
        lines.append("kept, not used: " + ", ".join(recording.others))
    return lines


def _say_rate(channel: Channel) -> str:
    rate = channel.rate_hz
    return "–" if math.isnan(rate) else f"{rate:.4g} Hz"


_HEADINGS: dict[Outcome, str] = {
    "refused": "Refused",
    "ask": "Questions",
    "flagged": "Marked, kept unchanged",
    "repaired": "Repaired",
    "accepted": "Noted",
}


def _message_lines(messages: Sequence[Message]) -> list[str]:
    lines: list[str] = []
    for outcome in reversed(SEVERITY):
        listed = [m for m in messages if m.outcome == outcome]
        if listed:
            lines += ["", _HEADINGS[outcome]]
        for message in listed:
            lines.append(f"  {message.text}")
            if message.answer:
                lines.append(f"    {message.answer}")
    return lines


def _lap_lines(rows: Sequence[LapRow]) -> list[str]:
    """Render a line for each lap; of very many only the quickest and those set aside."""
    if len(rows) <= MOST_LAPS:
        return [_lap_line(row) for row in rows]
    quickest = sorted(
        (row for row in rows if row.valid and row.time_s is not None),
        key=lambda row: row.time_s or 0.0,
    )[:QUICKEST]
    aside = [row for row in rows if not row.valid]
    left = len(aside) - (MOST_LAPS - QUICKEST)
    lines = [f"  {len(rows)} laps, {len(aside)} of them set aside; the quickest:"]
    lines += [_lap_line(row) for row in quickest]
    if aside:
        lines += ["  set aside:", *(_lap_line(row) for row in aside[: MOST_LAPS - QUICKEST])]
    if left > 0:
        lines.append(f"  and {left} more; --json lists all")
    return lines


def _lap_line(row: LapRow) -> str:
    time = "–" if row.time_s is None else f"{row.time_s:.3f} s"
    return f"  {row.number:>3}  {time:>11}  {'' if row.valid else row.why_not or 'set aside'}"
