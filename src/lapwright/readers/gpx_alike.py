"""Track points that are all written alike, as loggers write them, taken together.

What the first point looks like becomes one expression, which finds all of them several times
faster than events do. Nothing is guessed: a document with a point that is written otherwise, or
with anything that could hide one, is left to the events.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lapwright.readers.xml_events import TEXT_LIMIT

_SPACE: Final = " \t\r\n"
_GAP: Final = r"[ \t\r\n]*"
_FIRST: Final = re.compile(r"<((?:\w{1,20}:)?trkpt)([ \t\r\n][^<>&]{0,500})>", re.ASCII)
_ATTRIBUTE: Final = re.compile(r"[ \t\r\n]([\w.:-]{1,100})=\"[^\"]*\"", re.ASCII)
#: Inside a point: an element with text alone, any other tag, space between them.
_PIECE: Final = re.compile(
    r"(<([\w.:-]{1,100})(?:[ \t\r\n][^<>]{0,500}[^<>/])?>)[^<>&]*(</\2>)"
    r"|(<[^<>?!][^<>]*>)|[ \t\r\n]+",
    re.ASCII,
)
#: Signs that mean only themselves in an attribute and in a text.
_VALUE: Final = f"([ !#-%(-;=?-~]{{0,{TEXT_LIMIT}}})"
#: A point longer than this is left to the events.
_LONGEST: Final = 8_192


@dataclass(frozen=True, slots=True)
class Alike:
    """All points of a document.

    Parameters
    ----------
    starts
        Byte at which each point begins, shape (n,).
    runs
        Index of the first point of each run with nothing between its points, shape (k,).
    rest
        The document with one point left of each run.
    texts
        By attribute (after an @) and by element: what stands there, for each point.
    """

    starts: NDArray[np.int64]
    runs: NDArray[np.int64]
    rest: bytes
    texts: Mapping[str, Sequence[str]]


def find_alike(data: bytes) -> Alike | None:
    """Find the points of a document; None unless all are written alike.

    ``data`` need not be well-formed; it is exactly if ``rest`` is.
    """
    text = data.decode("latin-1")  # a sign for each byte
    shape = _find_shape(text)
    if shape is None:
        return None
    example, tag, expression, names = shape
    # what stands between the points and what their groups hold, in turn
    pieces = expression.split(text)
    gaps = pieces[:: len(names) + 1]
    if len(gaps) < 2:  # a sign in the first point means more than itself
        return None
    parting = {gap for gap in set(gaps[1:-1]) if gap.strip(_SPACE)}
    firsts = [0, *(i for i, gap in enumerate(gaps[1:-1], 1) if gap in parting)]
    rest = example.join([gaps[0], *(gaps[i] for i in firsts[1:]), gaps[-1]])
    if rest.count("trkpt") != 2 * len(firsts) or "<!" in rest:
        return None  # between the points, or in the first, there are others
    texts = {name: pieces[i :: len(names) + 1] for i, name in enumerate(names, 1)}
    starts = _find_all(data, f"<{tag}".encode())
    return Alike(starts, np.array(firsts), rest.encode("latin-1"), texts)


def _find_all(data: bytes, word: bytes) -> NDArray[np.int64]:
    """Find where a word begins that space follows."""
    signs = np.frombuffer(data, np.uint8)
    at = np.flatnonzero(signs[: -len(word)] == word[0])
    for i, sign in enumerate(word[1:], 1):
        at = at[signs[at + i] == sign]
    return at[np.isin(signs[at + len(word)], np.frombuffer(_SPACE.encode(), np.uint8))]


def _find_shape(text: str) -> tuple[str, str, re.Pattern[str], Sequence[str]] | None:
    """Take the first point, its tag, an expression of all points and the names of its groups.

    None if the first point is unusual.
    """
    first = _FIRST.search(text)
    if first is None:
        return None
    closing = f"</{first[1]}>"
    end = text.find(closing, first.end(), first.end() + _LONGEST)
    attributes = _ATTRIBUTE.findall(first[2])
    pieces = _split(text[first.end() : max(end, 0)])
    if end < 0 or pieces is None or _ATTRIBUTE.sub("", first[2]).strip(_SPACE):
        return None
    written = [rf'[ \t\r\n]+{re.escape(name)}="{_VALUE}"' for name in attributes]
    opening = f"<{first[1]}{''.join(written)}{_GAP}>"
    names = [f"@{name}" for name in attributes]
    names += [piece[2].rpartition(":")[2] for piece in pieces if piece[1]]
    if len(set(names)) < len(names):
        return None
    inner = [
        re.escape(piece[1]) + _VALUE + re.escape(piece[3]) if piece[1] else re.escape(piece[4])
        for piece in pieces
    ]
    expression = re.compile(_GAP.join([opening, *inner, closing]))
    return text[first.start() : end] + closing, first[1], expression, names


def _split(inside: str) -> list[re.Match[str]] | None:
    """Split what stands in a point into its elements and tags; None if there is anything else."""
    pieces, at = [], 0
    for piece in _PIECE.finditer(inside):
        if piece.start() != at:
            return None
        at = piece.end()
        if piece[1] or piece[4]:
            pieces.append(piece)
    return pieces if at == len(inside) else None
