"""A guide of several drivers follows one of them and tells what the others did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lapwright.driving.passes import CornerPass
from lapwright.driving.stints import Stints, compare_stints
from lapwright.model.lap import Lap
from lapwright.workflow.session import DrivenSession, find_info


def find_stints(session: DrivenSession, passes: Sequence[CornerPass]) -> Stints:
    """Compare all drivers and logs of a session, with the passes of all laps."""
    dates = {d.recording.file: find_info(d.recording, "date", "day") or "" for d in session.drives}
    return compare_stints(session.laps, passes, dates)


def follow_driver(session: DrivenSession, chosen: str) -> DrivenSession:
    """Set the laps of all drivers aside but of the one who drove the chosen lap.

    What repeats, what it is done on and what it costs are one driver's: mixed with another's
    they are nobody's.
    """
    driver = next(lap.driver for lap in session.laps if lap.id == chosen)

    def of_driver(lap: Lap) -> Lap:
        if not lap.used or lap.driver == driver:
            return lap
        other = lap.driver or "somebody without a name"
        return replace(lap, used=False, why_not=f"driven by {other}; the guide follows {driver}")

    return replace(session, laps=tuple(of_driver(lap) for lap in session.laps))
