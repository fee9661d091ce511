"""One strictly increasing clock out of whatever time columns a file has."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.messages import Message, Outcome
from lapwright.readers.table import Table, count

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: A clock is said to begin anew when it falls to within this many seconds of its first value.
_NEAR_START_S = 2.0
#: Seconds put between two recordings in one file, so that nothing is timed across them.
_BREAK_S = 10.0
#: Stamps around one that show whether it is wild.
_AROUND = 11


@dataclass(frozen=True, slots=True)
class Clock:
    """Rows kept, in their order, and the time of each.

    ``rows`` and ``time`` have shape (n,); ``time`` increases strictly;
    ``rebuilt_from_utc`` tells that the file's own clock was given up.
    """

    rows: IntArray
    time: Array
    messages: tuple[Message, ...] = ()


_Step = Callable[["_State"], "_State"]


@dataclass(frozen=True, slots=True)
class _State:
    table: Table
    channel: str
    rows: IntArray
    time: Array
    utc: Array | None
    messages: tuple[Message, ...]

    def keep(self, kept: NDArray[np.bool_] | IntArray) -> _State:
        utc = None if self.utc is None else self.utc[kept]
        return _State(
            self.table, self.channel, self.rows[kept], self.time[kept], utc, self.messages
        )

    def retime(self, time: Array) -> _State:
        return _State(self.table, self.channel, self.rows, time, self.utc, self.messages)

    def say(self, outcome: Outcome, at: IntArray, found: str, done: str, to_do: str = "") -> _State:
        rows = self.rows[at]
        message = Message(
            outcome,
            self.table.file,
            found,
            done,
            to_do,
            place=self.table.say_rows(rows),
            line=self.table.first_line(rows),
            channel=self.channel,
        )
        return _State(
            self.table, self.channel, self.rows, self.time, self.utc, (*self.messages, message)
        )


def build_clock(table: Table, channel: str, time: Array, utc: Array | None) -> Clock:
    """Order rows by time and mend stamps that fall, repeat or jump.

    Parameters
    ----------
    table
        The rows, to compare them and to say where they are.
    channel
        Name of the time column, for the messages.
    time
        Seconds, shape (n,), NaN where a stamp could not be read.
    utc
        A second clock in seconds, same shape, or None.
    """
    state = _State(table, channel, np.arange(time.size, dtype=np.int64), time, utc, ())
    steps: tuple[_Step, ...] = (
        _forget_wild, _fill_unreadable, _drop_repeated_blocks, _mend_restarts, _take_out_steps,
        _sort_late, _spread_shared, _part_equal,
    )  # fmt: skip
    for step in steps:
        state = step(state)
    return Clock(state.rows, state.time, state.messages)


def _forget_wild(state: _State) -> _State:
    """Take single stamps far from the median of those around them as unreadable."""
    known = np.flatnonzero(np.isfinite(state.time))
    if known.size < 2 * _AROUND:
        return state
    time = state.time if known.size == state.time.size else state.time[known]
    step = find_usual_step(time)
    far = 50.0 * step + 2.0
    if _AROUND // 2 * np.abs(np.diff(time)).max() <= far:
        return state  # no value around any can lie so far off
    from scipy.ndimage import median_filter  # a third of a second

    off = median_filter(time, _AROUND)
    off -= time
    wild = np.abs(off, out=off) > far
    if not wild.any():
        return state
    time = state.time.copy()
    time[known[wild]] = np.nan
    return state.retime(time)


def find_usual_step(time: Array) -> float:
    """Median size of the steps of a finite clock; in place, since a clock can be long."""
    steps = np.diff(time)
    return float(np.median(np.abs(steps, out=steps), overwrite_input=True))


def _fill_unreadable(state: _State) -> _State:
    bad = ~np.isfinite(state.time)
    if not bad.any() or bad.all():
        return state.keep(~bad) if bad.any() else state
    at = np.flatnonzero(bad)
    index = np.arange(state.time.size)
    filled = np.interp(index, index[~bad], state.time[~bad])
    inside = (index > index[~bad][0]) & (index < index[~bad][-1])
    state = state.say(
        "repaired",
        at,
        f"{count(at.size, 'time stamp')} cannot be read",
        "Reckoned from the stamps before and after",
    )
    return state.retime(filled).keep(~bad | inside)


def _falls(time: Array) -> IntArray:
    """Find samples whose stamp lies before that of the sample ahead of them."""
    return np.flatnonzero(np.diff(time) < 0) + 1


def _drop_repeated_blocks(state: _State) -> _State:
    """Drop runs of rows that repeat the rows just before them."""
    for _ in range(100):
        block = _find_repeated_block(state)
        if block is None:
            break
        first, start, size = block
        at = np.arange(start, start + size)
        earlier = state.table.say_rows(state.rows[np.arange(first, first + size)])
        repeated = f"{count(size, 'row')} {'repeats' if size == 1 else 'repeat'} {earlier}"
        state = state.say("repaired", at, repeated, "Dropped")
        kept = np.ones(state.time.size, dtype=bool)
        kept[at] = False
        state = state.keep(kept)
    return state


def _find_repeated_block(state: _State) -> tuple[int, int, int] | None:
    """Find first row, start and length of the first repeated block that begins at a fall."""
    time, falls = state.time, _falls(state.time)
    if not falls.size:
        return None
    # In a stable order the same stamp's last earlier row stands just ahead.
    order = np.argsort(time, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(order.size)
    ahead = order[np.maximum(place[falls] - 1, 0)]
    begins = (ahead < falls) & (time[ahead] == time[falls])
    begins[begins] = _are_equal(state, ahead[begins], falls[begins])
    if not begins.any():
        return None
    at = int(np.argmax(begins))
    first, start = int(ahead[at]), int(falls[at])
    size = min(start - first, time.size - start)
    rows = np.arange(size)
    equal = time[first + rows] == time[start + rows]
    equal &= _are_equal(state, first + rows, start + rows)
    return first, start, size if equal.all() else int(np.argmin(equal))


def _are_equal(state: _State, one: IntArray, other: IntArray) -> NDArray[np.bool_]:
    """Whether two rows each hold the same values."""
    equal = np.ones(one.size, dtype=bool)
    for column in state.table.whole_columns:
        a, b = column.values[state.rows[one]], column.values[state.rows[other]]
        equal &= (a == b) | (np.isnan(a) & np.isnan(b))
    return equal


def _mend_restarts(state: _State) -> _State:
    """Carry on a clock that falls and stays behind for the rest of the file."""
    falls = [f for f in _falls(state.time) if _stays_behind(state.time, int(f))]
    if not falls:
        return state
    at = np.array(falls, dtype=np.int64)
    before, after = state.time[at[0] - 1], state.time[at[0]]
    found = f"falls from {before:.2f} to {after:.2f} s"
    if at.size > 1:
        found += f", and so at {count(at.size, 'place')}"
    utc = state.utc
    if utc is not None and np.isfinite(utc).all() and (np.diff(utc) >= 0).all():
        rebuilt = state.time[0] + (utc - utc[0])
        return state.say("repaired", at, f"{found}; utc runs on", "Time rebuilt from utc").retime(
            rebuilt
        )
    step = float(np.median(np.diff(state.time)))
    apart = np.isin(state.rows[at], state.table.breaks)
    moved = np.zeros(state.time.size)
    moved[at] = state.time[at - 1] + np.where(apart, _BREAK_S, step) - state.time[at]
    time = state.time + np.cumsum(moved)
    pause = _BREAK_S if state.table.breaks.size else step
    done = f"Carried on after {pause:.3g} s; how long the break was cannot be told"
    outcome: Outcome = "flagged" if at.size == 1 else "repaired"
    return replace(state.say(outcome, at, found, done).retime(time), utc=None)


def _stays_behind(time: Array, fall: int) -> bool:
    rest = time[fall:]
    begins_anew = abs(time[fall] - time[0]) < _NEAR_START_S or abs(time[fall]) < _NEAR_START_S
    long_fall = time[fall - 1] - time[fall] > 1.0
    return bool(begins_anew and long_fall and rest.size > 5 and rest[0] <= rest[:6].max())


def _take_out_steps(state: _State) -> _State:
    """Take out steps of the clock that a second clock does not have."""
    if state.utc is None or not np.isfinite(state.utc).all() or state.time.size < 10:
        return state
    if (np.diff(state.utc) < 0).any():
        return state
    lead = np.diff(state.time) - np.diff(state.utc)
    at = np.flatnonzero(np.abs(lead) > 10.0) + 1
    if not at.size or at.size > 5:
        return state
    time = state.time.copy()
    for k in at:
        step, true_step = time[k] - time[k - 1], state.utc[k] - state.utc[k - 1]
        time[k:] -= step - true_step
        state = state.say(
            "repaired",
            np.array([k]),
            f"steps by {step:.2f} s while utc steps by {true_step:.2f} s",
            f"{step - true_step:.2f} s removed from {count(time.size - int(k), 'row')}",
        )
    return state.retime(time)


def _sort_late(state: _State) -> _State:
    if not (np.diff(state.time) < 0).any():
        return state
    late = np.flatnonzero(state.time < np.maximum.accumulate(state.time))
    fall = -float(np.diff(state.time).min())
    rows = count(late.size, state.table.row_word)
    found = f"{rows} out of order (time falls by up to {fall:.2f} s)"
    state = state.say("repaired", late, found, "Sorted by time")
    return state.keep(np.argsort(state.time, kind="stable"))


def _spread_shared(state: _State) -> _State:
    """Spread rows that share a coarse stamp evenly up to the next stamp."""
    time = state.time
    if time.size < 20 or time.size < 1.8 * (1 + np.count_nonzero(time[1:] > time[:-1])):
        return state
    firsts = np.flatnonzero(np.diff(time, prepend=-np.inf) > 0)
    shared = np.diff(firsts)
    if firsts.size < 3:
        return state
    each = float(np.median(shared))
    step = float(np.median(np.diff(time[firsts]))) / each
    # The first stamp may have begun before the file did: count its rows back from the second.
    anchors, stamps = firsts[1:], time[firsts[1:]]
    index = np.arange(time.size)
    spread = np.interp(index, anchors, stamps)
    spread[: anchors[0]] = stamps[0] - step * (anchors[0] - index[: anchors[0]])
    spread[anchors[-1] :] = stamps[-1] + step * (index[anchors[-1] :] - anchors[-1])
    return state.say(
        "repaired",
        np.array([0, time.size - 1]),
        f"{each:.0f} rows share each stamp",
        f"Spread evenly; times are good to ±{step:.2g} s if the logger is regular",
    ).retime(spread)


def _part_equal(state: _State) -> _State:
    """Drop rows that repeat a stamp and all values; part those with other values."""
    equal = np.flatnonzero(np.diff(state.time) <= 0) + 1
    if not equal.size:
        return state
    same = _are_equal(state, equal - 1, equal)
    dropped = equal[same]
    if dropped.size:
        found = f"{count(dropped.size, 'row')} {'repeats' if dropped.size == 1 else 'repeat'}"
        state = state.say("repaired", dropped, f"{found} the row before", "Dropped")
    parted = equal[~same]
    if parted.size:
        state = state.say(
            "repaired",
            parted,
            f"{count(parted.size, 'stamp')} equal to the one before",
            "Spread evenly up to the next stamp",
        )
        firsts = np.flatnonzero(np.diff(state.time, prepend=-np.inf) > 0)
        index = np.arange(state.time.size)
        step = float(np.median(np.diff(state.time[firsts]))) if firsts.size > 1 else 1.0
        ends = np.append(state.time[firsts], state.time[-1] + step)
        state = state.retime(np.interp(index, np.append(firsts, state.time.size), ends))
    kept = np.ones(state.time.size, dtype=bool)
    kept[dropped] = False
    return state.keep(kept)
