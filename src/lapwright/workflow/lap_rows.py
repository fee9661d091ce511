"""The laps of a log, for its inspection."""

from __future__ import annotations

from dataclasses import replace

from lapwright.errors import LapwrightError
from lapwright.messages import worst_outcome
from lapwright.model.lap_findings import find_lap_messages
from lapwright.workflow.inspect import Inspection, LapRow
from lapwright.workflow.session import build_session


def find_lap_rows(inspection: Inspection) -> Inspection:
    """Return the inspection with its laps, found without a survey; unchanged without any."""
    recording = inspection.recording
    if recording is None or inspection.outcome in ("ask", "refused"):
        return inspection
    try:
        laps = build_session([recording]).laps
    except LapwrightError:
        return inspection
    messages = (*inspection.messages, *find_lap_messages(laps))
    rows = tuple(LapRow(p.number, p.time_s, p.used, p.why_not or None) for p in laps)
    return replace(inspection, laps=rows, messages=messages, outcome=worst_outcome(messages))
