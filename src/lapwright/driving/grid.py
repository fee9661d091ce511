"""All laps on one grid along the road."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RoadGrid:
    """Laps at the circuit's samples; arrays have shape (laps, n)."""

    laps: tuple[Lap, ...]
    time: Array
    n: Array
    speed: Array
    acceleration_forward: Array
    curvature: Array


def build_grid(circuit: Circuit, laps: Sequence[Lap]) -> RoadGrid:
    """Interpolate the laps that count, and have a track, on the circuit's samples."""
    used = tuple(lap for lap in laps if lap.used and lap.track is not None)
    columns: dict[str, list[Array]] = {
        k: [] for k in ("time", "n", "speed", "acceleration_forward", "curvature")
    }
    for lap in used:
        track = lap.track
        if track is None:
            continue
        s, first = np.unique(track.s, return_index=True)
        for name, rows in columns.items():
            rows.append(np.interp(circuit.s, s, getattr(track, name)[first]))
    empty = np.zeros((0, circuit.s.size))
    return RoadGrid(used, **{k: np.array(v) if v else empty for k, v in columns.items()})
