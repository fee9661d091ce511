"""The laps of a log, for its inspection."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from lapwright.errors import InputError, LapwrightError
from lapwright.messages import worst_outcome
from lapwright.model.drive import Care
from lapwright.model.lap_counter import find_counter_messages
from lapwright.model.lap_findings import find_lap_messages
from lapwright.workflow.inspect import Inspection, LapRow
from lapwright.workflow.session import build_session

#: 100 Hz and delays out of several laps take three times as long and give the same lap times to
#: 0.15 ms.
FOR_LAP_TIMES: Final = Care(fastest_hz=25.0, delays_from_s=100.0)


def find_lap_rows(inspection: Inspection) -> Inspection:
    """Return the inspection with its laps, found without a survey; unchanged without any."""
    recording = inspection.recording
    if recording is None or inspection.outcome in ("ask", "refused"):
        return inspection
    try:
        session = build_session([recording], care=FOR_LAP_TIMES)
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
