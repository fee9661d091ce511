"""Sentences of NMEA 0183 in a file: where they stand, whether their checksums hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lapwright.messages import Message
from lapwright.readers.table import count, say_places

IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

#: Longest line that is read, in bytes; the standard allows 82.
LINE_LIMIT: Final = 1_024
_LF, _CR, _DOLLAR, _STAR, _COMMA = 10, 13, 36, 42, 44


def _build_digits() -> NDArray[np.uint8]:
    digits = np.full(256, 255, dtype=np.uint8)
    for i, sign in enumerate(b"0123456789ABCDEF"):
        digits[sign] = digits[ord(chr(sign).lower())] = i
    return digits


_DIGITS: Final = _build_digits()


@dataclass(frozen=True, slots=True)
class Sentences:
    """The good sentences of a file.

    Parameters
    ----------
    data
        All bytes.
    starts, ends
        Bytes behind "$" and of "*" (or the sentence's end), shape (n,).
    lines
        Line number of each.
    talkers, kinds
        Two and three letters of each, as fixed-length bytes.
    messages, wrong_message, wrong_lines
        What had to be said; the message on wrong checksums, and their lines.
    """

    data: bytes
    starts: IntArray
    ends: IntArray
    lines: IntArray
    talkers: NDArray[np.bytes_]
    kinds: NDArray[np.bytes_]
    messages: tuple[Message, ...]
    wrong_message: Message | None
    wrong_lines: IntArray

    def texts(self, at: IntArray) -> list[str]:
        """Sentences as text without "$" and checksum."""
        spans = zip(self.starts[at].tolist(), self.ends[at].tolist(), strict=True)
        # one sign for each byte, wherever a span ends
        text = self.data.decode("ascii", errors="replace")
        return [text[a:b] for a, b in spans]


def find_sentences(data: bytes, file: str, without_checksums: bool) -> Sentences:
    """Find all sentences and drop those whose checksum does not hold.

    Parameters
    ----------
    without_checksums
        Read a file in which no sentence has one; else that is asked.
    """
    signs = np.frombuffer(data, dtype=np.uint8)
    breaks = np.flatnonzero(signs == (_LF if b"\n" in data else _CR))
    line_ends = np.append(breaks, signs.size)
    too_long = np.diff(line_ends, prepend=-1) - 1 > LINE_LIMIT
    dollars = np.flatnonzero(signs == _DOLLAR)
    lines = np.searchsorted(breaks, dollars)
    dollars, lines = dollars[~too_long[lines]], lines[~too_long[lines]]
    ends = np.minimum(line_ends[lines], np.append(dollars[1:], signs.size))
    stars = _last_before(np.flatnonzero(signs == _STAR), dollars, ends)
    stated = _read_checksums(signs, stars, ends)
    has = stated >= 0
    holds = has & (stated == _sum(signs, dollars, stars))
    said = list(_say_too_long(file, np.flatnonzero(too_long) + 1, line_ends))
    wrong_message, lines = None, lines + 1
    if has.any():
        cut = lines[-1:][~has[-1:]] if data[-1:] not in b"\r\n" else lines[:0]
        wrong = lines[~holds & ~np.isin(lines, cut)]
        wrong_message = _say_wrong(file, wrong, dollars.size) if wrong.size else None
        said += [m for m in (_say_cut(file, cut), wrong_message) if m]
        good = holds
    else:
        wrong, good = lines[:0], np.ones(dollars.size, dtype=bool)
        said += [] if without_checksums or not dollars.size else [_ask_checksums(file)]
    good &= _has_address(signs, dollars, ends)
    texts = np.where(has, stars, ends)[good]
    talkers, kinds = _read_address(signs, dollars[good])
    return Sentences(
        data, dollars[good] + 1, _without_return(signs, texts, dollars[good]), lines[good],
        talkers, kinds, tuple(said), wrong_message, wrong,
    )  # fmt: skip


def _last_before(places: IntArray, starts: IntArray, ends: IntArray) -> IntArray:
    """Last of some places between start and end of each sentence; -1 where there is none."""
    at = np.searchsorted(places, ends) - 1
    last = places[np.maximum(at, 0)] if places.size else np.full(ends.size, -1)
    return np.where((at >= 0) & (last > starts), last, -1)


def _read_checksums(signs: NDArray[np.uint8], stars: IntArray, ends: IntArray) -> IntArray:
    """Two hexadecimal digits behind "*"; -1 where they are not there."""
    room = (stars >= 0) & (stars + 2 < ends)
    first = _DIGITS[signs[np.where(room, stars + 1, 0)]] if signs.size else stars
    second = _DIGITS[signs[np.where(room, stars + 2, 0)]] if signs.size else stars
    fits = room & (first < 16) & (second < 16)
    return np.where(fits, first.astype(np.int64) * 16 + second, -1)


def _sum(signs: NDArray[np.uint8], dollars: IntArray, stars: IntArray) -> IntArray:
    """Exclusive or of all bytes between "$" and "*"."""
    result = np.full(dollars.size, -2, dtype=np.int64)
    some = np.flatnonzero(stars > dollars + 1)
    if some.size:
        bounds = np.column_stack([dollars[some] + 1, stars[some]]).ravel()
        result[some] = np.bitwise_xor.reduceat(signs, bounds)[::2]
    return result


def _has_address(signs: NDArray[np.uint8], dollars: IntArray, ends: IntArray) -> Mask:
    room = dollars + 6 < ends
    return np.asarray(room & (signs[np.where(room, dollars + 6, 0)] == _COMMA), dtype=bool)


def _read_address(
    signs: NDArray[np.uint8], dollars: IntArray
) -> tuple[NDArray[np.bytes_], NDArray[np.bytes_]]:
    """Talker and kind of each sentence."""
    letters = signs[dollars[:, None] + np.arange(1, 6)]
    talkers = np.ascontiguousarray(letters[:, :2]).view("S2").ravel()
    return talkers, np.ascontiguousarray(letters[:, 2:]).view("S3").ravel()


def _without_return(signs: NDArray[np.uint8], ends: IntArray, dollars: IntArray) -> IntArray:
    """Take a CR off the end of sentences without a checksum."""
    last = np.maximum(ends - 1, dollars)
    return np.where(signs[last] == _CR, last, ends) if ends.size else ends


def _say_too_long(file: str, lines: IntArray, line_ends: IntArray) -> list[Message]:
    if not lines.size:
        return []
    length = int(np.diff(line_ends, prepend=-1)[lines[0] - 1]) - 1
    found = f"{length:,} bytes (limit {LINE_LIMIT:,})".replace(",", " ")
    done = "Line dropped" if lines.size == 1 else f"{count(lines.size, 'line')} dropped"
    return [_message(file, lines, found, done)]


def _message(file: str, lines: IntArray, found: str, done: str) -> Message:
    place = say_places(lines, "line")
    return Message("repaired", file, found, done, place=place, line=int(lines[0]))


def _say_wrong(file: str, wrong: IntArray, total: int) -> Message:
    n = f"{wrong.size:,} of {total:,}".replace(",", " ")
    found = f"{n} sentences {'has' if wrong.size == 1 else 'have'} a wrong checksum or none"
    return _message(file, wrong, found, "Dropped")


def _say_cut(file: str, cut: IntArray) -> Message | None:
    if not cut.size:
        return None
    return _message(file, cut, "the file ends inside a sentence", "1 sentence dropped")


def _ask_checksums(file: str) -> Message:
    return Message(
        "ask", file, "no sentence has a checksum; faults in transmission cannot be seen",
        to_do="Read it all the same?", place="line 1", line=1,
        answer="--set file.checksums=none",
    )  # fmt: skip
