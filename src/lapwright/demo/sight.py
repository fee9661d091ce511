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
_WALL_OFFSETS = tuple(0.5 * k for k in range(-7, 8))


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


def _crosses(eye: Array, mark: rd.Landmark, wall: Array) -> NDArray[np.bool_]:
    """Tell which sight lines from eyes (k, 2) to a landmark cross a wall of points (m, 2)."""

    def left(a: Array, b: Array, c: Array) -> Array:
        return np.asarray(
            (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1])
            - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
        )

    eyes, to = eye[:, None], np.array([mark.x, mark.y])
    first, last = wall[None, :-1], wall[None, 1:]
    apart = left(eyes, to, first) * left(eyes, to, last) < 0
    return np.asarray(np.any(apart & (left(first, last, eyes) * left(first, last, to) < 0), axis=1))


def past_wall(circuit: rd.Circuit, name: str, near: float) -> tuple[float, ...] | None:
    """Where a landmark shows past a wall's end, as coefficients (a, b, c) of s = a + b n + c n².

    Nobody sees over a wall. The fit is over the offsets from which a wall hides it near there;
    None where those are fewer than three.
    """
    mark = _mark(circuit, name)
    s = np.arange(near - 150.0, near + 60.0, 0.25)
    for span in (x for x in circuit.spans if x.kind == "wall"):
        off = min(span.left_m, span.right_m, key=abs)
        wall = _eye(circuit, np.arange(span.start_m, span.end_m + 0.5, circuit.step_m), off)
        places = []
        for n in _WALL_OFFSETS:
            hidden = np.flatnonzero(_crosses(_eye(circuit, s, n)[:, :2], mark, wall[:, :2]))
            if hidden.size and hidden[-1] + 1 < s.size:
                places.append((n, s[hidden[-1] + 1]))
        if len(places) >= 3:
            off, shown = np.array(places).T
            fit = np.polyfit(off, shown, 2)
            return float(fit[2]), float(fit[1]), float(fit[0])
    return None


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


def _awaited(ref: Reference, circuit: rd.Circuit, at: float) -> tuple[float, ...] | None:
    """Coefficients of what is waited for and depends on the line driven; None for all else."""
    if ref.kind == "alignment":
        return alignment_place(circuit, ref.landmarks, at)
    return past_wall(circuit, ref.landmarks[0], at) if ref.kind == "view" else None


def anchor(ref: Reference, circuit: rd.Circuit, rows: Array, at: float) -> Array:
    """Kind, four parameters and lead of a reference, from a lap driven without noise.

    ``rows`` is that lap and ``at`` the place (m) where its action came.
    """
    i = int(np.searchsorted(rows[:, ly.O_S], at))
    v, n, t = rows[i, ly.O_VX], rows[i, ly.O_N], rows[i, ly.O_T]
    if ref.kind == "place":
        return np.array([ly.PLACE, at, 0.0, 0.0, 0.0, 0.0])
    if ref.kind == "alignment" and ref.foreseen:
        a, b, c = alignment_place(circuit, ref.landmarks, at)
        return np.array([ly.ALIGN, a, b, c, 0.0, (at - (a + b * n + c * n * n)) / v])
    past = _awaited(ref, circuit, at)
    if past is not None:
        a, b, c = past
        way = rows[(rows[:, ly.O_S] > at - 150.0) & (rows[:, ly.O_S] < at)]
        met = way[way[:, ly.O_S] >= a + b * way[:, ly.O_N] + c * way[:, ly.O_N] ** 2]
        lead = t - met[0, ly.O_T] if met.size else 0.0
        return np.array([ly.PAST, a, b, c, at - 150.0, lead])
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
