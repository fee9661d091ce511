"""Names and units out of a header: brackets, suffixes, a second row of units."""

from __future__ import annotations

import re
from dataclasses import dataclass

from lapwright.readers.synonyms import find_channel
from lapwright.units import find_units

#: One bracketed group; the content holds no bracket, so matching stays linear.
_GROUP = re.compile(r"\(([^()\[\]{}<>]*)\)|\[([^()\[\]{}<>]*)\]|\{([^{}]*)\}|<([^<>]*)>")

#: A name with more signs than this is not looked through for a unit.
_LONGEST = 500

#: Unit suffixes of names such as ``speed_kmh``.
_SUFFIXES = {
    "kmh": "km/h", "kph": "km/h", "kmph": "km/h", "mph": "mph", "mps": "m/s", "ms2": "m/s^2",
    "mps2": "m/s^2", "mpss": "m/s^2", "g": "g", "deg": "deg", "rad": "rad", "rads": "rad/s",
    "radps": "rad/s", "radpersec": "rad/s", "degs": "deg/s", "degps": "deg/s", "dps": "deg/s",
    "rpm": "1/min", "bar": "bar", "kpa": "kPa", "psi": "psi", "pa": "Pa", "pct": "%",
    "percent": "%", "perc": "%", "m": "m", "km": "km", "ft": "ft", "s": "s", "sec": "s",
    "us": "us", "ns": "ns", "kn": "kn", "kt": "kn", "kts": "kn", "knots": "kn", "kg": "kg",
    "c": "°C", "degc": "°C", "l": "L", "fps": "ft/s",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Label:
    """A column's name and, if the header gave one, its unit text."""

    name: str
    unit: str | None
    cell: str


def split_label(cell: str) -> Label:
    """Split a header cell into name and unit.

    Examples
    --------
    >>> split_label("speed (km/h)").unit
    'km/h'
    >>> split_label("acc_x_g")
    Label(name='acc_x_g', unit='g', cell='acc_x_g')
    """
    cell = cell.strip().strip("\"'").strip()
    if len(cell) > _LONGEST:
        return Label(cell, None, cell)
    return _split_brackets(cell) or _split_quantity(cell) or _split_suffix(cell)


def _split_brackets(cell: str) -> Label | None:
    for match in _GROUP.finditer(cell):
        text = next(g for g in match.groups() if g is not None).strip()
        rest = f"{cell[: match.start()]} {cell[match.end() :]}".strip()
        square = match.group(2) is not None
        if rest and (find_units(text) or square or text in ("", "-")):
            return Label(" ".join(rest.split()), text or "-", cell)
    return None


def _split_quantity(cell: str) -> Label | None:
    """Split ``v / km/h`` and ``v in km/h``, the standards' way to label a table column."""
    for mark in (" / ", " in ", ", "):
        name, found, unit = cell.partition(mark)
        if found and name.strip() and find_units(unit):
            return Label(name.strip(), unit.strip(), cell)
    return None


def _split_suffix(cell: str) -> Label:
    """Split off a suffix; the name stays as written, so that a mapping finds the column."""
    stem, mark, suffix = _last_word(cell)
    unit = _SUFFIXES.get(suffix.casefold())
    if suffix.casefold() == "ms" and mark:
        channel = find_channel(stem)
        unit = "ms" if channel in ("time", "utc") else "m/s" if channel else None
    whole = find_channel(cell)
    if not mark or unit is None or (whole is not None and whole != find_channel(stem)):
        return Label(cell, None, cell)
    return Label(cell, unit, cell)


def _last_word(cell: str) -> tuple[str, str, str]:
    for mark in ("_", " ", ".", "-"):
        stem, found, suffix = cell.rpartition(mark)
        if found and stem.strip():
            return stem, found, suffix
    return cell, "", ""


def find_label_channel(label: Label) -> str | None:
    """Find the canonical channel of a label, looking past a unit suffix."""
    found = find_channel(label.name)
    if found is None and label.unit is not None:
        found = find_channel(_last_word(label.name)[0])
    return found


def is_unit_cell(cell: str) -> bool:
    """Whether a cell reads as a unit, bare or in brackets."""
    bare = cell.strip().strip("\"'").strip("[](){}<> ")
    return bool(bare) and bool(find_units(bare))


def clean_unit_cell(cell: str) -> str | None:
    """Take the unit text out of a cell of a units row; None when it is empty."""
    return cell.strip().strip("\"'").strip("[](){}<> ") or None
