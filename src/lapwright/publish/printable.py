"""Text that the PDF's fonts can show: what they cannot is written as its code."""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect
from typing import Final

#: First and last code points that the fonts of the PDF hold. Combining marks are left out, and
#: what turns the direction of the text after it: a name must not turn the figures beside it.
RANGES: Final = (
    (0x20, 0x7E), (0xA0, 0x2FF), (0x370, 0x481), (0x48A, 0x4FF), (0x5D0, 0x5EA), (0x621, 0x63A),
    (0x641, 0x64A), (0x660, 0x669), (0x1E00, 0x1FFF), (0x2000, 0x2027), (0x202F, 0x2040),
    (0x2044, 0x2052), (0x2060, 0x2064), (0x2066, 0x2069), (0x2070, 0x20BF), (0x2100, 0x211E),
    (0x2126, 0x214F), (0x2190, 0x22FF), (0x25A0, 0x25FF), (0xFFFD, 0xFFFD),
)  # fmt: skip
#: Of the Latin, Greek and Cyrillic scripts, which are written from left to right.
PLAIN_RANGES: Final = ((0x20, 0x7E), (0xA1, 0xAC), (0xAE, 0x17F), (0x384, 0x3CE), (0x400, 0x45F))
_BREAKS: Final = re.compile(r"[\t\n\v\f\r\x1c-\x1f\x85\u2028\u2029]+")
#: A word of so many letters may be broken anywhere.
_LONG_WORD: Final = re.compile(r"[^\s\u200b]{40,}")
_STEP: Final = 20
_ZERO_WIDTH_SPACE: Final = "\u200b"


def make_printable(text: str, plain: bool = False) -> str:
    """Return a text as one line of characters that the fonts have, long words breakable.

    Parameters
    ----------
    plain
        Keep to scripts that are written from left to right.

    Examples
    --------
    >>> make_printable("Weir " + chr(0x65E5))
    'Weir [U+65E5]'
    """
    ranges = PLAIN_RANGES if plain else RANGES
    line = unicodedata.normalize("NFC", _BREAKS.sub(" ", text))
    shown = "".join(c if _is_held(c, ranges) else f"[U+{ord(c):04X}]" for c in line)
    return _LONG_WORD.sub(_break_word, shown)


def _is_held(character: str, ranges: tuple[tuple[int, int], ...]) -> bool:
    code = ord(character)
    place = bisect(ranges, (code, 0x110000)) - 1
    held = place >= 0 and code <= ranges[place][1]
    return held and unicodedata.category(character) not in ("Cn", "Co", "Cs")


def _break_word(word: re.Match[str]) -> str:
    return _ZERO_WIDTH_SPACE.join(word[0][i : i + _STEP] for i in range(0, len(word[0]), _STEP))
