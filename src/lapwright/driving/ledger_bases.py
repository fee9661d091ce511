"""What a lap is held against: the driver's own best passes, and his scatter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.ledger_stretches import Stretch
from lapwright.driving.ledger_traces import LedgerTrace
from lapwright.driving.redrive_pass import BEND_M, Usual, find_bend, find_unrest

#: Own best is the mean of the better passes, one for every so many laps, or so many spread
#: over them: a driver's best is what he does again, and the very best pass is the luckiest.
BEST_OF, BEST_SHARE = 8, 3
#: Entries are alike within this share of speed.
ALIKE = 0.03
#: A pass is odd when its slowest place or its line is further from the middle one's, in
#: samples and m, and in robust standard deviations.
ODD_M, ODD_LINE_M, ODD = 8.0, 0.8, 4.0

Bases = Mapping[str, Sequence[Sequence[LedgerTrace]]]


def choose_own_bests(stretches: Sequence[Stretch], traces: Sequence[LedgerTrace]) -> Bases:
    """For each lap and stretch the best passes of other laps with an entry alike."""
    count = max(len(traces) // BEST_SHARE, 1)
    spread = np.unique(np.linspace(0, count - 1, min(count, BEST_OF)).round().astype(int))
    out: dict[str, list[list[LedgerTrace]]] = {t.lap: [] for t in traces}
    for i, stretch in enumerate(stretches):
        following = stretches[i + 1] if i + 1 < len(stretches) else None
        worth = np.array([_worth_s(t, stretch, following) for t in traces])
        worth = np.where(_ordinary(stretch, traces), worth, np.inf)
        entry = np.array([t.speed[stretch.first] for t in traces])
        order = np.argsort(worth)
        for j, own in enumerate(traces):
            others = [k for k in order if k != j]
            alike = [k for k in others if abs(entry[k] / entry[j] - 1) < ALIKE]
            better = (alike or others)[:count]
            out[own.lap].append([traces[better[k]] for k in spread if k < len(better)])
    return out


def _ordinary(stretch: Stretch, traces: Sequence[LedgerTrace]) -> NDArray[np.bool_]:
    """Tell passes that are slowest about where the others are, on about their line.

    One that ran wide or braked far too late is no pass to hold others against.
    """
    low = np.array([stretch.slowest.get(t.lap, -1) for t in traces], float)
    middle = float(np.median(low))
    offset = np.array([t.offset[int(middle)] for t in traces])
    near = np.abs(low - middle) <= max(ODD_M, ODD * robust_sd(low))
    on_line = np.abs(offset - np.median(offset)) <= max(ODD_LINE_M, ODD * robust_sd(offset))
    good = near & on_line
    return good if good.sum() > 2 else np.ones(low.size, dtype=bool)


def _worth_s(trace: LedgerTrace, stretch: Stretch, following: Stretch | None) -> float:
    """Time through a stretch, and what the speed at its end costs in the next one, s.

    Without it a pass that ran wide, and pays for it later, would pass for a good one.
    """
    time = float(trace.time[stretch.last] - trace.time[stretch.first])
    if following is None or trace.lap not in following.slowest:
        return time
    return time + float(trace.time[following.slowest[trace.lap]] - trace.time[following.first])


def find_usual(stretches: Sequence[Stretch], traces: Sequence[LedgerTrace]) -> dict[str, Usual]:
    """Scatter of lines and of the wheel's unrest in each corner."""
    out = {}
    for one in stretches:
        low = int(np.median(list(one.slowest.values())))
        bends = [find_bend(t.curvature, low - 2 * BEND_M, low + BEND_M) for t in traces]
        lines = 0.5 * np.log(np.maximum(bends, 1e-6))
        first = max(low - 40, 0)
        unrest = np.array([
            find_unrest(t.steering[first : low + 60], low - first)
            for t in traces if t.steering is not None
        ])  # fmt: skip
        middle = float(np.median(unrest)) if unrest.size else 0.0
        spread = max(robust_sd(unrest), 0.1 * middle) if unrest.size else 0.0
        out[one.corner.id] = Usual(robust_sd(lines), middle, spread)
    return out


def robust_sd(values: Any) -> float:
    """Robust standard deviation (1.4826 times the median absolute deviation)."""
    x = np.asarray(values, float)
    return 1.4826 * float(np.median(np.abs(x - np.median(x)))) if x.size else 0.0
