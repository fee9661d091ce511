"""The laps of a log, for its inspection."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from lapwright.errors import InputError, LapwrightError
from lapwright.messages import worst_outcome
from lapwright.model.lap_counter import find_counter_messages
from lapwright.model.lap_findings import find_lap_messages
from lapwright.workflow.inspect import Inspection, LapRow
from lapwright.workflow.session import build_session

#: The motion of 100 Hz takes twice as long and gives the same lap times to a tenth of a
#: millisecond.
LAPS_HZ: Final = 50.0


def find_lap_rows(inspection: Inspection) -> Inspection:
    """Return the inspection with its laps, found without a survey; unchanged without any."""
    recording = inspection.recording
    if recording is None or inspection.outcome in ("ask", "refused"):
        return inspection
    try:
        session = build_session([recording], fastest_hz=LAPS_HZ)
    except InputError as error:
        said = tuple(replace(m, outcome="flagged") for m in error.messages)
        messages = (*inspection.messages, *said)
        return replace(inspection, messages=messages, outcome=worst_outcome(messages))
    except LapwrightError:
        return inspection
    laps = session.laps
    counted = find_counter_messages([recording], laps, not session.start_chosen)
    messages = (*inspection.messages, *counted, *find_lap_messages(laps))
    rows = tuple(LapRow(p.number, p.time_s, p.used, p.why_not or None) for p in laps)
    return replace(inspection, laps=rows, messages=messages, outcome=worst_outcome(messages))
