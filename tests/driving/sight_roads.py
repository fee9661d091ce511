"""Roads for the tests of sight: invented shapes, and real open data read from its own files."""

from __future__ import annotations

import itertools
import math
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lapwright.model.build_circuit import Edge, build_circuit_from_edges
from lapwright.model.circuit import Circuit, Corner, RoadSpan

Array = NDArray[np.float64]


def lay_road(
    x: Array, y: Array, heading: Array, z: Array, step: float, width: float = 5.0
) -> Circuit:
    """A road from its line; ``z`` in m, level across."""
    flat = np.zeros(x.size)
    s = np.arange(x.size) * step
    return Circuit(
        "invented", x.size * step, s, x, y, z, heading, np.gradient(heading, step),
        np.gradient(z, step), flat, flat, flat + width, flat + width, "anticlockwise", True, True,
    )  # fmt: skip


def ring(radius: float, height: Callable[[Array], Array], step: float = 1.0, width: float = 5.0):
    """A circle driven anticlockwise, 5 m to both edges."""
    count = round(2 * math.pi * radius / step)
    step = 2 * math.pi * radius / count
    angle = np.arange(count) * step / radius
    x, y = radius * np.sin(angle), radius * (1 - np.cos(angle))
    return lay_road(x, y, angle, height(np.arange(count) * step), step, width)


def mountain(path: Path) -> Circuit:
    """The 6.2 km mountain circuit of shared data, from its two edges."""
    rows = np.loadtxt(path, delimiter=",", skiprows=1)
    return build_circuit_from_edges(Edge(*rows[:, :3].T), Edge(*rows[:, 3:].T))


def crest_before_curve(path: Path) -> Circuit:
    """The OpenDRIVE road with a crest before a curve, by its formulas, at 1 m; it is not closed.

    ASAM OpenDRIVE 1.6: a spiral's curvature grows linearly along it, a height is a cubic
    from its own s on. Lanes beside the driving lanes lie level with them (a verge here).
    """
    tree = ET.parse(path)
    turn, hills = tree.findall(".//geometry"), tree.findall(".//elevation")
    s = np.arange(0.0, 400.0, 0.1)
    curvature = np.zeros(s.size)
    for piece in turn:
        start, length = float(piece.get("s", 0)), float(piece.get("length", 0))
        spiral = piece.find("spiral")
        if spiral is not None:
            first, last = (float(spiral.get(k, 0)) for k in ("curvStart", "curvEnd"))
            part = (s - start) / length
            curvature = np.where(part >= 0, first + (last - first) * part, curvature)
    z = np.zeros(s.size)
    for hill in hills:
        ds = s - float(hill.get("s", 0))
        a, b, c, d = (float(hill.get(k, 0)) for k in "abcd")
        z = np.where(ds >= 0, a + b * ds + c * ds**2 + d * ds**3, z)
    heading = np.concatenate([[0.0], np.cumsum(0.5 * (curvature[1:] + curvature[:-1]) * 0.1)])
    x = np.concatenate([[0.0], np.cumsum(np.cos(heading[:-1]) * 0.1)])
    y = np.concatenate([[0.0], np.cumsum(np.sin(heading[:-1]) * 0.1)])
    road = lay_road(x[::10], y[::10], heading[::10], z[::10], 1.0, 3.2)
    verges = (
        RoadSpan("verge", "left border", 0.0, 399.0, 53.2, 3.2),
        RoadSpan("verge", "right border", 0.0, 399.0, -3.2, -33.2),
    )
    corner = (Corner("1", "", "right", 270.0, 330.0, 380.0),)
    return Circuit(
        **{
            **{name: getattr(road, name) for name in road.__slots__},
            "spans": verges,
            "corners": corner,
        }
    )


def triangles(circuit: Circuit, along: int = 4, across: int = 8, deep_m: float = 100.0) -> Array:
    """The road between its edges as triangles, shape (k, 3, 3), each step cut into a mesh.

    Between two stations the surface is bilinear; a finer mesh follows it closer. Both edges
    stand on walls ``deep_m`` high: there is ground under a road.
    """
    sin, cos, tan = np.sin(circuit.heading), np.cos(circuit.heading), np.tan(circuit.banking)
    rails = []
    for share in np.linspace(0.0, 1.0, across + 1):
        n = -circuit.right + share * (circuit.left + circuit.right)
        rail = np.column_stack([circuit.x - n * sin, circuit.y + n * cos, circuit.z + n * tan])
        after = np.roll(rail, -1, axis=0)
        parts = np.arange(along)[None, :, None] / along
        rails.append((rail[:, None] + parts * (after - rail)[:, None]).reshape(-1, 3))
    deep = np.array([0.0, 0.0, deep_m])
    rails = [rails[0] - deep, *rails, rails[-1] - deep]
    out = []
    for a, b in itertools.pairwise(rails):
        c, d = np.roll(a, -1, axis=0), np.roll(b, -1, axis=0)
        out += [np.stack([a, b, c], axis=1), np.stack([b, d, c], axis=1)]
    return np.concatenate(out)


@njit(cache=True)
def blocked(tris: Array, eye: Array, point: Array) -> bool:
    """Cast one ray against every triangle (Möller and Trumbore 1997)."""
    dx, dy, dz = point[0] - eye[0], point[1] - eye[1], point[2] - eye[2]
    for k in range(tris.shape[0]):
        a, b, c = tris[k, 0], tris[k, 1], tris[k, 2]
        e1x, e1y, e1z = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        e2x, e2y, e2z = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        hx, hy, hz = dy * e2z - dz * e2y, dz * e2x - dx * e2z, dx * e2y - dy * e2x
        det = e1x * hx + e1y * hy + e1z * hz
        if abs(det) < 1e-12:
            continue
        sx, sy, sz = eye[0] - a[0], eye[1] - a[1], eye[2] - a[2]
        u = (sx * hx + sy * hy + sz * hz) / det
        if u < 0.0 or u > 1.0:
            continue
        qx, qy, qz = sy * e1z - sz * e1y, sz * e1x - sx * e1z, sx * e1y - sy * e1x
        v = (dx * qx + dy * qy + dz * qz) / det
        if v < 0.0 or u + v > 1.0:
            continue
        t = (e2x * qx + e2y * qy + e2z * qz) / det
        if 1e-6 < t < 1.0 - 1e-9:
            return True
    return False


def cast_ahead(circuit: Circuit, tris: Array, eye: Array, place: float, reach: float) -> float:
    """Metres up to the last place whose middle (a hair above it) a ray reaches, without a break."""
    step, size = circuit.step_m, circuit.s.size
    off = 0.5 * (circuit.left - circuit.right)
    points = np.column_stack(
        [
            circuit.x - off * np.sin(circuit.heading),
            circuit.y + off * np.cos(circuit.heading),
            circuit.z + off * np.tan(circuit.banking) + 2e-5,
        ]
    )
    near = tris[np.hypot(*(tris[:, 0, :2] - eye[:2]).T) < reach + 30.0]

    def hit(at: float) -> bool:
        i, part = math.floor(at), at - math.floor(at)
        point = (1 - part) * points[i % size] + part * points[(i + 1) % size]
        return bool(blocked(near, eye, point))

    first = math.floor(place / step) + 2
    for j in range(first, first + int(reach / step) + 1):
        if hit(j):
            parts = [p for p in np.linspace(0.0, 1.0, 9) if not hit(j - 1 + p)]
            return float(min(max((j - 1 + max(parts, default=0.0)) * step - place, 0.0), reach))
    return reach


def march(circuit: Circuit, eye: Array, point: Array) -> bool:
    """Walk along a ray in small steps; over a road level across its height is that of the line."""
    share = np.arange(0.001, 0.9995, 0.0005)[:, None]
    ray = eye + share * (point - eye)
    away = np.hypot(ray[:, :1] - circuit.x, ray[:, 1:2] - circuit.y)
    near = np.clip(np.argmin(away, axis=1), 1, circuit.s.size - 2)
    along = (ray[:, 0] - circuit.x[near]) * np.cos(circuit.heading[near])
    along += (ray[:, 1] - circuit.y[near]) * np.sin(circuit.heading[near])
    ground = np.interp(near + along / circuit.step_m, np.arange(circuit.s.size), circuit.z)
    return bool((ray[:, 2] >= ground - 1e-3).all())
