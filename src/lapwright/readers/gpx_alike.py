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

_SPACE: Final = b" \t\r\n"
_GAP: Final = b"[ \t\r\n]*"
_FIRST: Final = re.compile(rb"<((?:\w{1,20}:)?trkpt)([ \t\r\n][^<>&]{0,500})>")
_ATTRIBUTE: Final = re.compile(rb"[ \t\r\n]([\w.:-]{1,100})=\"[^\"]*\"")
#: Inside a point: an element with text alone, any other tag, space between them.
_PIECE: Final = re.compile(
    rb"(<([\w.:-]{1,100})(?:[ \t\r\n][^<>]{0,500}[^<>/])?>)[^<>&]*(</\2>)"
    rb"|(<[^<>?!][^<>]*>)|[ \t\r\n]+"
)
#: Signs that mean only themselves in an attribute and in a text.
_VALUE: Final = rb"([ !#-%(-;=?-~]{0,_})".replace(b"_", str(TEXT_LIMIT).encode())
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
    shape = _find_shape(data)
    if shape is None:
        return None
    point, expression, names = shape
    found = [(p.start(), p.end(), p.groups()) for p in re.finditer(expression, data)]
    if not found:  # a sign in the first point means more than itself
        return None
    starts, ends, values = zip(*found, strict=True)
    firsts = [0, *(i for i in range(1, len(found)) if data[ends[i - 1] : starts[i]].strip(_SPACE))]
    lasts = [*(i - 1 for i in firsts[1:]), len(found) - 1]
    begins = [0, *(ends[i] for i in lasts)]
    rest = point.join(
        data[a:b] for a, b in zip(begins, [*(starts[i] for i in firsts), len(data)], strict=True)
    )
    if rest.count(b"trkpt") != 2 * len(firsts) or b"<!" in rest:
        return None
    columns = (
        b"\n".join(column).decode("ascii").split("\n") for column in zip(*values, strict=True)
    )
    texts = dict(zip(names, columns, strict=True))
    return Alike(np.array(starts), np.array(firsts), rest, texts)


def _find_shape(data: bytes) -> tuple[bytes, bytes, Sequence[str]] | None:
    """Take the first point, an expression of all and the names of its groups; None if unusual."""
    first = _FIRST.search(data)
    if first is None:
        return None
    closing = b"</" + first[1] + b">"
    end = data.find(closing, first.end(), first.end() + _LONGEST)
    attributes = _ATTRIBUTE.findall(first[2])
    pieces = _split(data[first.end() : max(end, 0)])
    if end < 0 or pieces is None or _ATTRIBUTE.sub(b"", first[2]).strip(_SPACE):
        return None
    written = [b'[ \t\r\n]+%s="%s"' % (re.escape(name), _VALUE) for name in attributes]
    opening = b"<%s%s%s>" % (first[1], b"".join(written), _GAP)
    names = [f"@{name.decode()}" for name in attributes]
    names += [piece[2].decode().rpartition(":")[2] for piece in pieces if piece[1]]
    if len(set(names)) < len(names):
        return None
    inner = [
        re.escape(piece[1]) + _VALUE + re.escape(piece[3]) if piece[1] else re.escape(piece[4])
        for piece in pieces
    ]
    return data[first.start() : end] + closing, _GAP.join([opening, *inner, closing]), names


def _split(inside: bytes) -> list[re.Match[bytes]] | None:
    """Split what stands in a point into its elements and tags; None if there is anything else."""
    pieces, at = [], 0
    for piece in _PIECE.finditer(inside):
        if piece.start() != at:
            return None
        at = piece.end()
        if piece[1] or piece[4]:
            pieces.append(piece)
    return pieces if at == len(inside) else None
