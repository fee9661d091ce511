"""References that need the driver's eye: landmarks in line, things coming into view."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import layout as ly
from lapwright.demo import road as rd
from lapwright.demo.drivers import Reference

Array = NDArray[np.float64]
EYE_HEIGHT = 1.05
_OFFSETS = (-3.0, 0.0, 3.0)


def _eye(circuit: rd.Circuit, s: Array, n: float) -> Array:
    """Eye positions, shape (k, 3), at offset ``n``."""
    row = np.array([circuit.grid[int(x / circuit.step_m) % (circuit.grid.shape[0] - 1)] for x in s])
    x = row[:, rd.GX] - n * np.sin(row[:, rd.GHEADING])
    y = row[:, rd.GY] + n * np.cos(row[:, rd.GHEADING])
    z = row[:, rd.GZ] + n * np.tan(row[:, rd.GBANK]) + EYE_HEIGHT
    return np.column_stack([x, y, z])


def _mark(circuit: rd.Circuit, name: str) -> rd.Landmark:
    for mark in circuit.landmarks:
        if mark.name == name:
            return mark
    raise ValueError(f"landmark: the circuit has no {name!r}")


def alignment_place(circuit: rd.Circuit, names: tuple[str, ...], near: float) -> tuple[float, ...]:
    """Where two landmarks stand in line, as coefficients (a, b, c) of s = a + b n + c n²."""
    one, two = (_mark(circuit, name) for name in names)
    s = np.arange(near - 220.0, near + 60.0, 0.5)
    places = []
    for n in _OFFSETS:
        eye = _eye(circuit, s, n)
        cross = (one.x - eye[:, 0]) * (two.y - eye[:, 1]) - (one.y - eye[:, 1]) * (
            two.x - eye[:, 0]
        )
        flips = np.flatnonzero(np.diff(np.sign(cross)))
        if not flips.size:
            raise ValueError(f"landmarks {names} never stand in line near {near:.0f} m")
        i = flips[np.argmin(np.abs(s[flips] - near))]
        places.append(s[i] + 0.5 * cross[i] / (cross[i] - cross[i + 1]))
    fit = np.polyfit(_OFFSETS, places, 2)
    return float(fit[2]), float(fit[1]), float(fit[0])


def view_place(circuit: rd.Circuit, name: str, near: float) -> float:
    """Where a landmark's top first shows over the road ahead, in m; heights along the centre."""
    mark = _mark(circuit, name)
    s = circuit.s
    z = circuit.grid[:, rd.GZ]
    for at in np.arange(near - 250.0, near + 50.0, 1.0):
        i, j = int(at / circuit.step_m), int(mark.at_m / circuit.step_m)
        if j <= i + 1:
            break
        eye = z[i] + EYE_HEIGHT
        part = (s[i + 1 : j] - s[i]) / (s[j] - s[i])
        if np.all(z[i + 1 : j] < eye + part * (mark.z + mark.height_m - eye)):
            return float(at)
    raise ValueError(f"landmark {name!r} never comes into view near {near:.0f} m")


def anchor(ref: Reference, circuit: rd.Circuit, rows: Array, at: float) -> Array:
    """Kind, four parameters and lead of a reference, from a lap driven without noise.

    ``rows`` is that lap and ``at`` the place (m) where its action came.
    """
    i = int(np.searchsorted(rows[:, ly.O_S], at))
    v, n, t = rows[i, ly.O_VX], rows[i, ly.O_N], rows[i, ly.O_T]
    if ref.kind == "place":
        return np.array([ly.PLACE, at, 0.0, 0.0, 0.0, 0.0])
    if ref.kind == "alignment":
        a, b, c = alignment_place(circuit, ref.landmarks, at)
        return np.array([ly.ALIGN, a, b, c, 0.0, (at - (a + b * n + c * n * n)) / v])
    if ref.kind == "view":
        place = view_place(circuit, ref.landmarks[0], at)
        return np.array([ly.VIEW, place, 0.0, 0.0, 0.0, (at - place) / v])
    if ref.kind == "speed":
        value = rows[max(i - 80, 0), ly.O_VX]
        sign = 1.0 if rows[i, ly.O_VX] > value else -1.0
        return np.array([ly.SPEED, value, sign, at + 0.6 * v, at - 0.6 * v, 0.08])
    steer = np.abs(rows[: i + 1, ly.O_STEER])
    back = np.flatnonzero((steer[:-1] > ref.value) & (steer[1:] <= ref.value))
    straight = int(back[-1]) + 1 if back.size else i
    opened = rows[max(straight - 300, 0), ly.O_S]
    late = t - rows[straight, ly.O_T]
    return np.array([ly.STRAIGHT, ref.value, 0.0, at + 0.3 * v, opened, max(late, 0.02)])
