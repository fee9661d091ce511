"""Pictures as data: the road and the laps sampled on one grid along the road."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lapwright.guide.document import Findings
from lapwright.guide.possible_records import compose_envelope_picture, compose_line_picture
from lapwright.guide.reference_words import compose_reference_marks
from lapwright.guide.sight_records import compose_sight_picture
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap, Trace, Track

Array = NDArray[np.float64]

MOST_POINTS: Final = 4000
_HOLDS_ITS_VALUE: Final = {"gear"}  # a state: between samples the last one stands


def compose_pictures(findings: Findings) -> dict[str, Any]:
    """Compose the road, the laps, and what lies on and beside the road.

    Laps that are used or complete are drawn, on a grid of whole steps of at least 1 m.
    """
    circuit = findings.circuit
    points = count_points(circuit.length_m)
    return {
        "step_m": circuit.length_m / points,
        "points": points,
        "road": _sample_road(circuit, points),
        "laps": {
            lap.id: sample_lap(lap, lap.track, circuit.length_m, points)
            for lap in findings.laps
            if lap.track is not None and (lap.used or lap.time_s is not None)
        },
        "chosen_lap": findings.chosen_lap,
        "compare_lap": findings.compare_lap,
        "possible": compose_line_picture(findings, points),
        "envelope": compose_envelope_picture(findings),
        "sight": compose_sight_picture(findings, points),
        "references": compose_reference_marks(findings),
        "spans": [
            {"kind": span.kind, "name": span.name, "start_m": span.start_m, "end_m": span.end_m,
             "left_m": span.left_m, "right_m": span.right_m}
            for span in circuit.spans
            if span.kind in ("kerb", "patch")
        ],
        "beside": [
            {"kind": span.kind, "name": span.name, "start_m": span.start_m, "end_m": span.end_m,
             "left_m": span.left_m, "right_m": span.right_m, "height_m": span.height_m}
            for span in circuit.spans
            if span.kind in ("wall", "verge")
        ],
        "landmarks": [
            {"name": mark.name, "at_m": mark.at_m, "off_m": mark.off_m, "height_m": mark.height_m}
            for mark in circuit.landmarks
        ],
    }  # fmt: skip


def count_points(length_m: float) -> int:
    """Return how many whole steps of at least 1 m, at most 4000, go round the circuit."""
    return max(min(int(length_m), MOST_POINTS), 2)


def _sample_road(circuit: Circuit, points: int) -> dict[str, Any]:
    place = np.arange(points) * (circuit.length_m / points)

    def sample(values: Array) -> Array:
        sampled: Array = np.interp(place, circuit.s, values, period=circuit.length_m)
        return sampled

    heights = {
        "z": circuit.z, "slope": circuit.slope, "banking": circuit.banking,
        "vertical_curvature": circuit.vertical_curvature,
    }  # fmt: skip
    flat = {"x": circuit.x, "y": circuit.y, "left": circuit.left, "right": circuit.right,
            "curvature": circuit.curvature}  # fmt: skip
    return {
        **{name: sample(values) for name, values in flat.items()},
        **{name: sample(values) if circuit.has_heights else None
           for name, values in heights.items()},
    }  # fmt: skip


def sample_lap(lap: Lap, track: Track, length_m: float, points: int) -> dict[str, Any]:
    """Sample one lap at the grid's places.

    Returns
    -------
    dict
        ``time``, shape (points + 1,): the last is the next crossing of the line; motion
        and pedals, shape (points,). A place where the lap has no data is NaN, a channel
        that was not logged None.
    """
    step = length_m / points
    place = np.arange(points + 1) * step
    first, last = float(track.s[0]), float(track.s[-1])
    there = (place >= first - 2 * step) & (place <= last + 2 * step)
    time = np.where(there, np.interp(place, *_one_way(track.s, track.time)), np.nan)
    if lap.time_s is not None:
        time[0], time[-1] = 0.0, lap.time_s

    motion = {
        "n": track.n, "speed": track.speed, "acceleration_forward": track.acceleration_forward,
        "acceleration_left": track.acceleration_left,
    }  # fmt: skip
    return {
        "time": time,
        **{name: np.interp(time[:-1], track.time, values) for name, values in motion.items()},
        **{name: _sample_trace(name, lap.traces, time[:-1])
           for name in ("throttle", "brake", "steering", "gear")},
    }  # fmt: skip


def _one_way(s: Array, time: Array) -> tuple[Array, Array]:
    """Leave out samples that are no further along the road than one before them."""
    ahead = s > np.concatenate([[-np.inf], np.maximum.accumulate(s)[:-1]])
    return s[ahead], time[ahead]


def _sample_trace(name: str, traces: Mapping[str, Trace], time: Array) -> Array | None:
    trace = traces.get(name)
    if trace is None or trace.time.size == 0:
        return None
    if name in _HOLDS_ITS_VALUE:
        index = np.searchsorted(trace.time, time, side="right") - 1
        values = trace.values[np.maximum(index, 0)]
    else:
        values = np.interp(time, trace.time, trace.values)
    slack = 2.0 * float(np.median(np.diff(trace.time))) if trace.time.size > 1 else 0.0
    known = (time >= trace.time[0] - slack) & (time <= trace.time[-1] + slack)
    return np.where(known, values, np.nan)
