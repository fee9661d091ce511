"""What is known of a session: its laps, its motion at 1 kHz, the causes and costs of its faults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import lap as lp
from lapwright.demo import layout as ly
from lapwright.demo import road as rd
from lapwright.demo.car import Car
from lapwright.demo.drive import DrivenLap
from lapwright.demo.drivers import Action, Fault, Reference
from lapwright.demo.sensors import true_middle
from lapwright.demo.truth import CornerTruth, FaultCost

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LapTruth:
    """One lap: when it began and ended, what it was, its conditions."""

    number: int
    kind: str
    start_s: float
    end_s: float
    conditions: lp.Conditions
    faults: tuple[Fault, ...]
    off_road: bool

    @property
    def time_s(self) -> float:
        """Lap time in s (of an out or in lap: its part)."""
        return self.end_s - self.start_s


@dataclass(frozen=True, eq=False)
class Truth:
    """The motion without noise at 1 kHz (middle of the wheelbase for x, y) and all that is known.

    ``s`` and ``n`` are m along and to the left of the centre line, ``heading`` is the
    car's and ``course`` its path's direction, ``ax`` and ``ay`` are accelerations along and
    across the car, ``steering`` is the hand wheel; all (k,), worked out when first asked for.
    ``references`` tells what an action is
    taken on; ``anchors`` holds the same as numbers: kind, a, b, c, d and the lead in s,
    where a place, a view or an alignment comes at s = a + b n + c n².
    """

    rows: Array
    car: Car
    circuit: rd.Circuit
    laps: tuple[LapTruth, ...]
    corners: tuple[CornerTruth, ...]
    fault_costs: tuple[FaultCost, ...]
    references: dict[tuple[int, str], Reference]
    anchors: dict[tuple[int, Action], Array]
    crossings_s: Array

    @property
    def t(self) -> Array:
        """Time in s."""
        return self._column(ly.O_T)

    @cached_property
    def _middle(self) -> Array:
        return true_middle(self.rows, self.car, (0.0, 0.0, 0.0))

    @property
    def x(self) -> Array:
        """East of the start line in m."""
        return np.asarray(self._middle[:, 0])

    @property
    def y(self) -> Array:
        """North of the start line in m."""
        return np.asarray(self._middle[:, 1])

    @property
    def z(self) -> Array:
        """Height of the road in m."""
        return np.asarray(self._middle[:, 2])

    @cached_property
    def _on_road(self) -> tuple[Array, Array]:
        return _on_road(self.rows, self._middle, self.circuit)

    @property
    def s(self) -> Array:
        """Metres along the centre line."""
        return self._on_road[0]

    @property
    def n(self) -> Array:
        """Metres to the left of the centre line."""
        return self._on_road[1]

    @cached_property
    def v(self) -> Array:
        """Speed over the road in m/s."""
        return np.hypot(self._column(ly.O_VX), self._column(ly.O_VY))

    @property
    def heading(self) -> Array:
        """Direction of the car in rad, running on over the laps."""
        return self._column(ly.O_PSI)

    @cached_property
    def course(self) -> Array:
        """Direction of the path in rad."""
        forward = np.maximum(self._column(ly.O_VX), 0.5)
        return self.heading + np.arctan2(self._column(ly.O_VY), forward)

    @property
    def yaw_rate(self) -> Array:
        """Turning of the car in rad/s, left positive."""
        return self._column(ly.O_R)

    @property
    def ax(self) -> Array:
        """Acceleration along the car in m/s²."""
        return self._column(ly.O_AX)

    @property
    def ay(self) -> Array:
        """Acceleration to the car's left in m/s²."""
        return self._column(ly.O_AY)

    @property
    def throttle(self) -> Array:
        """Travel of the throttle pedal, 0 to 1."""
        return self._column(ly.O_THR)

    @property
    def brake(self) -> Array:
        """Travel of the brake pedal, 0 to 1."""
        return self._column(ly.O_BRK)

    @cached_property
    def steering(self) -> Array:
        """Angle of the hand wheel in rad, left positive."""
        return self._column(ly.O_STEER) * self.car.steer_ratio

    @property
    def gear(self) -> Array:
        """Gear from 1."""
        return self._column(ly.O_GEAR)

    @cached_property
    def lap_of(self) -> NDArray[np.int64]:
        """Number of the lap that each row belongs to; 0 is the out lap."""
        return np.searchsorted(self.crossings_s, self.t, side="right")

    @property
    def lap_times(self) -> Array:
        """Times of the timed laps in s, in order."""
        return np.array([lap.time_s for lap in self.laps if lap.kind == "timed"])

    def _column(self, column: int) -> Array:
        return np.asarray(self.rows[:, column])


def gather_truth(
    to: lp.Setting, rows: Array, driven: Sequence[DrivenLap], found: Sequence[FaultCost]
) -> Truth:
    """Put together what is known of a driven session."""
    ends = [lap.start_s + lap.seconds for lap in driven]
    cross = _crossings(rows, ends[:-1], to.circuit, to.car)
    bounds = [0.0, *cross, ends[-1]]
    laps = tuple(
        LapTruth(i, p.kind, bounds[i], bounds[i + 1], p.conditions, p.faults, p.off_road)
        for i, p in enumerate(driven)
    )
    corners = tuple(corner for lap in driven for corner in lap.corners)
    references: dict[tuple[int, str], Reference] = {(c, a): r for c, a, r in to.driver.references}
    return Truth(
        rows, to.car, to.circuit, laps, corners, tuple(found), references, dict(to.anchors), cross
    )


def start_line(circuit: rd.Circuit) -> tuple[tuple[float, float], tuple[float, float]]:
    """Middle of the start line and the direction of driving across it."""
    x, y, heading = circuit.grid[0, [rd.GX, rd.GY, rd.GHEADING]]
    return (float(x), float(y)), (float(np.cos(heading)), float(np.sin(heading)))


def _crossings(rows: Array, ends: Sequence[float], circuit: rd.Circuit, car: Car) -> Array:
    """Find when the middle of the wheelbase crossed the start line, near ``ends`` (s)."""
    (x, y), (dx, dy) = start_line(circuit)
    out = []
    for end in ends:
        first = int(np.searchsorted(rows[:, ly.O_T], end - 0.05))
        near = rows[first : first + 1000]
        t, middle = near[:, ly.O_T], true_middle(near, car, (0.0, 0.0, 0.0))
        past = (middle[:, 0] - x) * dx + (middle[:, 1] - y) * dy
        i = int(np.flatnonzero(past >= 0)[0])
        out.append(t[i] - past[i] / (past[i] - past[i - 1]) * (t[i] - t[i - 1]))
    return np.array(out)


def _on_road(rows: Array, middle: Array, circuit: rd.Circuit) -> tuple[Array, Array]:
    """Place and offset of the middle of the wheelbase, from those of the centre of gravity."""
    grid, n_rows = circuit.grid, circuit.grid.shape[0] - 1
    at = rows[:, ly.O_S] / circuit.step_m
    for _ in range(2):
        i = np.floor(at).astype(np.int64)
        part = at - i
        i %= n_rows
        x, y, heading, curve = (
            grid[i, c] * (1 - part) + grid[i + 1, c] * part
            for c in (ly.GX, ly.GY, ly.GHEADING, ly.GCURVE)
        )
        dx, dy = middle[:, 0] - x, middle[:, 1] - y
        c, s = np.cos(heading), np.sin(heading)
        n = -dx * s + dy * c
        at = at + (dx * c + dy * s) / np.maximum(1 - n * curve, 0.2) / circuit.step_m
    return at * circuit.step_m % circuit.length_m, n
