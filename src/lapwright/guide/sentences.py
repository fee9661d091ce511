"""Sentences with values in them, and the units the reader chose.

The page renders by the same rule (``web/src/sentences.ts``); a test holds the two together.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

NO_BREAK_SPACE = "\u00a0"
MINUS = "\u2212"
_HOLE = re.compile(r"\{(\d+)\}")
_WIDTH = re.compile(r"±[\u00a0 ]$")  # what a width stands behind
_CLOSE_UP = {"°"}  # units set without a space before them


def round_fixed(value: float, decimals: int) -> str:
    """Write a number with so many decimals, halves away from zero, with a true minus."""
    exponent = Decimal(1).scaleb(-decimals)
    text = f"{abs(Decimal(value)).quantize(exponent, ROUND_HALF_UP):f}"
    return MINUS + text if value < 0 and text.strip("0.") else text


def write_lap_time(seconds: float, decimals: int = 3) -> str:
    """Write minutes and seconds, as ``1:18.190``."""
    text = round_fixed(abs(seconds), decimals)
    whole, _, part = text.partition(".")
    minutes, rest = divmod(int(whole), 60)
    sign = MINUS if seconds < 0 and text.strip("0.") else ""
    return f"{sign}{minutes}:{rest:02d}" + (f".{part}" if part else "")


def write_value(
    value: float | None, quantity: str, system: Mapping[str, Any], decimals: int | None = None
) -> str:
    """Write an SI value of a quantity in a system of units, unit included.

    A quantity that the system does not name is written as it is; None and what is not
    finite are a dash.
    """
    if value is None or not math.isfinite(value):
        return "–"
    rule = system["quantities"].get(quantity) or {"unit": "", "factor": 1.0, "decimals": 2}
    places = rule["decimals"] if decimals is None else decimals
    if quantity == "lap_time":
        return write_lap_time(value * rule["factor"], places)
    text = round_fixed(value * rule["factor"], places)
    space = "" if rule["unit"] in _CLOSE_UP or not rule["unit"] else NO_BREAK_SPACE
    return f"{text}{space}{rule['unit']}"


def write_width(
    value: float | None, quantity: str, system: Mapping[str, Any], decimals: int | None = None
) -> str:
    """Write what stands behind ±: a width that is not zero never reads as zero.

    It has no sign, takes up to two decimals more, and is rounded up where these do not show it.
    """
    rule = system["quantities"].get(quantity) or {"factor": 1.0, "decimals": 2}
    places = rule["decimals"] if decimals is None else decimals
    if value is None or not math.isfinite(value) or value == 0.0:
        return write_value(value, quantity, system, places)
    shown = abs(value) * rule["factor"]
    most = places + 2
    while places < most and not round_fixed(shown, places).strip("0."):
        places += 1
    least = 10.0**-places / rule["factor"]
    return write_value(max(abs(value), least), quantity, system, places)


def write_text(text: Mapping[str, Any], system: Mapping[str, Any]) -> str:
    """Fill the holes of a sentence ``{"t": ..., "v": [[value, quantity, decimals?], ...]}``."""
    values: Sequence[Sequence[Any]] = text.get("v") or ()

    def fill(hole: re.Match[str]) -> str:
        index = int(hole.group(1))
        if index >= len(values):
            return hole.group(0)
        value, quantity, *more = values[index]
        write = write_width if _WIDTH.search(text["t"][: hole.start()]) else write_value
        return write(value, quantity, system, more[0] if more else None)

    return _HOLE.sub(fill, text["t"])


def write_joined(
    texts: Iterable[Mapping[str, Any] | None], mark: str, system: Mapping[str, Any], lead: str = ""
) -> str:
    """Write parts as one sentence with its capital and full stop; empty where there are none."""
    parts = (write_text(text, system).rstrip(".") for text in texts if text)
    said = mark.join(part for part in parts if part)
    whole = lead + said
    return f"{whole[:1].upper()}{whole[1:]}." if said else ""


def chosen_system(units: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the system of units that the view names as chosen."""
    system: Mapping[str, Any] = units["systems"][units["chosen"]]
    return system
