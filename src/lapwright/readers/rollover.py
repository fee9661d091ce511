"""A receiver's date that is 1024 weeks early: its counter of weeks has begun anew."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lapwright.messages import Message
from lapwright.readers.table import Table

Array = NDArray[np.float64]

#: The counter of weeks has ten bits (IS-GPS-200, "GPS Week Roll-Over").
WEEKS: Final = 1024
_DAYS: Final = 7 * WEEKS
_DAY_S: Final = 86_400.0
#: A date the file states may differ by the time zone; a file is written soon after its end.
_STATED_DAYS, _WRITTEN_DAYS = 2.0, 14.0
_DATE_KEYS: Final = ("date", "datum", "log date", "session date", "recorded", "day", "start date")
_FORMATS: Final = ("%Y-%m-%d", "%d.%m.%Y", "%Y/%m/%d", "%d/%m/%Y", "%m/%d/%Y")


def find_file_date(info: Mapping[str, str], written: float | None) -> tuple[float, float] | None:
    """Seconds since 1970 of the date a file states or was written, and days it is good to."""
    for key, text in info.items():
        if key.strip().casefold() in _DATE_KEYS:
            for pattern in _FORMATS:
                try:
                    moment = datetime.strptime(text.strip()[:10], pattern).replace(tzinfo=UTC)
                except ValueError:
                    continue
                return moment.timestamp(), _STATED_DAYS
    return None if written is None else (written, _WRITTEN_DAYS)


def undo_rollover(table: Table, name: str, seconds: Array) -> tuple[Array, Message | None]:
    """Move dates by 1024 weeks where that, and only that, brings them to the file's date.

    Parameters
    ----------
    name
        The column's name, for the message.
    seconds
        Since 1970, shape (n,).
    """
    date = find_file_date(table.info, table.written)
    known = seconds[np.isfinite(seconds)]
    if date is None or not known.size:
        return seconds, None
    last = float(known[-1])
    off = (date[0] - last) / _DAY_S - _DAYS
    if not -_STATED_DAYS <= off <= date[1]:
        return seconds, None
    moment = datetime.fromtimestamp(last, UTC).date()
    message = Message(
        "repaired", table.file, f"{moment} is 1 024 weeks before the file's date",
        "Date moved by 7 168 days; lap times untouched", channel=name,
    )  # fmt: skip
    return seconds + _DAYS * _DAY_S, message
