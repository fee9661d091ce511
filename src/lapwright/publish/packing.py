"""Long arrays of a view made small: whole numbers, differences, byte planes, raw deflate.

Each array becomes a note ``{"packed": [...]}`` that says where it lies in one common
block of bytes. ``web/src/unpack.ts`` is the other half.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

#: Step to which each channel is rounded, SI. Finer than any logger's resolution that is read.
STEPS: Final[dict[str, float]] = {
    "time": 1e-3, "n": 0.01, "speed": 0.01, "acceleration_forward": 0.02,
    "acceleration_left": 0.02, "throttle": 0.005, "brake": 0.005, "steering": 0.002,
    "gear": 1.0, "x": 0.01, "y": 0.01, "z": 0.01, "left": 0.01, "right": 0.01,
    "curvature": 1e-5, "slope": 1e-4, "banking": 1e-4, "vertical_curvature": 1e-5,
    "load": 1e-3, "lost_s": 1e-3, "ahead_m": 0.5,
}  # fmt: skip
_SHORTEST: Final = 32  # shorter lists stay readable in the JSON


class Packer:
    """Collects packed arrays into one block of bytes."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self._size = 0

    def pack(self, values: object, step: float) -> dict[str, list[object]]:
        """Add one array and return the note that stands for it.

        The note holds: offset in the block, count, bytes for each number, order of
        differences, step, the first whole numbers, and runs of missing places as
        ``[start, length, ...]``. The error of a value is at most half a step.
        """
        numbers = np.asarray(values, dtype=np.float64)
        missing = ~np.isfinite(numbers)
        whole = np.rint(_carry_forward(numbers, missing) / step).astype(np.int64)
        order = _best_order(whole)
        differences = np.diff(whole, order)
        head = [int(np.diff(whole, level)[0]) for level in range(order)]
        folded = np.where(differences < 0, -2 * differences - 1, 2 * differences)
        width = _width(folded)
        planes = folded.astype(f"<u{width}").view(np.uint8).reshape(-1, width).T
        note: list[object] = [
            self._size, int(whole.size), width, order, step, head, _runs(missing)
        ]  # fmt: skip
        self._parts.append(planes.tobytes())
        self._size += planes.size
        return {"packed": note}

    def deflate(self) -> bytes:
        """Return the whole block as raw deflate."""
        squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
        return squeeze.compress(b"".join(self._parts)) + squeeze.flush()


def pack_view(view: Mapping[str, Any]) -> tuple[dict[str, Any], bytes]:
    """Replace the long arrays of a view by notes; return the view and the bytes.

    Packed are the road, the laps, the fastest line and the sight of the pictures, and the time
    lost along the road of each account of the ledger.
    """
    packer = Packer()
    pictures, ledger = view["pictures"], view.get("ledger")

    def swap(channels: Mapping[str, Any]) -> dict[str, Any]:
        return {name: _swap(packer, name, value) for name, value in channels.items()}

    packed = dict(pictures)
    packed["road"] = swap(pictures["road"])
    packed["laps"] = {lap: swap(channels) for lap, channels in pictures["laps"].items()}
    if pictures.get("possible"):
        packed["possible"] = swap(pictures["possible"])
    if sight := pictures.get("sight"):
        ahead = _swap(packer, "ahead_m", sight.get("ahead_m"))
        packed["sight"] = {**sight, "ahead_m": ahead}
    whole = {**view, "pictures": packed}
    if ledger:
        accounts = [
            {**account, "lost_s": _swap(packer, "lost_s", account.get("lost_s"))}
            for account in ledger["accounts"]
        ]
        whole["ledger"] = {**ledger, "accounts": accounts}
    return whole, packer.deflate()


def _swap(packer: Packer, name: str, value: Any) -> Any:
    if value is None or len(value) < _SHORTEST:
        return value
    return packer.pack(value, STEPS.get(name) or _even_step(value))


def _even_step(values: Any) -> float:
    largest = float(np.nanmax(np.abs(np.asarray(values, dtype=np.float64)), initial=0.0))
    return largest / 2**14 or 1.0


def _carry_forward(numbers: NDArray[np.float64], missing: NDArray[np.bool_]) -> Any:
    """Fill gaps with the value before them, so that they cost no bytes."""
    if not missing.any():
        return numbers
    place = np.maximum.accumulate(np.where(missing, -1, np.arange(numbers.size)))
    return np.where(place < 0, 0.0, numbers[np.maximum(place, 0)])


def _best_order(whole: NDArray[np.int64]) -> int:
    first, second = (float(np.abs(np.diff(whole, order)).sum()) for order in (1, 2))
    return 2 if second < first else 1


def _width(folded: NDArray[np.int64]) -> int:
    largest = int(folded.max(initial=0))
    if largest >= 2**32:
        raise OverflowError("a packed difference needs more than four bytes")
    return 1 if largest < 2**8 else 2 if largest < 2**16 else 4


def _runs(missing: NDArray[np.bool_]) -> list[int]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], missing.astype(np.int8), [0]])))
    return [int(v) for a, b in edges.reshape(-1, 2) for v in (a, b - a)]
