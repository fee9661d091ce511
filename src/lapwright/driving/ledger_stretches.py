"""The lap cut into stretches, one for each corner that is slowed for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.ledger_traces import LedgerTrace
from lapwright.driving.passes import CornerPass
from lapwright.model.circuit import Circuit, Corner

Array = NDArray[np.float64]
Places = NDArray[np.int64]

#: A corner is slowed for when the middle lap loses so much speed into it, m/s.
SLOWED_MPS = 0.7
#: Room before the first lift of all laps and behind the slowest place, in samples.
BEFORE, BEHIND = 5, 8


@dataclass(frozen=True, slots=True)
class Stretch:
    """From before a corner's first lift to before the next one's, in samples.

    Parameters
    ----------
    corner
        That it belongs to.
    first, last
        Samples at its ends; the next stretch begins at ``last``.
    slowest
        Sample of the slowest place, by lap.
    drop_mps
        Speed that the middle lap loses into the corner.
    flat
        Corners that are driven flat behind it, before the next lift.
    """

    corner: Corner
    first: int
    last: int
    slowest: dict[str, int]
    drop_mps: float
    flat: tuple[Corner, ...] = ()


def cut_lap(
    circuit: Circuit, traces: Sequence[LedgerTrace], passes: Sequence[CornerPass]
) -> tuple[Stretch, ...]:
    """Cut the lap where the driver has not yet begun to slow for the next corner.

    The same cuts hold for all laps, so that their times can be compared stretch by stretch.
    """
    if not traces:
        return ()
    size = traces[0].time.size
    per_m = (size - 1) / circuit.length_m
    speed = np.array([t.speed for t in traces])
    found = {(p.corner, p.lap): p.actions.get("minimum_speed_m") for p in passes}
    order = sorted(circuit.corners, key=lambda c: _middle(c, found, traces))
    slow: list[tuple[Corner, Places, Places, float]] = []
    before = np.zeros(len(traces), dtype=np.int64)
    for corner in order:
        own = [found.get((corner.id, t.lap)) for t in traces]
        middle = [corner.apex_m if x is None else x for x in own]
        low = np.clip(np.round(np.array(middle) * per_m).astype(np.int64), before + 3, size - 6)
        peak = np.array(
            [_peak(v, int(a), int(b)) for v, a, b in zip(speed, before, low, strict=True)]
        )
        rows = np.arange(len(traces))
        drop = float(np.median(speed[rows, peak] - speed[rows, low]))
        if drop >= SLOWED_MPS and (low > before).all():
            slow.append((corner, low, peak, drop))
            before = low
    return _stretches(order, slow, traces, size, per_m)


def _middle(
    corner: Corner, found: dict[tuple[str, str], float | None], traces: Sequence[LedgerTrace]
) -> float:
    own = [found.get((corner.id, t.lap)) for t in traces]
    known = [x for x in own if x is not None]
    return float(np.median(known)) if known else corner.apex_m


def _peak(speed: Array, first: int, last: int) -> int:
    """Last sample of the highest speed between two."""
    return int(last - np.argmax(speed[first : last + 1][::-1])) if last > first else last


def _stretches(
    order: Sequence[Corner], slow: Sequence[tuple[Corner, Places, Places, float]],
    traces: Sequence[LedgerTrace], size: int, per_m: float,
) -> tuple[Stretch, ...]:  # fmt: skip
    cuts = []
    for i, (_, low, peak, _) in enumerate(slow):
        behind = 0 if i == 0 else int(np.quantile(slow[i - 1][1], 0.9)) + BEHIND
        wanted = min(int(peak.min()) - BEFORE, int(np.median(peak)) - 1)
        cuts.append(int(np.clip(wanted, behind, low.min() - 3)))
    cuts.append(size - 1)
    slowed = {corner.id for corner, *_ in slow}
    out = []
    for i, (corner, low, _, drop) in enumerate(slow):
        flat = tuple(
            c for c in order
            if c.id not in slowed and cuts[i] <= c.apex_m * per_m < cuts[i + 1]
        )  # fmt: skip
        at = {t.lap: int(x) for t, x in zip(traces, low, strict=True)}
        if cuts[i + 1] - cuts[i] > 20:
            out.append(Stretch(corner, cuts[i], cuts[i + 1], at, drop, flat))
    return tuple(out)
