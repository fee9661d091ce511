"""A driver's line: the smoothest path inside the road, by code of the demo's own."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d
from scipy.sparse import csc_matrix, diags, eye
from scipy.sparse.linalg import splu

from lapwright.demo import road as rd

Array = NDArray[np.float64]


def _ring_difference(n: int, order: int) -> csc_matrix:
    """Periodic forward difference of the given order, n by n."""
    row = np.arange(n)
    rows, cols = np.concatenate([row, row]), np.concatenate([row, (row + 1) % n])
    one = csc_matrix((np.repeat([-1.0, 1.0], n), (rows, cols)), shape=(n, n))
    out = one
    for _ in range(order - 1):
        out = csc_matrix(one @ out)
    return out


def smooth_offsets(circuit: rd.Circuit, margin_m: float, spacing: int = 5) -> tuple[Array, Array]:
    """Offsets (m, left positive) that make the path's second and third difference least.

    Alternating directions (ADMM) on a box-bounded quadratic: one sparse
    factorisation, then cheap steps. Returns places and offsets, both (m,).
    """
    n_all = circuit.grid.shape[0] - 1
    rows = np.unique(np.linspace(0, n_all, n_all // spacing, endpoint=False).astype(int))
    grid = circuit.grid[rows]
    h = circuit.length_m / rows.size
    n = rows.size
    nx, ny = -np.sin(grid[:, rd.GHEADING]), np.cos(grid[:, rd.GHEADING])
    d2, d3 = _ring_difference(n, 2) / h**2, _ring_difference(n, 3) / h**3
    quad, lin = csc_matrix((n, n)), np.zeros(n)
    for centre, normal in ((grid[:, rd.GX], nx), (grid[:, rd.GY], ny)):
        for d, weight in ((d2, 1.0), (d3, 150.0)):
            a = d @ diags(normal)
            quad = quad + weight * (a.T @ a)
            lin += weight * (a.T @ (d @ centre))
    top, bottom = grid[:, rd.GLEFT] - margin_m, -(grid[:, rd.GRIGHT] - margin_m)
    rho = 3e-5
    solver = splu(csc_matrix(quad + rho * eye(n)))
    z, u = np.zeros(n), np.zeros(n)
    for _ in range(3000):
        x = solver.solve(rho * (z - u) - lin)
        x = 1.6 * x - 0.6 * z
        z = np.clip(x + u, bottom, top)
        u += x - z
    return circuit.s[rows], gaussian_filter1d(z, 6.0 / h, mode="wrap")


@lru_cache(maxsize=16)
def racing_offsets(circuit_name: str, margin_m: float, share: float) -> tuple[Array, Array]:
    """Keep offsets of the demo's circuit, scaled towards the middle by ``share``."""
    if circuit_name != "Quillbeck":
        raise ValueError(f"no line for circuit {circuit_name!r}")
    s, n = smooth_offsets(rd.quillbeck(), margin_m)
    return s, n * share


def line_on_grid(circuit: rd.Circuit, s: Array, n: Array, bump: Array) -> Array:
    """Line at every grid row: offset, x, y, heading, curvature and step (m), shape (rows, 6).

    ``bump`` (rows,) is added to the offsets, for a driver's own wandering.
    """
    places = circuit.s
    closed = CubicSpline(
        np.append(s, circuit.length_m + s[0]), np.append(n, n[0]), bc_type="periodic"
    )
    off = closed(places % circuit.length_m) + np.append(bump, bump[0])
    grid = circuit.grid
    x = grid[:, rd.GX] - off * np.sin(grid[:, rd.GHEADING])
    y = grid[:, rd.GY] + off * np.cos(grid[:, rd.GHEADING])
    x[-1], y[-1] = x[0], y[0]
    fx, fy = (CubicSpline(places, c, bc_type="periodic") for c in (x, y))
    dx, dy, ddx, ddy = fx(places, 1), fy(places, 1), fx(places, 2), fy(places, 2)
    speed = np.hypot(dx, dy)
    curve = (dx * ddy - dy * ddx) / speed**3
    heading = np.unwrap(np.arctan2(dy, dx))
    return np.column_stack([off, x, y, heading, curve, speed * circuit.step_m])
