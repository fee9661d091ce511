"""Where the simulator's wheels truly ran on the demo's kerbs: what a guide is held to.

Wheels stand where the simulator's own car has them, turned by its true heading; a contact patch
reaches as far beyond the wheel's middle as the car's body does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import Session
from lapwright.demo import layout as ly
from lapwright.demo.car import WIDTH_M

Array = NDArray[np.float64]


def find_depths(session: Session) -> dict[tuple[str, int], float]:
    """Depth in m on each kerb, by its name and the lap; 0 where no wheel touched it."""
    car, lap = session.car, session.truth.lap_of
    half_patch = (WIDTH_M - (car.track_f + car.track_r) / 2) / 2
    wheels = [
        _on_road(session, along, side * track / 2)
        for along, track in ((car.axle_f, car.track_f), (-car.axle_r, car.track_r))
        for side in (1.0, -1.0)
    ]
    out = {}
    for kerb in (span for span in session.spans if span.kind == "kerb"):
        into = np.full(lap.size, -np.inf)
        for s, n in wheels:
            reach = n - kerb.right_m if kerb.left_m > 0 else kerb.left_m - n
            here = (s >= kerb.start_m) & (s <= kerb.end_m)
            into = np.maximum(into, np.where(here, reach + half_patch, -np.inf))
        for number in range(1, int(lap.max())):
            out[kerb.name, number] = max(float(into[lap == number].max()), 0.0)
    return out


def _on_road(session: Session, along: float, aside: float) -> tuple[Array, Array]:
    """Place and offset of a wheel that stands so far ahead and left of the centre of gravity."""
    rows, grid, step = session.rows, session.circuit.grid, session.circuit.step_m
    cos, sin = np.cos(rows[:, ly.O_PSI]), np.sin(rows[:, ly.O_PSI])
    x = rows[:, ly.O_X] + along * cos - aside * sin
    y = rows[:, ly.O_Y] + along * sin + aside * cos
    at = rows[:, ly.O_S] / step
    for _ in range(3):
        i = np.floor(at).astype(np.int64)
        part, i = at - i, i % (grid.shape[0] - 1)
        here_x, here_y, heading, curve = (
            grid[i, c] * (1 - part) + grid[i + 1, c] * part
            for c in (ly.GX, ly.GY, ly.GHEADING, ly.GCURVE)
        )
        dx, dy = x - here_x, y - here_y
        n = dy * np.cos(heading) - dx * np.sin(heading)
        ahead = dx * np.cos(heading) + dy * np.sin(heading)
        at = at + ahead / np.maximum(1 - n * curve, 0.2) / step
    return at * step % session.circuit.length_m, n
