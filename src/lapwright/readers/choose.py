"""Which column is which channel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from lapwright.messages import Message
from lapwright.readers.header import find_label_channel
from lapwright.readers.mapping import ChannelMapping, ChannelRule
from lapwright.readers.table import DATE_NAMES, Column, Table

_DEGREES: Final = ("latitude", "longitude")
#: Channels that laps are placed and timed by.
_NEEDED: Final = (*_DEGREES, "x", "y", "speed", "velocity_forward")


@dataclass(frozen=True, slots=True)
class Chosen:
    """The columns of a table by canonical channel, and its clock columns."""

    columns: dict[str, Column]
    time: Column | None
    utc: Column | None
    date: Column | None
    messages: tuple[Message, ...]


def choose_columns(table: Table, mapping: ChannelMapping) -> Chosen:
    """Give columns their channels, first by the mapping, then by their names."""
    found: dict[str, Column] = {}
    messages: list[Message] = []
    for name, rule in mapping.rules.items():
        if rule.column is None:
            continue
        column = _find_column(table, rule)
        if column is None:
            messages.append(_no_such_column(table, name, rule.column))
        elif _is_text(column, name):
            messages.append(_say_no_number(table, name, column, asked=True))
        else:
            found[name] = column
    taken = {id(c) for c in found.values()}
    empty: dict[str, Column] = {}
    for index, column in enumerate(table.columns):
        channel = find_label_channel(column.label)
        if channel is None or id(column) in taken:
            continue
        if _is_text(column, channel):
            empty.setdefault(channel, column)
            continue
        if channel not in found:
            found[channel] = column
        elif (channel not in mapping.rules or mapping.rules[channel].column is None) and found[
            channel
        ].label.name == column.label.name:
            messages += _compare_twins(table, channel, found[channel], column, index)
    messages += [
        _say_no_number(table, name, column) for name, column in empty.items() if name not in found
    ]
    date = next((c for c in table.columns if c.label.name.casefold() in DATE_NAMES), None)
    time, utc = found.pop("time", None), found.pop("utc", None)
    return Chosen(found, time, utc, date, tuple(messages))


def _is_text(column: Column, channel: str) -> bool:
    return channel not in ("time", "utc") and not np.isfinite(column.values).any()


def _say_no_number(table: Table, channel: str, column: Column, asked: bool = False) -> Message:
    """Say that a column cannot be used; an empty one matters where laps are placed by it."""
    found = f"no cell holds a number ({column.listed})" if column.listed else "every cell is empty"
    matters = asked or bool(column.listed) or channel in _NEEDED
    to_do = "Export it in decimal degrees" if column.listed and channel in _DEGREES else ""
    to_do = to_do or ("Check what the logger exports" if matters else "")
    return Message(
        "flagged" if matters else "accepted", table.file, found, "Not used", to_do,
        place=table.header_place, channel=column.label.name,
    )  # fmt: skip


def _find_column(table: Table, rule: ChannelRule) -> Column | None:
    assert rule.column is not None
    wanted = rule.column.strip()
    if wanted.startswith("#") and wanted[1:].isdigit():
        index = int(wanted[1:]) - 1
        return table.columns[index] if 0 <= index < len(table.columns) else None
    exact = [c for c in table.columns if wanted in (c.label.name, c.label.cell)]
    near = [c for c in table.columns if c.label.name.casefold() == wanted.casefold()]
    return next(iter(exact or near), None)


def _no_such_column(table: Table, channel: str, column: str) -> Message:
    names = ", ".join(c.label.name for c in table.columns[:12])
    return Message(
        "flagged",
        table.file,
        f'the mapping\'s column "{column}" for {channel} does not exist (columns: {names} …)',
        "The mapping's entry was not used",
        "Correct its name",
        place=table.header_place,
        channel=column,
    )


def _compare_twins(
    table: Table, channel: str, first: Column, second: Column, index: int
) -> list[Message]:
    """Say what two columns of one name are to each other."""
    at = next(i for i, c in enumerate(table.columns) if c is first)
    a, b = first.values, second.values
    both = np.isfinite(a) & np.isfinite(b)
    scale = float(np.mean(np.abs(a[both]))) if both.any() else 0.0
    differ = float(np.mean(np.abs(a[both] - b[both]))) if both.any() else 0.0
    places = f"two columns ({at + 1} and {index + 1}) have this name"
    if differ == 0.0:
        return [
            Message(
                "repaired", table.file, f"{places} and the same values", "The second was left out",
                place=table.header_place, channel=first.label.name,
            )
        ]  # fmt: skip
    return [
        Message(
            "ask",
            table.file,
            f"{places} and differ by {100.0 * differ / max(scale, 1e-12):.1f} % on average",
            "Nothing was imported",
            f"Take column {at + 1}?",
            place=table.header_place,
            channel=first.label.name,
            answer=f"--set {channel}.column=#{at + 1}",
        )
    ]
