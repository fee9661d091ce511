"""From tables of columns to a recording: names, clock, units, native rates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.recording import Channel, HowKnown, Recording
from lapwright.names import GLOSSARY
from lapwright.readers.choose import Chosen, choose_columns
from lapwright.readers.clock import build_clock
from lapwright.readers.mapping import ChannelMapping, ChannelRule
from lapwright.readers.rates import find_native_samples
from lapwright.readers.stamps import Stamps, read_stamps, reckon_back
from lapwright.readers.synonyms import find_implied_unit
from lapwright.readers.table import Column, Table, count
from lapwright.readers.unit_words import DEGREES_MINUTES, read_degrees_minutes
from lapwright.units import Unit, dimension_of, find_unit

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Channels that one sensor gives together and that therefore share one native rate.
_TOGETHER = (("latitude", "longitude"), ("x", "y"))
#: Key of the recording's info under which the clock's column stands.
TIME_COLUMN = "time column"
#: Columns with fewer filled cells than this share hold notes or nothing.
_TOO_EMPTY = 1e-4


@dataclass(frozen=True, slots=True)
class _Timed:
    """A table's clock: rows in order, their time, and what has to be said."""

    rows: IntArray
    time: Array
    utc: Array | None
    info: dict[str, str]
    messages: tuple[Message, ...]


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
    timed = _build_time(table, chosen, mapping)
    if isinstance(timed, Message):
        raise InputError([*messages, timed])
    messages += timed.messages
    channels, left, said = _build_channels(table, chosen, timed, mapping)
    messages += said
    stamped = chosen.utc or chosen.time
    if timed.utc is not None and stamped is not None:
        channels["utc"] = _utc_channel(timed, stamped)
    others = _build_others(table, chosen, left, timed)
    info = {**table.info, **timed.info}
    return Recording(table.file, table.sha256, channels, others, info, tuple(messages))


def _build_time(table: Table, chosen: Chosen, mapping: ChannelMapping) -> _Timed | Message:
    """Settle the clock; a message when there is none."""
    rule = mapping.rule("time")
    if rule.rate_hz:
        n = len(table.columns[0].values)
        rows = np.arange(n, dtype=np.int64)
        return _Timed(rows, rows / rule.rate_hz, None, {}, ())
    first = _read_clock_column(chosen.time, rule, chosen.date)
    second = _read_clock_column(chosen.utc, mapping.rule("utc"), chosen.date)
    if first is None and second is None:
        return _ask_for_time(table)
    early, first, second = _reckon_early(table, chosen, first, second)
    clock, channel = (first, chosen.time) if first is not None else (second, chosen.utc)
    assert clock is not None
    assert channel is not None
    utc = second.seconds if second is not None and second.kind == "epoch" else None
    question, clock = _check_step(table, channel, clock, utc, rule)
    info = {TIME_COLUMN: channel.label.name}
    seconds, own_utc = clock.seconds, utc
    if clock.kind in ("epoch", "of_day"):
        origin = float(seconds[np.isfinite(seconds)][0])
        info["time 0 is at"] = _say_moment(origin, clock.kind)
        own_utc = seconds if clock.kind == "epoch" else utc
        seconds = seconds - origin
    built = build_clock(table, channel.label.name, seconds, utc if first is not None else None)
    utc_rows = None if own_utc is None else own_utc[built.rows]
    if clock.kind == "epoch" and utc_rows is not None and utc is None:
        utc_rows = built.time + origin
    said = (*early, *question, *built.messages)
    return _Timed(built.rows, built.time, utc_rows, info, said)


def _reckon_early(
    table: Table, chosen: Chosen, first: Stamps | None, second: Stamps | None
) -> tuple[tuple[Message, ...], Stamps | None, Stamps | None]:
    """Mend the stamps of 1970 that a receiver gives before it knows the date."""
    own = first.seconds if first is not None and first.kind == "relative" else None
    mended: list[Stamps | None] = []
    said: tuple[Message, ...] = ()
    for stamps, column in ((first, chosen.time), (second, chosen.utc)):
        if stamps is None or column is None or stamps.kind != "epoch":
            mended.append(stamps)
            continue
        seconds, n = reckon_back(stamps.seconds, own)
        mended.append(Stamps(seconds, "epoch"))
        if n:
            rows = np.arange(n, dtype=np.int64)
            found = "year 1970 before the first fix"
            next_place = table.say_rows(np.array([n], dtype=np.int64))
            done = f"{count(n, 'stamp')} reckoned back from {next_place}"
            said += (
                Message(
                    "repaired", table.file, found, done, place=table.say_rows(rows),
                    line=table.first_line(rows), channel=column.label.name,
                ),
            )  # fmt: skip
    return said, mended[0], mended[1]


def _read_clock_column(
    column: Column | None, rule: ChannelRule, date: Column | None
) -> Stamps | None:
    if column is None:
        return None
    text = rule.unit or column.label.unit or find_implied_unit(column.label.name)
    stamps = read_stamps(column, find_unit(text, "time") if text else None, date)
    return None if stamps.kind == "none" else stamps


def _check_step(
    table: Table, column: Column, clock: Stamps, utc: Array | None, rule: ChannelRule
) -> tuple[tuple[Message, ...], Stamps]:
    """Ask when the clock's step cannot be in the unit that the header gives."""
    step = float(np.nanmedian(np.abs(np.diff(clock.seconds)))) if clock.seconds.size > 2 else 0.0
    true = None if utc is None else float(np.nanmedian(np.abs(np.diff(utc))))
    by_utc = true is not None and true > 0 and abs(step / (1000.0 * true) - 1.0) < 0.1
    if rule.unit or clock.kind != "relative" or not (by_utc or step >= 5.0):
        return (), clock
    stated = column.label.unit
    found = f"step of {step:g} s" + (f' under "{column.label.cell}"' if stated else "")
    found += f"; utc steps by {true:g} s" if by_utc else ""
    in_ms = Stamps(clock.seconds * 1e-3, "relative")
    if stated is None:
        message = Message(
            "repaired", table.file, f"step of {step:g} and no unit", "Read as ms",
            place=table.header_place, channel=column.label.name,
        )  # fmt: skip
        return (message,), in_ms
    message = Message(
        "ask", table.file, found, to_do="Read as ms?", place=table.header_place,
        channel=column.label.name, answer="--set time.unit=ms",
    )  # fmt: skip
    return (message,), in_ms


def _ask_for_time(table: Table) -> Message:
    return Message(
        "ask",
        table.file,
        "no column holds time (looked for time, t, timestamp, utc, date)",
        to_do="Name the column with --set time.column=NAME, or give the sample rate?",
        place=table.header_place,
        answer="--set time.rate=100",
    )


def _say_moment(origin: float, kind: str) -> str:
    if kind == "of_day":
        hours, rest = divmod(origin, 3600.0)
        return f"{int(hours):02d}:{int(rest // 60):02d}:{rest % 60:06.3f}"
    return datetime.fromtimestamp(origin, UTC).isoformat(timespec="milliseconds")


def _utc_channel(timed: _Timed, column: Column) -> Channel:
    assert timed.utc is not None
    label = column.label
    return Channel("utc", "s", timed.time, timed.utc, label.name, label.unit, "header")


def _build_channels(
    table: Table, chosen: Chosen, timed: _Timed, mapping: ChannelMapping
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


def _find_samples(chosen: Chosen, timed: _Timed) -> dict[str, IntArray | None]:
    """Native samples of every chosen channel, those of one sensor found together."""
    groups = [g for g in _TOGETHER if all(n in chosen.columns for n in g)]
    grouped = {n for g in groups for n in g}
    groups += [(n,) for n in chosen.columns if n not in grouped]  # type: ignore[misc]
    found: dict[str, IntArray | None] = {}
    for group in groups:
        values = [chosen.columns[n].values[timed.rows] for n in group]
        is_state = GLOSSARY[group[0]].kind == "state"
        samples = None if is_state else find_native_samples(values)
        found |= dict.fromkeys(group, samples)
    return found


def _build_channel(
    table: Table,
    name: str,
    column: Column,
    timed: _Timed,
    samples: IntArray | None,
    rule: ChannelRule,
) -> Channel | Message:
    label = column.label
    unit_text = rule.unit or label.unit or find_implied_unit(label.name)
    how = _say_how(rule, column)
    values = column.values[timed.rows] * (rule.scale * (-1.0 if rule.invert else 1.0))
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
    if beyond.size < 0.5 * np.isfinite(channel.values).sum():
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
    table: Table, chosen: Chosen, left: dict[str, str], timed: _Timed
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
        values = column.values[timed.rows]
        samples = find_native_samples([values])
        time = timed.time if samples is None else timed.time[samples]
        values = values if samples is None else values[samples]
        unit = column.label.unit or "1"
        others[name] = Channel(name, unit, time, values, name, column.label.unit, "header")
    return others
