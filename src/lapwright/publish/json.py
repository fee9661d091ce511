"""A document as JSON bytes: the same document always gives the same bytes."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

_DECIMALS: Final = 6  # micrometres and microseconds
_DIGITS: Final = 6  # of numbers that are smaller than one


def render_json(document: Mapping[str, Any]) -> bytes:
    """Render a document as JSON, UTF-8, with a closing line break.

    NumPy values become numbers and lists, a number that is not finite becomes null, and
    numbers are rounded to six decimals (six significant digits below one).
    """
    text = json.dumps(as_plain(document), ensure_ascii=False, allow_nan=False, indent=1)
    return f"{text}\n".encode()


def as_plain(tree: object) -> object:
    """Turn a tree into what JSON knows: see `render_json`."""
    if isinstance(tree, Mapping):
        return {str(key): as_plain(value) for key, value in tree.items()}
    if isinstance(tree, np.ndarray | np.generic):
        return as_plain(tree.tolist())
    if isinstance(tree, list | tuple):
        return [as_plain(value) for value in tree]
    return _round(tree) if isinstance(tree, float) else tree


def _round(value: float) -> float | None:
    if not math.isfinite(value):
        return None
    if value == 0.0:
        return 0.0
    decimals = max(_DECIMALS, _DIGITS - 1 - math.floor(math.log10(abs(value))))
    return round(value, decimals) + 0.0
