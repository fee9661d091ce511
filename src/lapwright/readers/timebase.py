"""The time of each row: which column gives it, in which unit, from which moment."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from lapwright.messages import Message
from lapwright.readers.choose import Chosen
from lapwright.readers.clock import build_clock
from lapwright.readers.mapping import ChannelMapping, ChannelRule
from lapwright.readers.rollover import undo_rollover
from lapwright.readers.stamps import Stamps, read_stamps, reckon_back
from lapwright.readers.synonyms import find_implied_unit
from lapwright.readers.table import Column, Table, count
from lapwright.units import Unit, find_unit

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Key of the recording's info under which the clock's column stands.
TIME_COLUMN = "time column"
#: Stamps of one recording lie this near to each other, s.
_NEAR_S = 30.0 * 86_400.0


@dataclass(frozen=True, slots=True)
class Timed:
    """A table's clock.

    Parameters
    ----------
    rows
        Rows of the table that are kept, in the order of time, shape (n,).
    time, utc
        Seconds of each, shape (n,); utc is None where the file has none.
    info, messages
        What the time counts from, and what has to be said.
    """

    rows: IntArray
    time: Array
    utc: Array | None
    info: dict[str, str]
    messages: tuple[Message, ...]


def build_time(table: Table, chosen: Chosen, mapping: ChannelMapping) -> Timed | Message:
    """Settle a table's clock; a question in the form of a message when there is none.

    Parameters
    ----------
    table, chosen
        The rows, and which columns hold time.
    mapping
        Its rules for ``time`` and ``utc`` overrule the header.
    """
    rule = mapping.rule("time")
    if rule.rate_hz:
        rows = np.arange(table.place_of_row.size, dtype=np.int64)
        return Timed(rows, rows / rule.rate_hz, None, {}, ())
    first = _read_clock_column(chosen.time, rule, chosen.date)
    second = _read_clock_column(chosen.utc, mapping.rule("utc"), chosen.date)
    if first is None and second is None:
        return _ask_for_time(table, chosen)
    units = [
        *_say_units(table, chosen.time, first, rule),
        *_say_units(table, chosen.utc, second, mapping.rule("utc")),
    ]
    early, first, second = _reckon_early(table, chosen, first, second)
    moved, first = _move_date(table, chosen.time, first)
    also_moved, second = _move_date(table, chosen.utc, second)
    clock, channel = (first, chosen.time) if first is not None else (second, chosen.utc)
    assert clock is not None
    assert channel is not None
    utc = second.seconds if second is not None and second.kind == "epoch" else None
    question, clock = _check_step(table, channel, clock, utc, rule)
    info = {TIME_COLUMN: channel.label.name}
    seconds, own_utc = clock.seconds, utc
    if clock.kind in ("epoch", "of_day"):
        origin = _find_origin(seconds)
        info["time 0 is at"] = _say_moment(origin, clock.kind)
        own_utc = seconds if clock.kind == "epoch" else utc
        seconds = seconds - origin
    built = build_clock(table, channel.label.name, seconds, utc if first is not None else None)
    utc_rows = None if own_utc is None else own_utc[built.rows]
    if clock.kind == "epoch" and utc_rows is not None and utc is None:
        utc_rows = built.time + origin
    said = (*units, *early, *moved, *also_moved, *question, *built.messages)
    return Timed(built.rows, built.time, utc_rows, info, said)


def _move_date(
    table: Table, column: Column | None, stamps: Stamps | None
) -> tuple[tuple[Message, ...], Stamps | None]:
    if column is None or stamps is None or stamps.kind != "epoch":
        return (), stamps
    seconds, message = undo_rollover(table, column.label.name, stamps.seconds)
    return (() if message is None else (message,)), Stamps(seconds, "epoch")


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
    stamps = read_stamps(column, _find_time_unit(text) if text else None, date)
    return None if stamps.kind == "none" else stamps


def _check_step(
    table: Table, column: Column, clock: Stamps, utc: Array | None, rule: ChannelRule
) -> tuple[tuple[Message, ...], Stamps]:
    """Ask when the clock's step cannot be in the unit that the header gives."""
    step = _usual_step(clock.seconds) or 0.0
    true = None if utc is None else _usual_step(utc)
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


def _usual_step(seconds: Array) -> float | None:
    steps = np.diff(seconds)
    np.abs(steps, out=steps)
    known = np.isfinite(steps)
    steps = steps if known.all() else steps[known]
    return float(np.median(steps, overwrite_input=True)) if steps.size > 1 else None


def _say_units(
    table: Table, column: Column | None, stamps: Stamps | None, rule: ChannelRule
) -> Iterator[Message]:
    """Say where stamps were read in another unit than the one given."""
    if column is None or stamps is None:
        return
    given = rule.unit or column.label.unit
    if stamps.tick_s is not None:
        name = {1.0: "s", 1e-3: "ms", 1e-6: "us", 1e-9: "ns"}[stamps.tick_s]
        value = float(np.nanmedian(column.values))
        found = f'stamps such as {value:.4g} under "{column.label.cell}" lie beyond the year 2100'
        done, to_do = f"Read as {name} since 1970", ""
    elif given and given.strip("- ") and stamps.kind == "relative" and not _find_time_unit(given):
        found, done = f'"{given}" is no unit of time that is known here', "Read as seconds"
        to_do = "Say the unit with --set time.unit=UNIT if it is another"
    else:
        return
    yield Message(
        "repaired" if stamps.tick_s else "flagged", table.file, found, done, to_do,
        place=table.header_place, channel=column.label.name,
    )  # fmt: skip


def _find_time_unit(text: str) -> Unit | None:
    return find_unit(text, "time")


def _find_origin(seconds: Array) -> float:
    """First stamp of a clock that lies near most of them: a wild one must not move all."""
    known = seconds[np.isfinite(seconds)]
    middle = np.partition(known, known.size // 2)[known.size // 2]  # a stamp, no mean of two
    near = np.abs(known - middle) < _NEAR_S
    return float(known[near][0])


def _ask_for_time(table: Table, chosen: Chosen) -> Message:
    column = chosen.time or chosen.utc
    found = "no column holds time (looked for time, t, timestamp, utc, date)"
    if column is not None:
        held = f" ({column.listed})" if column.listed else ""
        found = f"the column of time holds no stamp that can be read{held}"
    return Message(
        "ask",
        table.file,
        found,
        to_do="Name the column with --set time.column=NAME, or give the sample rate?",
        place=table.header_place,
        channel=None if column is None else column.label.name,
        answer="--set time.rate=100",
    )


def _say_moment(origin: float, kind: str) -> str:
    if kind == "of_day":
        hours, rest = divmod(origin, 3600.0)
        return f"{int(hours):02d}:{int(rest // 60):02d}:{rest % 60:06.3f}"
    return datetime.fromtimestamp(origin, UTC).isoformat(timespec="milliseconds")
