"""Every lap's way into and through one corner on one clock, as references are looked for in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.action_names import ACTIONS
from lapwright.driving.passes import CornerPass
from lapwright.driving.window import Window, open_window
from lapwright.model.build_circuit import curve_of
from lapwright.model.circuit import Circuit, Corner
from lapwright.model.lap import Lap, Trace
from lapwright.numerics.curves import at_places, points_at

Array = NDArray[np.float64]

#: The way looked at before and after the apex, s, and its samples per second.
BEFORE_S, AFTER_S, RATE_HZ = 16.0, 8.0, 50.0
#: The wheel is averaged over this long: a sensor's noise would cross any level early, s.
WHEEL_S = 0.1
#: Gear changes closer to each other than this are one pull at the lever, s.
GEAR_SETTLES_S = 0.12


@dataclass(frozen=True, slots=True)
class Approaches:
    """Laps through one corner; arrays have shape (laps, k), clocks start at each lap's apex.

    Parameters
    ----------
    clock
        Shape (k,), s before (negative) and after the apex.
    s, n, x, y, heading
        Places in m along the road (not wrapped) and to its left, the plane's coordinates,
        and the direction of travel in rad.
    speed, acceleration, lateral, turned
        m/s, m/s² forward and to the left, and the direction of travel against the road's, rad.
    wheel
        Steering in rad; None where no lap has it.
    gear
        By lap: times of changes and the gears changed to, shape (changes, 2).
    first_s
        Shape (laps,): passage of the apex before, from which events are looked for.
    times
        By action: when it took place, shape (laps,), NaN where it did not.
    steps
        By action: the sampling interval of the channels that show it, s.
    place_sd
        Median standard deviation of the position, m.
    corner_time
        Shape (laps,), s.
    """

    corner: Corner
    laps: tuple[str, ...]
    clock: Array
    s: Array
    n: Array
    x: Array
    y: Array
    heading: Array
    speed: Array
    acceleration: Array
    lateral: Array
    turned: Array
    wheel: Array | None
    gear: tuple[Array, ...] | None
    first_s: Array
    times: Mapping[str, Array]
    steps: Mapping[str, float]
    place_sd: float
    corner_time: Array

    def at(self, column: str, when: Array) -> Array:
        """Interpolate a column at a time for each lap, shape (laps,); NaN stays NaN."""
        rows = getattr(self, column)
        return np.array([np.interp(t, self.clock, r) for t, r in zip(when, rows, strict=True)])


def build_approaches(
    circuit: Circuit, laps: Sequence[Lap], passes: Sequence[CornerPass]
) -> dict[str, Approaches]:
    """Bring together all laps that count, by corner id; corners that no lap passed are left out."""
    by_pass = {(p.corner, p.lap): p for p in passes}
    out = {}
    for i, corner in enumerate(circuit.corners):
        before = circuit.corners[i - 1]
        after = circuit.corners[(i + 1) % len(circuit.corners)]
        windows = []
        for lap in laps:
            own = by_pass.get((corner.id, lap.id))
            window = open_window(lap, circuit, corner, before, after) if own else None
            if window is not None and own is not None:
                windows.append((window, own))
        if windows:
            out[corner.id] = _gather(circuit, corner, windows)
    return out


def _gather(
    circuit: Circuit, corner: Corner, windows: Sequence[tuple[Window, CornerPass]]
) -> Approaches:
    clock = np.arange(-BEFORE_S, AFTER_S, 1.0 / RATE_HZ)
    names = ("s", "n", "speed", "acceleration_forward", "acceleration_left", "heading_error")
    rows = {
        name: np.array(
            [np.interp(clock + w.apex_s, w.track.time, getattr(w.track, name)) for w, _ in windows]
        )
        for name in names
    }
    x, y = points_at(curve_of(circuit), rows["s"].ravel(), rows["n"].ravel())
    shape = rows["s"].shape
    road = np.arctan2(
        at_places(circuit.length_m, np.sin(circuit.heading), rows["s"]),
        at_places(circuit.length_m, np.cos(circuit.heading), rows["s"]),
    )
    first = [float(w.track.time[w.inside][0]) - w.apex_s for w, _ in windows]
    return Approaches(
        corner=corner,
        laps=tuple(w.lap.id for w, _ in windows),
        clock=clock,
        s=rows["s"],
        n=rows["n"],
        x=x.reshape(shape),
        y=y.reshape(shape),
        heading=road + rows["heading_error"],
        speed=rows["speed"],
        acceleration=rows["acceleration_forward"],
        lateral=rows["acceleration_left"],
        turned=rows["heading_error"],
        wheel=_wheel([w for w, _ in windows], clock),
        gear=_gears([w for w, _ in windows]),
        first_s=np.maximum(np.array(first), -BEFORE_S),
        times=_times(circuit, windows),
        steps=_steps(windows[0][0]),
        place_sd=float(np.median([np.median(w.track.n_sd) for w, _ in windows])),
        corner_time=np.array([p.time_s for _, p in windows]),
    )


def _wheel(windows: Sequence[Window], clock: Array) -> Array | None:
    traces = [w.trace("steering") for w in windows]
    if any(t is None for t in traces):
        return None
    pairs = zip(windows, traces, strict=True)
    return np.array([_calm(t, clock + w.apex_s) for w, t in pairs if t])


def _calm(trace: Trace, when: Array) -> Array:
    """Average a trace over `WHEEL_S` about each time, by its running sum."""
    total = np.append(
        0.0, np.cumsum(0.5 * (trace.values[1:] + trace.values[:-1]) * np.diff(trace.time))
    )
    width = max(WHEEL_S, float(np.median(np.diff(trace.time))))
    high, low = when + width / 2, when - width / 2
    return np.asarray(
        (np.interp(high, trace.time, total) - np.interp(low, trace.time, total)) / width
    )


def _gears(windows: Sequence[Window]) -> tuple[Array, ...] | None:
    """List the changes of gear in each lap; the way between two gears is left out."""
    out = []
    for window in windows:
        trace = window.trace("gear")
        if trace is None:
            return None
        gear = np.round(trace.values)
        at = np.flatnonzero(np.diff(gear)) + 1
        when = trace.time[at] - 0.5 * (trace.time[at] - trace.time[at - 1]) - window.apex_s
        last = np.append(np.diff(when) > GEAR_SETTLES_S, True) if at.size else np.zeros(0, bool)
        out.append(np.column_stack([when[last], gear[at][last]]))
    return tuple(out)


def _times(circuit: Circuit, windows: Sequence[tuple[Window, CornerPass]]) -> dict[str, Array]:
    out: dict[str, list[float]] = {name: [] for name, row in ACTIONS.items() if row.is_place}
    for window, own in windows:
        s, index = np.unique(window.track.s, return_index=True)
        time = window.track.time[index]
        for name, column in out.items():
            place = own.actions.get(name)
            column.append(np.nan if place is None else _when(circuit, window, place, s, time))
    return {name: np.array(column) for name, column in out.items()}


def _when(circuit: Circuit, window: Window, place: float, s: Array, time: Array) -> float:
    half = circuit.length_m / 2
    apex = window.corner.apex_m
    along = apex + (place - apex + half) % circuit.length_m - half
    return float(np.interp(along, s, time)) - window.apex_s


def _steps(window: Window) -> dict[str, float]:
    """Find the sampling interval of the channels behind each action, s."""
    track = float(np.median(np.diff(window.track.time)))
    out = {}
    for name, row in ACTIONS.items():
        traces = [window.lap.traces[n].time for n in row.needs if n in window.lap.traces]
        steps = [float(np.median(np.diff(t))) for t in traces if t.size > 2]
        out[name] = max(steps, default=track)
    return out
