"""How files are spoilt: bytes anywhere, or numbers, words and lines so that the grammar holds."""

from __future__ import annotations

import random
import re

#: No spoilt file is longer, bytes.
LONGEST = 2_048
TOKENS = (
    b"\0", b"\r", b"\n", b"\r\n", b",", b";", b'"', b"<", b">", b"&", b"$", b"*", b".", b"-", b"e9",
    b"nan", b"inf", b"1e400", b"-0", b"99999999999999999999", b"\xff", b"\xef\xbb\xbf", b"\xff\xfe",
    b"<!DOCTYPE a>", b"<![CDATA[", b"-->", b"</trkpt>", b"<trkpt>", b"<a>" * 40, b"[" * 40,
    b"null", b"1970-01-01", b"24:61:61", b"##DG", b"PK\x01\x02", b"\xc3", b"'", b"#", b"=", b":",
    b"\t", b" ", b"{", b"}", b"]", b"[[", b"1" * 400, b"true", b"0x1f", b"_", b"{}", b"\"\"\"",
    b"10:00:00", b"inf\n", b"-nan",
)  # fmt: skip
NUMBERS = (
    b"0", b"-0", b"1", b"-1", b"1e400", b"1e-400", b"1e308", b"99999999999999999999", b"0.1",
    b"1e5", b"60", b"90", b"180", b"360", b"2147483648", b"nan", b"inf", b"", b"\"\"", b"[]",
)  # fmt: skip
NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")
WORD = re.compile(rb"[A-Za-z_]{2,}")
LINE = re.compile(rb"[^\n]*\n")


def mutate(data: bytes, other: bytes, rng: random.Random) -> bytes:
    """Spoil a file: half of them anywhere, half so that their grammar mostly holds.

    What breaks the grammar is mostly refused by the first lines of a reader; what keeps it
    comes as far as the numbers.
    """
    out = bytearray(data)
    spoil = break_bytes if rng.random() < 0.5 else bend
    for _ in range(rng.randint(1, 8)):
        if out:
            spoil(out, other, rng)
    return bytes(out[:LONGEST])


def break_bytes(out: bytearray, other: bytes, rng: random.Random) -> None:
    """Change, insert, drop, repeat or exchange some bytes anywhere."""
    at = rng.randrange(len(out))
    end = min(at + rng.randint(1, 39), len(out))
    how = rng.randrange(7)
    if how == 0:
        out[at] = rng.randrange(256)
    elif how == 1:
        out[at:at] = rng.choice(TOKENS)
    elif how == 2:
        del out[at:end]
    elif how == 3:
        out[at:at] = out[at:end] * rng.randint(1, 3)
    elif how == 4:
        start = rng.randrange(max(len(other), 1))
        out[at:end] = other[start : start + end - at]
    elif how == 5:
        out[at:end] = rng.choice(TOKENS)
    elif rng.random() < 0.2:
        del out[at:]


def bend(out: bytearray, other: bytes, rng: random.Random) -> None:
    """Put another number for a number, another word for a word, or repeat or drop a line."""
    at = rng.randrange(len(out))
    how = rng.choice("nnnnnwl")
    kind = {"n": NUMBER, "w": WORD, "l": LINE}[how]
    found = kind.search(out, at) or kind.search(out)
    if found is None:
        return
    start, end = found.span()
    if how == "n":
        out[start:end] = bend_number(out[start:end], rng)
    elif how == "w":
        held = kind.search(other, rng.randrange(max(len(other), 1)))
        out[start:end] = held.group() if held else b""
    elif rng.random() < 0.5:
        del out[start:end]
    else:
        out[start:start] = out[start:end]


def bend_number(text: bytearray, rng: random.Random) -> bytes:
    """Put an odd number, or one a little or a decimal point apart from what was there."""
    how = rng.randrange(5)
    if how == 0:
        return rng.choice(NUMBERS)
    if how == 1:
        return bytes(text[1:]) if text.startswith(b"-") else b"-" + text
    digits = bytearray(text)
    at = max(len(digits) - 1 - int(rng.expovariate(0.7)), 0)  # most changes are small
    if how == 2:
        digits[at:at] = b"%d" % rng.randrange(10)
    elif how == 3 and len(digits) > 1:
        del digits[at]
    else:
        digits[at : at + 1] = b"%d" % rng.randrange(10)
    return bytes(digits)
