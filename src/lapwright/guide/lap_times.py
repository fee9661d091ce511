"""What the times of the laps that count say together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from lapwright.guide.document import Findings, Value, quote_name
from lapwright.model.lap import Lap

#: Makes a median absolute deviation the standard deviation of a normal distribution.
MAD_TO_SD: Final = 1.4826

#: Laps that a spread takes.
LEAST_LAPS: Final = 3
#: Standard deviation up to which a lap time is shown to a thousandth: within 0.005 s, 95 %.
_THOUSANDTH_SD_S: Final = 0.0025


@dataclass(frozen=True, slots=True)
class LapTimes:
    """Best lap, median and robust standard deviation in s; None where laps are too few."""

    best: Lap | None
    median_s: float | None
    spread_s: float | None


def summarise_lap_times(findings: Findings) -> LapTimes:
    """Summarise the times of the laps that count; a spread takes three."""
    timed = [lap for lap in findings.laps if lap.used and lap.time_s is not None]
    if not timed:
        return LapTimes(None, None, None)
    times = np.array([lap.time_s for lap in timed], dtype=np.float64)
    middle = float(np.median(times))
    spread = (
        float(MAD_TO_SD * np.median(np.abs(times - middle))) if times.size >= LEAST_LAPS else None
    )
    return LapTimes(timed[int(np.argmin(times))], middle, spread)


def find_lap(findings: Findings, lap_id: str | None) -> Lap | None:
    """Return the lap with an id."""
    return next((lap for lap in findings.laps if lap.id == lap_id), None)


def name_lap(findings: Findings, lap: Lap) -> str:
    """Name a lap in a sentence: by number in one log, by id where there are several."""
    files = {other.file for other in findings.laps}
    return f"lap {quote_name(lap.id) if len(files) > 1 else lap.number}"


def lap_time_figure(lap: Lap, time_s: float | None = None) -> Value:
    """Return a lap time with the decimals that its standard deviation can bear."""
    shown = lap.time_s if time_s is None else time_s
    sd = lap.time_sd_s
    decimals = 2 if sd is None else 3 if sd <= _THOUSANDTH_SD_S else 2 if sd <= 0.025 else 1
    return (shown, "lap_time", decimals)
