"""Compiled loops over curves."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Newton's steps shrink by squares: after one so short the next would be none.
CONVERGED_M = 1e-7


@njit(cache=True)
def _wrap(angle: float) -> float:
    return math.atan2(math.sin(angle), math.cos(angle))


@njit(cache=True)
def _nearest(
    cx: Array, cy: Array, ch: Array, px: float, py: float, head: float, first: int, count: int
) -> tuple[int, float]:
    """Index and distance of the nearest sample among ``count`` from ``first`` on.

    A direction that differs by more than 60 degrees counts as 60 m further away.
    """
    n = cx.size
    best, best_cost, best_distance = 0, 1e18, 1e9
    for k in range(first, first + count):
        i = k % n
        distance = math.hypot(px - cx[i], py - cy[i])
        cost = distance
        if not math.isnan(head) and abs(_wrap(head - ch[i])) > 1.05:
            cost += 60.0
        if cost < best_cost:
            best, best_cost, best_distance = i, cost, distance
    return best, best_distance


@njit(cache=True)
def _nearest_of(
    cx: Array, cy: Array, px: float, py: float, first: int, count: int
) -> tuple[int, float]:
    """Index and distance of the nearest sample among ``count`` from ``first`` on."""
    n = cx.size
    best, best_square = 0, 1e36
    i = first % n
    for _ in range(count):
        dx, dy = px - cx[i], py - cy[i]
        square = dx * dx + dy * dy
        if square < best_square:
            best, best_square = i, square
        i += 1
        if i == n:
            i = 0
    return best, math.sqrt(best_square)


@njit(cache=True)
def follow_curve(
    cx: Array, cy: Array, ch: Array, ck: Array, length: float, px: Array, py: Array, heading: Array
) -> tuple[Array, Array]:
    """Follow a path along a closed curve; see `lapwright.numerics.curves.project_path`."""
    n = cx.size
    step = length / n
    s_out = np.full(px.size, np.nan)
    n_out = np.full(px.size, np.nan)
    known = False
    index = 0
    total = 0.0
    last_x, last_y = 0.0, 0.0
    for j in range(px.size):
        if math.isnan(px[j]) or math.isnan(py[j]):
            continue
        distance = 1e9
        if known:
            moved = math.hypot(px[j] - last_x, py[j] - last_y)
            reach = int((1.5 * moved + 12.0) / step) + 2
            if 2 * reach + 1 < n:
                first = index - reach + n
                i, distance = _nearest_of(cx, cy, px[j], py[j], first, 2 * reach + 1)
        if distance > 80.0:
            i, distance = _nearest(cx, cy, ch, px[j], py[j], heading[j], 0, n)
        # Newton's method on (p − c(s))·t(s) = 0 with the curve as an arc about sample i.
        ds = 0.0
        offset = 0.0
        for _ in range(4):
            h = ch[i] + ck[i] * ds
            mid = ch[i] + 0.5 * ck[i] * ds
            qx = cx[i] + ds * math.cos(mid)
            qy = cy[i] + ds * math.sin(mid)
            along = (px[j] - qx) * math.cos(h) + (py[j] - qy) * math.sin(h)
            offset = -(px[j] - qx) * math.sin(h) + (py[j] - qy) * math.cos(h)
            before = ds
            ds += along / max(0.2, 1.0 - ck[i] * offset)
            ds = min(max(ds, -1.5 * step), 1.5 * step)
            if abs(ds - before) < CONVERGED_M:
                break
        place = i * step + ds
        if known:
            change = (place - total) % length
            if change > 0.5 * length:
                change -= length
            total += change
        else:
            total = place % length
            known = True
        index, last_x, last_y = i, px[j], py[j]
        s_out[j] = total
        n_out[j] = offset
    return s_out, n_out


@njit(cache=True, error_model="numpy")
def solve_periodic(before: Array, after: Array, right: Array) -> Array:
    """Solve before mᵢ₋₁ + mᵢ + after mᵢ₊₁ = right round a period.

    Thomas's elimination, begun so many rows early that its start is forgotten: with
    before + after = ½, a row passes on two thirds of an error and less.

    Parameters
    ----------
    before, after
        Shape (n,), positive.
    right
        Shape (n, columns).
    """
    n, columns = right.shape
    early = 100
    share = np.zeros(n)
    held = np.zeros((n, columns))
    c, d = 0.0, np.zeros(columns)
    for k in range(-early, n):
        i = k % n
        pivot = 1.0 - before[i] * c
        c = after[i] / pivot
        share[i] = c
        for j in range(columns):
            d[j] = (right[i, j] - before[i] * d[j]) / pivot
            held[i, j] = d[j]
    m = np.zeros((n, columns))
    for k in range(n + early - 1, -1, -1):
        i = k % n
        for j in range(columns):
            m[i, j] = held[i, j] - share[i] * m[(i + 1) % n, j]
    return m


@njit(cache=True, error_model="numpy")
def sum_cubics(knots: Array, values: Array, bends: Array, places: Array, order: int) -> Array:
    """Values of a cubic spline, or first or second derivatives; quickest at rising places.

    Parameters
    ----------
    values, bends
        Values and second derivatives at the k rising knots, shape (k, columns).
    places
        Shape (n,).
    """
    out = np.empty((places.size, values.shape[1]))
    i = 0
    for k in range(places.size):
        if i + 2 < knots.size and places[k] >= knots[i + 1]:
            i += 1
        if not knots[i] <= places[k] < knots[i + 1]:
            i = np.searchsorted(knots, places[k], "right") - 1
            i = min(max(i, 0), knots.size - 2)
        h = knots[i + 1] - knots[i]
        b = (places[k] - knots[i]) / h
        a = 1.0 - b
        for j in range(values.shape[1]):
            y0, y1, m0, m1 = values[i, j], values[i + 1, j], bends[i, j], bends[i + 1, j]
            if order == 2:
                out[k, j] = a * m0 + b * m1
            elif order == 1:
                bent = (3.0 * b * b - 1.0) * m1 - (3.0 * a * a - 1.0) * m0
                out[k, j] = (y1 - y0) / h + h / 6.0 * bent
            else:
                bent = (a * a * a - a) * m0 + (b * b * b - b) * m1
                out[k, j] = a * y0 + b * y1 + h * h / 6.0 * bent
    return out
