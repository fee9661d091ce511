"""What has to be said about rows that were dropped or mended before they were read."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from lapwright.messages import Message
from lapwright.readers.layout import Layout
from lapwright.readers.lines import CELL_LIMIT, Rows
from lapwright.readers.table import count, say_places

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def find_row_faults(
    file: str, rows: Rows, again: IntArray, layout: Layout, time: Array | None
) -> list[Message]:
    """Say which rows were dropped or mended, and why.

    Parameters
    ----------
    rows
        What `find_rows` found.
    again
        Line numbers at which the header stands once more.
    layout
        Gives the number of cells that a row should have.
    time
        Time column of the good rows, for the length of gaps; may be None.
    """
    return [
        *_say_again(file, again),
        *_say_short(file, rows, layout, time),
        *_say_zeroed(file, rows, time),
        *_say_too_long(file, rows),
        *_say_quotes(file, rows),
        *_say_cut(file, rows),
    ]


def _message(file: str, places: IntArray, found: str, done: str, to_do: str = "") -> Message:
    return Message(
        "repaired", file, found, done, to_do, place=say_places(places, "line"), line=int(places[0])
    )


def _say_again(file: str, again: IntArray) -> Iterator[Message]:
    if again.size:
        n = count(again.size + 1, "recording")
        to_do = "Record each session into its own file"
        done = f"Read on as part of {n} in one file"
        yield _message(file, again, "the header comes again", done, to_do)


def _say_short(file: str, rows: Rows, layout: Layout, time: Array | None) -> Iterator[Message]:
    places, cells = rows.wrong, rows.wrong_cells
    if not places.size:
        return
    listed = " and ".join(
        [*([", ".join(str(int(n)) for n in cells[:-1])] if cells.size > 1 else []), str(cells[-1])]
    )
    shown = listed if places.size <= 4 else f"{cells.min()} to {cells.max()}"
    shown = str(cells[0]) if cells.min() == cells.max() else shown
    found = f"{shown} {'cell' if shown == '1' else 'cells'} instead of {layout.cells}"
    gap = _find_gap(rows, places, time)
    marked = f", gaps of up to {gap:.2f} s marked" if gap else ""
    yield _message(file, places, found, f"{count(places.size, 'row')} dropped{marked}")


def _find_gap(rows: Rows, places: IntArray, time: Array | None) -> float:
    """Longest time from the row before to the row after a dropped one; 0 when not known."""
    if time is None or time.size < 2:
        return 0.0
    after = np.searchsorted(rows.line_of_row, places)
    inside = after[(after > 0) & (after < time.size)]
    gaps = time[inside] - time[inside - 1]
    return float(np.nanmax(gaps)) if gaps.size and np.isfinite(gaps).any() else 0.0


def _say_zeroed(file: str, rows: Rows, time: Array | None) -> Iterator[Message]:
    if rows.zeroed.size:
        zeros = count(rows.zero_bytes, "zero byte")
        gap = _find_gap(rows, rows.zeroed, time)
        done = f"{count(rows.zeroed.size, 'row')} dropped, gap of {gap:.2f} s marked"
        yield _message(file, rows.zeroed, f"{zeros}, as after a card fault", done)


def _say_too_long(file: str, rows: Rows) -> Iterator[Message]:
    if rows.too_long.size:
        limit = f"{CELL_LIMIT:,}".replace(",", " ")
        found = f"a cell or line longer than is read (limit {limit} bytes in a cell)"
        yield _message(file, rows.too_long, found, f"{count(rows.too_long.size, 'row')} dropped")


def _say_quotes(file: str, rows: Rows) -> Iterator[Message]:
    if rows.mended_quotes.size:
        found = "a quote opens and never closes, or stands inside a cell"
        done = f"The quote was taken as text; {count(rows.mended_quotes.size, 'row')} changed"
        yield _message(file, rows.mended_quotes, found, done)


def _say_cut(file: str, rows: Rows) -> Iterator[Message]:
    if rows.cut:
        places = np.array([rows.cut], dtype=np.int64)
        found = "the last line ends in the middle of a row"
        yield _message(file, places, found, "1 row dropped")
