"""Which lines of a text table are rows, and which are too short, too long or broken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]

#: Longest line that is read, in bytes.
LINE_LIMIT = 262_144
#: Longest cell that is read, in bytes.
CELL_LIMIT = 65_536
#: Most columns that are read.
COLUMN_LIMIT = 2_000

_LF, _QUOTE, _NUL = 10, 34, 0


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows of a text table.

    Parameters
    ----------
    body
        Bytes of the good rows, each ending in LF.
    line_of_row
        Line number in the file of each good row, shape (n,).
    wrong, wrong_cells
        Line numbers and cell counts of rows with another number of cells.
    zeroed, too_long, mended_quotes
        Line numbers of rows with NUL bytes, of rows over the limits, and of
        rows in which a quote that never closes was taken as text.
    cut
        Line number of a last line that has no end and too few cells, else 0.
    zero_bytes
        How many NUL bytes there were.
    """

    body: bytes
    line_of_row: IntArray
    wrong: IntArray
    wrong_cells: IntArray
    zeroed: IntArray
    too_long: IntArray
    mended_quotes: IntArray
    cut: int
    zero_bytes: int


def find_rows(
    body: bytes, first_line: int, delimiter: str, cells: int, left_out: IntArray | None = None
) -> Rows:
    """Sort the lines of a table's body.

    Parameters
    ----------
    body
        UTF-8, LF line ends, from the first data row on.
    first_line
        Line number of the first data row.
    delimiter
        One ASCII sign.
    cells
        Cells of a proper row.
    left_out
        Line numbers that are no rows, such as a header that comes again.
    """
    unended = bool(body) and not body.endswith(b"\n")
    if unended:
        body += b"\n"
    signs = np.frombuffer(body, dtype=np.uint8)
    ends = np.flatnonzero(signs == _LF)
    starts = np.concatenate([np.zeros(1, dtype=np.int64), ends[:-1] + 1])
    lengths = ends - starts
    line_numbers = np.arange(ends.size, dtype=np.int64) + first_line
    quotes = _count(signs, _QUOTE, ends) if b'"' in body else np.zeros(ends.size, dtype=np.int64)
    misplaced = quotes % 2 == 1
    if quotes.any():
        misplaced |= _find_misplaced(signs, ord(delimiter), ends)
        signs = _blank_quotes(signs, starts, ends, misplaced)
    found = _count_outside_quotes(signs, ord(delimiter), ends, bool(quotes.any())) + 1
    blank = lengths == 0
    blank |= (found == 1) & (cells > 1) & _is_blank(signs, starts, ends, found)
    nul = _count(signs, _NUL, ends) if b"\0" in body else np.zeros(ends.size, dtype=np.int64)
    zeroed = nul > 0
    too_long = lengths > _longest(signs, starts, ends, lengths, delimiter)
    too_long |= lengths > LINE_LIMIT
    broken = blank | zeroed | too_long
    if left_out is not None and left_out.size:
        broken |= np.isin(line_numbers, left_out)
    short = (found != cells) & ~broken
    is_cut = unended and bool(short[-1] or (not broken[-1] and _ends_early(body, delimiter)))
    cut = int(line_numbers[-1]) if is_cut else 0
    if cut:
        short[-1] = False
    good = ~(broken | short)
    if cut:
        good[-1] = False
    return Rows(
        body=_keep(signs, starts, ends, good),
        line_of_row=line_numbers[good],
        wrong=line_numbers[short],
        wrong_cells=found[short],
        zeroed=line_numbers[zeroed],
        too_long=line_numbers[too_long & ~zeroed],
        mended_quotes=line_numbers[misplaced],
        cut=cut,
        zero_bytes=int(nul.sum()),
    )


def join_rows(parts: Sequence[Rows]) -> Rows:
    """Join the rows of blocks that follow each other; their bytes are left out."""
    return Rows(
        b"",
        _join([p.line_of_row for p in parts]),
        _join([p.wrong for p in parts]),
        _join([p.wrong_cells for p in parts]),
        _join([p.zeroed for p in parts]),
        _join([p.too_long for p in parts]),
        _join([p.mended_quotes for p in parts]),
        max(p.cut for p in parts),
        sum(p.zero_bytes for p in parts),
    )


def _join(parts: Sequence[IntArray]) -> IntArray:
    return np.concatenate(parts)


def _ends_early(body: bytes, delimiter: str) -> bool:
    """Whether the last number has fewer decimals than the same cell of all rows before it."""
    last = [row.rpartition(delimiter.encode())[2] for row in body[-8192:].split(b"\n")[1:-1]]
    decimals = [len(cell.strip().partition(b".")[2]) for cell in last]
    if len(decimals) < 10 or b"." not in last[0]:
        return False
    return len(set(decimals[:-1])) == 1 and decimals[-1] < decimals[0]


def _count(signs: NDArray[np.uint8], sign: int, ends: IntArray) -> IntArray:
    """Count one sign in each line."""
    places = np.flatnonzero(signs == sign)
    up_to = np.searchsorted(places, ends)
    return np.diff(up_to, prepend=0).astype(np.int64)


def _count_outside_quotes(
    signs: NDArray[np.uint8], sign: int, ends: IntArray, quoted: bool
) -> IntArray:
    if not quoted:
        return _count(signs, sign, ends)
    # Only the parity counts, so that wrapping at 256 does no harm and saves memory.
    inside = (np.cumsum(signs == _QUOTE, dtype=np.uint8) & 1).astype(bool)
    return _count(np.where(inside, np.uint8(_QUOTE), signs), sign, ends)


def _find_misplaced(signs: NDArray[np.uint8], delimiter: int, ends: IntArray) -> NDArray[np.bool_]:
    """Find lines in which a quote opens or closes in the middle of a cell (RFC 4180)."""
    places = np.flatnonzero(signs == _QUOTE)
    line = np.searchsorted(ends, places)
    first = np.searchsorted(places, np.append(0, ends[:-1] + 1))
    opens = (np.arange(places.size) - first[line]) % 2 == 0
    beside = np.where(opens, signs[np.maximum(places - 1, 0)], signs[places + 1])
    beside[opens & (places == 0)] = _LF
    sound = (beside == delimiter) | (beside == _LF) | (beside == _QUOTE)
    misplaced = np.zeros(ends.size, dtype=bool)
    misplaced[line[~sound]] = True
    return misplaced


def _blank_quotes(
    signs: NDArray[np.uint8], starts: IntArray, ends: IntArray, misplaced: NDArray[np.bool_]
) -> NDArray[np.uint8]:
    """Turn the quotes of lines in which they are misplaced into apostrophes."""
    if not misplaced.any():
        return signs
    signs = signs.copy()
    for start, end in zip(starts[misplaced], ends[misplaced], strict=True):
        line = signs[start:end]
        line[line == _QUOTE] = ord("'")
    return signs


def _is_blank(
    signs: NDArray[np.uint8], starts: IntArray, ends: IntArray, found: IntArray
) -> NDArray[np.bool_]:
    blank = np.zeros(ends.size, dtype=bool)
    for i in np.flatnonzero(found == 1)[:100_000]:
        blank[i] = not signs[starts[i] : ends[i]].tobytes().strip()
    return blank


def _longest(
    signs: NDArray[np.uint8],
    starts: IntArray,
    ends: IntArray,
    lengths: IntArray,
    delimiter: str,
) -> IntArray:
    """Longest line allowed: 0 for a line with a cell over the limit, else no bound."""
    allowed = np.full(ends.size, np.iinfo(np.int64).max, dtype=np.int64)
    for i in np.flatnonzero(lengths > CELL_LIMIT):
        cells = signs[starts[i] : ends[i]].tobytes().split(delimiter.encode())
        if max(map(len, cells)) > CELL_LIMIT:
            allowed[i] = 0
    return allowed


def _keep(
    signs: NDArray[np.uint8], starts: IntArray, ends: IntArray, good: NDArray[np.bool_]
) -> bytes:
    if good.all():
        return signs.tobytes()
    edges = np.zeros(signs.size + 1, dtype=np.int8)
    edges[starts[good]] += 1
    edges[ends[good] + 1] -= 1
    kept = np.cumsum(edges[:-1], dtype=np.int8).astype(bool)
    return bytes(signs[kept].tobytes())
