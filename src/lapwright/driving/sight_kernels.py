"""Compiled loops of sight: rays from the eye over the road's surface.

The surface is a strip of stations across the road; the columns of ``road`` are below.
``blocks`` bounds runs of `BLOCK` stations, ``boxes`` runs of `BOX` blocks: a box in the plane
and the highest point.
``walls`` holds upright faces, each from one point of the plane to another with the
height of its top at both.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call,no-any-return"
from __future__ import annotations

import math

import numpy as np
from numba import njit

# place, direction (cos, sin), slope to the left, edges, strips beside them and their rise
X, Y, Z, COS, SIN, CROSS, LEFT, RIGHT, BESIDE_LEFT, BESIDE_RIGHT, RISE_LEFT, RISE_RIGHT = range(12)
BRIDGE = 12  # 1 where the road runs over itself: what is under it stays in sight
EDGE_LEFT, EDGE_RIGHT = 13, 16  # points on the edges: x, y and z of each
COLUMNS = 19
#: Stations in a block, and blocks in a box of blocks.
BLOCK, BOX = 2, 32
X_LOW, X_HIGH, Y_LOW, Y_HIGH, TOP = range(5)
#: What has to be seen of a point stands this much above it: a ray along a surface is no proof, m.
ABOVE = 2e-5
#: A ray that passes this close over a station may still touch the twisted road beside it, m.
GRAZING = 0.03


@njit(cache=True, error_model="numpy")
def height_at(row, n):
    """Height of the surface at an offset of one station; NaN beyond what is known."""
    if n > row[LEFT]:
        out = n - row[LEFT]
        if out > row[BESIDE_LEFT]:
            return np.nan
        rise = row[RISE_LEFT] * out / row[BESIDE_LEFT]
        return row[Z] + row[LEFT] * row[CROSS] + rise
    if n < -row[RIGHT]:
        out = -row[RIGHT] - n
        if out > row[BESIDE_RIGHT]:
            return np.nan
        rise = row[RISE_RIGHT] * out / row[BESIDE_RIGHT]
        return row[Z] - row[RIGHT] * row[CROSS] + rise
    return row[Z] + n * row[CROSS]


@njit(cache=True, error_model="numpy")
def _over_ray(row, ex, ey, ez, dx, dy, dz):
    """Metres by which the surface at one station rises above a ray; NAN where they do not meet."""
    across = dx * row[COS] + dy * row[SIN]
    if abs(across) < 1e-9:
        return np.nan
    u = ((row[X] - ex) * row[COS] + (row[Y] - ey) * row[SIN]) / across
    if u <= 1e-6 or u >= 1.0 - 1e-9:
        return np.nan
    n = -(ex + u * dx - row[X]) * row[SIN] + (ey + u * dy - row[Y]) * row[COS]
    return height_at(row, n) - ez - u * dz


@njit(cache=True, error_model="numpy")
def _may_hide(block, ex, ey, ez, ix, iy, dz):
    """Tell whether a ray comes over a block's box no higher than the block's top.

    ``ix`` and ``iy`` are one over the ray's extent along x and y.
    """
    if block[TOP] < min(ez, ez + dz):
        return False
    a, b = (block[X_LOW] - ex) * ix, (block[X_HIGH] - ex) * ix
    low, high = max(min(a, b), 0.0), min(max(a, b), 1.0)
    if low > high:
        return False
    a, b = (block[Y_LOW] - ey) * iy, (block[Y_HIGH] - ey) * iy
    low, high = max(min(a, b), low), min(max(a, b), high)
    return low <= high and ez + (low if dz > 0.0 else high) * dz < block[TOP]


@njit(cache=True, error_model="numpy")
def _line_over_ray(ax, ay, az, bx, by, bz, ex, ey, ez, dx, dy, dz):
    """Metres by which a line in space from a to b passes over a ray; NAN where it does not."""
    left, right = dx * (ay - ey) - dy * (ax - ex), dx * (by - ey) - dy * (bx - ex)
    if left * right > 0.0 or left == right:
        return np.nan
    w = left / (left - right)
    along = (ax + w * (bx - ax) - ex) * dx + (ay + w * (by - ay) - ey) * dy
    u = along / (dx * dx + dy * dy)
    if u <= 1e-6 or u >= 1.0 - 1e-9:
        return np.nan
    return az + w * (bz - az) - ez - u * dz


@njit(cache=True, error_model="numpy")
def sees(road, blocks, boxes, walls, ex, ey, ez, px, py, pz):
    """Tell whether nothing known stands between the eye and a point."""
    dx, dy, dz = px - ex, py - ey, pz + ABOVE - ez
    for k in range(walls.shape[0]):
        ax, ay, az, bx, by, bz = walls[k]
        if _line_over_ray(ax, ay, az, bx, by, bz, ex, ey, ez, dx, dy, dz) > 0.0:
            return False
    # a ray along an axis has no extent across it: a nanometre serves as none
    ix, iy = 1.0 / (dx if abs(dx) > 1e-9 else 1e-9), 1.0 / (dy if abs(dy) > 1e-9 else 1e-9)
    for k in range(boxes.shape[0]):
        if _may_hide(boxes[k], ex, ey, ez, ix, iy, dz):
            for b in range(k * BOX, min((k + 1) * BOX, blocks.shape[0])):
                if _may_hide(blocks[b], ex, ey, ez, ix, iy, dz) and _run_hides(
                    road, b * BLOCK, ex, ey, ez, dx, dy, dz
                ):
                    return False
    return True


@njit(cache=True, error_model="numpy")
def _run_hides(road, first, ex, ey, ez, dx, dy, dz):
    """Tell whether one of a block's stations, or an edge on to the next one, hides."""
    size = road.shape[0]
    for i in range(first, min(first + BLOCK, size)):
        row, after = road[i], road[(i + 1) % size]
        if row[BRIDGE] > 0.0:
            continue
        over = _over_ray(row, ex, ey, ez, dx, dy, dz)
        near = over > -GRAZING
        if over > 0.0:
            return True
        for edge in (EDGE_LEFT, EDGE_RIGHT):
            over = _edge_over_ray(row, after, edge, ex, ey, ez, dx, dy, dz)
            near |= over > -GRAZING
            if over > 0.0:
                return True
        for side in (1.0, -1.0):
            beside = row[BESIDE_LEFT if side > 0 else BESIDE_RIGHT]
            if beside > 0.0 and _beside_hides(row, after, side, ex, ey, ez, dx, dy, dz):
                return True
        if near and (
            _twist_hides(row, after, ex, ey, ez, dx, dy, dz)
            or _twist_hides(road[i - 1], row, ex, ey, ez, dx, dy, dz)
        ):
            return True
    return False


@njit(cache=True, error_model="numpy")
def _twist_hides(row, after, ex, ey, ez, dx, dy, dz):
    """Tell whether the road between two stations, whose banking differs, rises above a ray."""
    for k in (0.25, 0.5, 0.75):
        a = row[EDGE_LEFT : EDGE_LEFT + 3] * (1.0 - k) + after[EDGE_LEFT : EDGE_LEFT + 3] * k
        b = row[EDGE_RIGHT : EDGE_RIGHT + 3] * (1.0 - k) + after[EDGE_RIGHT : EDGE_RIGHT + 3] * k
        if _line_over_ray(a[0], a[1], a[2], b[0], b[1], b[2], ex, ey, ez, dx, dy, dz) > 0.0:
            return True
    return False


@njit(cache=True, error_model="numpy")
def _edge_over_ray(row, after, edge, ex, ey, ez, dx, dy, dz):
    """Metres by which an edge between two stations passes over a ray; NAN where it does not."""
    return _line_over_ray(
        row[edge], row[edge + 1], row[edge + 2], after[edge], after[edge + 1], after[edge + 2],
        ex, ey, ez, dx, dy, dz,
    )  # fmt: skip


@njit(cache=True, error_model="numpy")
def _beside_hides(row, after, side, ex, ey, ez, dx, dy, dz):
    """Tell whether the outer side of what lies beside the road (1 left) rises above a ray."""
    ax, ay, az = _outer_point(row, side)
    bx, by, bz = _outer_point(after, side)
    return _line_over_ray(ax, ay, az, bx, by, bz, ex, ey, ez, dx, dy, dz) > 0.0


@njit(cache=True, error_model="numpy")
def _outer_point(row, side):
    """Outer side of what lies beside the road at one station."""
    n = row[LEFT] if side > 0 else row[RIGHT]
    z = row[Z] + side * n * row[CROSS] + (row[RISE_LEFT] if side > 0 else row[RISE_RIGHT])
    n += row[BESIDE_LEFT] if side > 0 else row[BESIDE_RIGHT]
    return row[X] - side * n * row[SIN], row[Y] + side * n * row[COS], z


@njit(cache=True, error_model="numpy")
def see_one(road, blocks, boxes, walls, eyes, point):
    """Tell from which eyes, shape (k, 3), a point is seen, shape (k,)."""
    out = np.zeros(eyes.shape[0], np.bool_)
    for k in range(eyes.shape[0]):
        out[k] = sees(
            road,
            blocks,
            boxes,
            walls,
            eyes[k, 0],
            eyes[k, 1],
            eyes[k, 2],
            point[0],
            point[1],
            point[2],
        )
    return out


@njit(cache=True, error_model="numpy")
def look_ahead(road, blocks, boxes, walls, eyes, place, step, reach, lift):
    """Metres along the road up to the first point of its middle that is hidden, shape (k,).

    ``place`` is where along the road each eye stands, ``lift`` the height over the road
    that has to be seen; what is seen all the way to ``reach`` gives ``reach``. The last
    point seen and the first one hidden are parted to a sixteenth of a step.
    """
    out = np.zeros(eyes.shape[0])
    point = np.zeros(3)
    for k in range(eyes.shape[0]):
        ex, ey, ez = eyes[k, 0], eyes[k, 1], eyes[k, 2]
        first = math.floor(place[k] / step) + 2
        seen = reach
        for j in range(first, first + int(reach / step) + 1):
            _middle(road, float(j), lift, point)
            if not sees(road, blocks, boxes, walls, ex, ey, ez, point[0], point[1], point[2]):
                low, high = float(j - 1), float(j)
                for _ in range(4):
                    mid = 0.5 * (low + high)
                    _middle(road, mid, lift, point)
                    if sees(road, blocks, boxes, walls, ex, ey, ez, point[0], point[1], point[2]):
                        low = mid
                    else:
                        high = mid
                seen = min(max(low * step - place[k], 0.0), reach)
                break
        out[k] = seen
    return out


@njit(cache=True, error_model="numpy")
def _middle(road, at, lift, out):
    """Write the point over the middle of the road at a place counted in stations."""
    n = road.shape[0]
    base = math.floor(at)
    part = at - base
    out[0], out[1], out[2] = 0.0, 0.0, 0.0
    for i, share in ((base % n, 1.0 - part), ((base + 1) % n, part)):
        row = road[i]
        off = 0.5 * (row[LEFT] - row[RIGHT])
        out[0] += share * (row[X] - off * row[SIN])
        out[1] += share * (row[Y] + off * row[COS])
        out[2] += share * (row[Z] + off * row[CROSS] + lift)
