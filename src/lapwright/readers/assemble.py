"""From tables of columns to a recording: names, clock, units, native rates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.recording import Channel, HowKnown, Recording
from lapwright.names import GLOSSARY
from lapwright.readers.choose import Chosen, choose_columns
from lapwright.readers.mapping import ChannelMapping, ChannelRule
from lapwright.readers.rates import find_native_samples
from lapwright.readers.synonyms import find_implied_unit
from lapwright.readers.table import Column, Table
from lapwright.readers.timebase import Timed, build_time
from lapwright.readers.two_places import part_places
from lapwright.readers.unit_words import DEGREES_MINUTES, read_degrees_minutes
from lapwright.units import Unit, dimension_of, find_unit

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Channels that one sensor gives together and that therefore share one native rate.
_TOGETHER = (("latitude", "longitude"), ("x", "y"))
#: Columns with fewer filled cells than this share hold notes or nothing.
_TOO_EMPTY = 1e-4


def assemble_recording(tables: Sequence[Table], mapping: ChannelMapping) -> Recording:
    """Build a recording from the tables of one file.

    Parameters
    ----------
    tables
        One for each clock in the file; the first table to hold a channel gives it.
    mapping
        Rules that overrule what the file says.

    Returns
    -------
    Recording
        Its messages may hold questions; ``repair_recording`` raises on them.

    Raises
    ------
    InputError
        When no table has a clock, with all questions so far.
    """
    parts = [_assemble_table(table, mapping) for table in tables]
    channels: dict[str, Channel] = {}
    others: dict[str, Channel] = {}
    info: dict[str, str] = {}
    for part in parts:
        channels = {**part.channels, **channels}
        others = {**part.others, **others}
        info = {**part.info, **info}
    messages = tuple(dict.fromkeys(m for p in parts for m in p.messages))
    return replace(parts[0], channels=channels, others=others, info=info, messages=messages)


def _assemble_table(table: Table, mapping: ChannelMapping) -> Recording:
    chosen = choose_columns(table, mapping)
    messages = [*table.messages, *chosen.messages]
    timed = build_time(table, chosen, mapping)
    if isinstance(timed, Message):
        raise InputError([*messages, timed])
    timed = part_places(table, chosen.columns, timed, mapping)
    messages += timed.messages
    channels, left, said = _build_channels(table, chosen, timed, mapping)
    messages += said
    stamped = chosen.utc or chosen.time
    if timed.utc is not None and stamped is not None:
        channels["utc"] = _utc_channel(timed, stamped)
    others = _build_others(table, chosen, left, timed)
    info = {**table.info, **timed.info}
    return Recording(table.file, table.sha256, channels, others, info, tuple(messages))


def _utc_channel(timed: Timed, column: Column) -> Channel:
    assert timed.utc is not None
    label = column.label
    return Channel("utc", "s", timed.time, timed.utc, label.name, label.unit, "header")


def _build_channels(
    table: Table, chosen: Chosen, timed: Timed, mapping: ChannelMapping
) -> tuple[dict[str, Channel], dict[str, str], list[Message]]:
    channels: dict[str, Channel] = {}
    left: dict[str, str] = {}
    messages: list[Message] = []
    sampled = _find_samples(chosen, timed)
    for name, column in chosen.columns.items():
        built = _build_channel(table, name, column, timed, sampled[name], mapping.rule(name))
        if isinstance(built, Channel):
            channels.setdefault(built.name, built)
            messages += _ask_degrees(table, built, column)
        else:
            left[column.label.cell] = name
            messages.append(built)
    return channels, left, messages


def _find_samples(chosen: Chosen, timed: Timed) -> dict[str, IntArray | None]:
    """Native samples of every chosen channel, those of one sensor found together."""
    groups = [g for g in _TOGETHER if all(n in chosen.columns for n in g)]
    grouped = {n for g in groups for n in g}
    groups += [(n,) for n in chosen.columns if n not in grouped]  # type: ignore[misc]
    found: dict[str, IntArray | None] = {}
    for group in groups:
        values = [_take(chosen.columns[n].values, timed.rows) for n in group]
        is_state = GLOSSARY[group[0]].kind == "state"
        samples = None if is_state else find_native_samples(values)
        found |= dict.fromkeys(group, samples)
    return found


def _build_channel(
    table: Table,
    name: str,
    column: Column,
    timed: Timed,
    samples: IntArray | None,
    rule: ChannelRule,
) -> Channel | Message:
    label = column.label
    unit_text = rule.unit or label.unit or find_implied_unit(label.name)
    how = _say_how(rule, column)
    values = _take(column.values, timed.rows)
    scale = rule.scale * (-1.0 if rule.invert else 1.0)
    values = values if scale == 1.0 else values * scale
    time = timed.time - rule.delay_s if rule.delay_s else timed.time
    if samples is not None:
        time, values = time[samples], values[samples]
    if unit_text and unit_text.strip().casefold() == DEGREES_MINUTES:
        values = read_degrees_minutes(values)
        return Channel(name, "deg", time, values, label.name, unit_text, how, rule.delay_s)
    if unit_text is None or (unit_text.strip() in ("", "-") and GLOSSARY[name].unit != "1"):
        return Channel(
            name, GLOSSARY[name].unit, time, values, label.name, None, "assumed", rule.delay_s
        )
    name, unit = _match_unit(name, unit_text)
    if unit is None:
        return _refuse_unit(table, name, column, unit_text)
    own = find_unit(GLOSSARY[name].unit)
    assert own is not None
    values = _to_stored(values, unit, own)
    return Channel(
        name, GLOSSARY[name].unit, time, values, label.name, unit_text.strip(), how, rule.delay_s
    )


def _take(values: Array, rows: IntArray) -> Array:
    """Values of some rows, without a copy where these are all rows in order."""
    n = values.size
    is_all = rows.size == n and (
        not n or (rows[0] == 0 and rows[-1] == n - 1 and bool((rows[1:] > rows[:-1]).all()))
    )
    return values if is_all else values[rows]


def _to_stored(values: Array, unit: Unit, own: Unit) -> Array:
    if unit.factor == own.factor and unit.offset == own.offset:
        return values
    return np.asarray((unit.to_si(values) - own.offset) / own.factor)


def _say_how(rule: ChannelRule, column: Column) -> HowKnown:
    if rule.unit:
        return "mapping"
    return "header" if column.label.unit and column.label.unit != "-" else "name"


def _match_unit(name: str, text: str) -> tuple[str, Unit | None]:
    """Find the unit in the channel's dimension; a brake in bar is a brake pressure."""
    unit = find_unit(text, dimension_of(GLOSSARY[name].unit))
    if unit is not None:
        return name, unit
    related = {"brake": "brake_pressure", "brake_pressure": "brake", "distance": "lap_share"}
    other = related.get(name)
    if other is None:
        return name, None
    unit = find_unit(text, dimension_of(GLOSSARY[other].unit))
    return (other, unit) if unit is not None else (name, None)


def _refuse_unit(table: Table, name: str, column: Column, text: str) -> Message:
    return Message(
        "flagged",
        table.file,
        f'"{text}" is no unit of {name.replace("_", " ")} that is known here',
        "Kept, not used",
        f"Say the unit with --set {name}.unit=UNIT",
        place=table.header_place,
        channel=column.label.name,
        answer=f"--set {name}.unit={GLOSSARY[name].unit}",
    )


def _ask_degrees(table: Table, channel: Channel, column: Column) -> list[Message]:
    """Ask when a latitude or longitude can only be degrees and minutes written as one number."""
    limit = {"latitude": 90.0, "longitude": 180.0}.get(channel.name)
    if limit is None or channel.how_known == "mapping":
        return []
    beyond = channel.values[np.abs(channel.values) > limit]
    if not beyond.size or beyond.size < 0.5 * np.isfinite(channel.values).sum():
        return []
    value = float(beyond[0])
    degrees, minutes = divmod(abs(value), 100.0)
    return [
        Message(
            "ask",
            table.file,
            f"{value:,.2f} is outside ±{limit:g} deg".replace(",", " "),
            to_do=f"Read as {degrees:.0f} deg {minutes:.2f} min?",
            place=table.header_place,
            channel=column.label.name,
            answer=f"--set {channel.name}.unit={DEGREES_MINUTES}",
        )
    ]


def _build_others(
    table: Table, chosen: Chosen, left: dict[str, str], timed: Timed
) -> dict[str, Channel]:
    """Keep every column of numbers that is no known channel, in its own unit."""
    used = {c.label.cell for c in chosen.columns.values() if c.label.cell not in left}
    used |= {c.label.cell for c in (chosen.time, chosen.utc, chosen.date) if c is not None}
    others: dict[str, Channel] = {}
    for column in table.columns:
        name = column.label.name
        filled = float(np.isfinite(column.values).mean()) if column.values.size else 0.0
        if column.label.cell in used or filled <= _TOO_EMPTY or name in others:
            continue
        held = _find_rows_held(column, timed.rows)
        values = column.values[timed.rows[held] - column.first_row]
        samples = find_native_samples([values])
        time = timed.time[held] if samples is None else timed.time[held][samples]
        values = values if samples is None else values[samples]
        unit = column.label.unit or "1"
        others[name] = Channel(name, unit, time, values, name, column.label.unit, "header")
    return others


def _find_rows_held(column: Column, rows: IntArray) -> slice | NDArray[np.bool_]:
    """Which of the rows a column holds: all of them, but in a large file."""
    if column.first_row == 0 and column.values.size > rows.max(initial=-1):
        return slice(None)
    return (rows >= column.first_row) & (rows < column.first_row + column.values.size)
