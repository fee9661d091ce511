"""The road at chosen places: what the solvers need of a circuit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.circuit import Circuit

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Road:
    """The road at places s, arrays of shape (m,).

    ``height_slope`` and ``height_bend`` are the first and second derivative of the
    reference line's height by s, ``cross`` is the tangent of the banking (left edge
    up positive) and ``cross_rate`` its derivative by s.
    """

    s: Array
    curvature: Array
    curvature_rate: Array
    height_slope: Array
    height_bend: Array
    cross: Array
    cross_rate: Array
    left: Array
    right: Array

    def tilt(self, n: Any, sine: Any, cosine: Any) -> tuple[Any, Any, Any]:
        """Slope, cross slope and bend at offset n in a direction: see `road_tilt`."""
        return road_tilt(
            n, sine, cosine, self.curvature, self.height_slope, self.height_bend, self.cross,
            self.cross_rate,
        )  # fmt: skip


def road_tilt(
    n: Any, sine: Any, cosine: Any, curvature: Any, height_slope: Any, height_bend: Any,
    cross: Any, cross_rate: Any,
) -> tuple[Any, Any, Any]:  # fmt: skip
    """Slope and cross slope in a direction of travel, and the bend of the surface along it.

    The surface is z(s) + n · cross(s). ``sine`` and ``cosine`` are of the angle from
    the reference line. The bend is the second derivative along the straight tangent;
    its −cross · curvature part is what banking does in a turn. Terms with the product
    of slope, angle and change of curvature are left out (below 0.1 m/s² on real roads).
    """
    ahead = cosine / (1 - n * curvature)  # ds/dl
    rise = height_slope + n * cross_rate
    slope = rise * ahead + cross * sine
    side = cross * cosine - rise * sine / (1 - n * curvature)
    bend = height_bend * ahead**2 + 2 * cross_rate * ahead * sine
    bend = bend - cross * curvature * ahead * cosine
    bend = bend + 2 * rise * curvature * ahead * sine / (1 - n * curvature)
    return slope, side, bend


def periodic_gradient(values: Array, step: float) -> Array:
    """Central difference of a periodic array of samples ``step`` apart."""
    return (np.roll(values, -1) - np.roll(values, 1)) / (2 * step)


def periodic_read(circuit: Circuit, values: Array, s: Array, turn: float = 0.0) -> Array:
    """Read a circuit's array at places s by linear interpolation around the lap.

    ``turn`` is what the values gain over a lap: a whole turn for headings, else 0.
    """
    at = np.r_[circuit.s, circuit.length_m]
    return np.interp(np.mod(s, circuit.length_m), at, np.r_[values, values[0] + turn])


def _mean_over(circuit: Circuit, values: Array, low: Array, high: Array) -> Array:
    """Mean of a circuit's array from ``low`` to ``high``, exact for its linear interpolant."""
    length, h = circuit.length_m, circuit.step_m
    after = np.roll(values, -1)
    total = np.r_[0.0, np.cumsum((values + after) / 2) * h]

    def integral(s: Array) -> Array:
        laps = np.floor(s / length)
        rest = (s - laps * length) / h
        i = np.minimum(rest.astype(int), values.size - 1)
        part = rest - i
        inside = h * part * (values[i] + part / 2 * (after[i] - values[i]))
        return np.asarray(laps * total[-1] + total[i] + inside)

    return (integral(high) - integral(low)) / (high - low)


def read_road(circuit: Circuit, s: Array, cell_m: float = 0.0) -> Road:
    """Read the road at places s; with ``cell_m``, curvatures are means over a cell around s.

    Means keep the sum of the turning on a coarse mesh. Edges are the narrowest at the
    cell's ends and middle.
    """
    half = cell_m / 2
    h = circuit.step_m
    cross = np.tan(circuit.banking)

    def value(values: Array) -> Array:
        if half <= 0.5 * h:
            return periodic_read(circuit, values, s)
        return _mean_over(circuit, values, s - half, s + half)

    def narrowest(values: Array) -> Array:
        places = (s,) if half == 0 else (s - half / 2, s, s + half / 2)
        return np.asarray(np.min([periodic_read(circuit, values, p) for p in places], axis=0))

    return Road(
        s, value(circuit.curvature), value(periodic_gradient(circuit.curvature, h)),
        value(circuit.slope), value(circuit.vertical_curvature), value(cross),
        value(periodic_gradient(cross, h)), narrowest(circuit.left), narrowest(circuit.right),
    )  # fmt: skip


def check_road(circuit: Circuit, room_m: float = 0.0) -> None:
    """Refuse a circuit that no line can be worked out for.

    Parameters
    ----------
    room_m
        Width in m that the car and the margins need.

    Raises
    ------
    InputError
        With every finding: too few samples, numbers missing, too narrow, folded.
    """
    wrong = [
        Message("refused", circuit.name or "circuit", found, to_do=to_do)
        for found, to_do in _road_faults(circuit, room_m)
    ]
    if wrong:
        raise InputError(wrong)


_ARRAYS = ("s", "curvature", "slope", "banking", "vertical_curvature", "left", "right")


def _road_faults(circuit: Circuit, room_m: float) -> list[tuple[str, str]]:
    if circuit.s.size < 8:
        return [(f"the circuit has {circuit.s.size} samples", "Give at least 8 around the lap")]
    bad = [a for a in _ARRAYS if not np.isfinite(getattr(circuit, a)).all()]
    if bad:
        return [(f"{name} holds values that are no numbers", "Repair the survey") for name in bad]
    out = []
    width = circuit.left + circuit.right
    if (width <= room_m).any():
        i = int(np.argmin(width))
        out.append((
            f"the road is {width[i]:.2f} m wide at {circuit.s[i]:.0f} m, "
            f"and the car with its margins needs {room_m:.2f} m",
            "Correct the widths, the car's width or the margin",
        ))  # fmt: skip
    fold = np.maximum(circuit.curvature * circuit.left, -circuit.curvature * circuit.right)
    if (fold >= 0.95).any():
        i = int(np.argmax(fold))
        out.append((
            f"the inner edge at {circuit.s[i]:.0f} m folds over "
            f"(curvature × width is {fold[i]:.2f})",
            "Smooth the reference line more and measure the edges anew",
        ))  # fmt: skip
    return out
