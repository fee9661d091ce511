"""The invented circuit *Quillbeck*: road, heights, surfaces, landmarks.

Every length, angle and height here is invented. Signs: ``s`` metres along the
centre line in the horizontal plane, ``n`` metres to the left of it, left turns
positive, banking positive where the left edge is lifted, a compression has
positive vertical curvature.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Columns of ``Circuit.grid``.
GX, GY, GHEADING, GCURVE, GSLOPE, GBANK, GVERT, GLEFT, GRIGHT = range(9)
GKERB_LEFT, GKERB_RIGHT, GKERB_GRIP, GGRIP, GROUGH, GZ = range(9, 15)
GRID_COLUMNS = 15


@dataclass(frozen=True, slots=True)
class Landmark:
    """A named thing beside the road, seen from the driver's seat."""

    name: str
    at_m: float
    off_m: float
    height_m: float
    x: float
    y: float
    z: float


@dataclass(frozen=True, slots=True)
class Span:
    """A kerb or a patch between two offsets (left positive), with its grip and roughness."""

    kind: str
    name: str
    start_m: float
    end_m: float
    left_m: float
    right_m: float
    grip_factor: float
    roughness: float


@dataclass(frozen=True, slots=True)
class Bend:
    """One corner by construction; ``angle`` in rad, left positive, places in m."""

    number: int
    name: str
    start_m: float
    apex_m: float
    end_m: float
    angle: float
    radius_m: float
    complex: str | None


@dataclass(frozen=True, slots=True)
class Circuit:
    """A closed road at a step of about one metre.

    Parameters
    ----------
    grid
        Shape (n + 1, GRID_COLUMNS); the last row repeats the first, heading unwrapped.
    runoff_left, runoff_right
        Shape (n,), metres of run-off beyond the kerb.
    """

    name: str
    length_m: float
    step_m: float
    grid: Array
    bends: tuple[Bend, ...]
    landmarks: tuple[Landmark, ...]
    spans: tuple[Span, ...]
    runoff_left: Array
    runoff_right: Array
    runoff_grip: float

    @property
    def s(self) -> Array:
        """Places of the grid's rows, shape (n + 1,), in m."""
        return np.arange(self.grid.shape[0], dtype=np.float64) * self.step_m


# name, angle deg, radius m, transition m, straight before m, complex
_BENDS = (
    ("Lantern", -75.94, 48.0, 30.0, 430.51, None),
    ("Sallow", 63.66, 62.0, 35.0, 40.13, None),
    ("Heron Elbow", -111.60, 24.0, 26.0, 303.64, None),
    ("Skyline", -38.89, 215.0, 60.0, 326.67, None),
    ("Low Barn", -64.07, 58.0, 40.0, 129.19, "The Shuttles"),
    ("Shuttle One", 70.00, 46.0, 35.0, 48.66, "The Shuttles"),
    ("Shuttle Two", -59.48, 55.0, 35.0, 29.20, "The Shuttles"),
    ("Thistle", 44.31, 75.0, 40.0, 57.52, "The Shuttles"),
    ("Longwing", -68.06, 195.0, 70.0, 228.84, None),
    ("Cinder", 52.78, 95.0, 45.0, 209.07, None),
    ("Millrace", -150.24, 21.0, 26.0, 114.64, None),
    ("Gate", -22.46, 160.0, 40.0, 380.94, None),
)
_LAST_STRAIGHT = 383.50

# bumps of height: centre m, height m, standard length m
_HEIGHTS = (
    (1385.0, 5.0, 65.0),  # the blind crest before Skyline
    (1700.0, -4.2, 62.0),  # the compression at Low Barn
    (1150.0, 7.0, 260.0),
    (2500.0, 6.0, 330.0),
    (3250.0, 9.0, 240.0),
    (500.0, -3.0, 150.0),
)
# bend number: degrees, positive helps the corner
_BANKING = {1: 1.0, 3: 3.0, 4: 0.5, 5: 2.0, 8: 1.0, 9: 2.5, 10: -1.5, 11: 4.0}
_ROUGH_PATCH = (2830.0, 2905.0, 0.94, 0.12)

# name, bend (0 = from the start line), metres from the bend's start, side, off the edge, height
_LANDMARKS = (
    ("timing hut", 0, 0.0, "R", 6.0, 3.0),
    ("first hundred board", 1, -100.0, "L", 3.0, 1.2),
    ("fifty board", 1, -50.0, "L", 3.0, 1.2),
    ("birch pair", 1, 55.0, "L", 22.0, 9.0),
    ("Sallow marshal post", 2, 30.0, "L", 9.0, 2.6),
    ("drain cover", 2, 95.0, "R", -0.8, 0.0),
    ("white gatepost", 3, -105.0, "R", 4.0, 1.4),
    ("Heron hundred board", 3, -100.0, "L", 3.0, 1.2),
    ("Heron tyre stack", 3, 40.0, "L", 14.0, 1.5),
    ("water tower", 4, 260.0, "L", 60.0, 21.0),
    ("crest pole", 4, -40.0, "R", 4.0, 2.4),
    ("chapel roof", 4, 190.0, "R", 75.0, 14.0),
    ("barn corner", 5, -70.0, "R", 8.0, 6.0),
    ("barn door", 5, 10.0, "R", 11.0, 3.0),
    ("yellow post", 6, -25.0, "L", 3.0, 1.2),
    ("Shuttle marshal post", 7, -10.0, "R", 7.0, 2.6),
    ("thistle bank", 8, 20.0, "L", 5.0, 1.0),
    ("footbridge", 9, -110.0, "L", 5.0, 6.5),
    ("grey silo", 9, 120.0, "L", 40.0, 17.0),
    ("new asphalt seam", 10, -96.0, "R", -2.0, 0.0),
    ("Cinder board", 10, -60.0, "R", 3.0, 1.2),
    ("mill chimney", 11, 25.0, "L", 35.0, 19.0),
    ("Millrace hundred board", 11, -100.0, "R", 3.0, 1.2),
    ("sluice post", 11, -28.7, "L", 7.0, 1.6),
    ("Gate left pillar", 12, -35.0, "L", 5.0, 3.2),
    ("Gate right pillar", 12, -35.0, "R", 5.0, 3.2),
)


def _pieces() -> tuple[Array, tuple[Bend, ...]]:
    """Rows of (start, length, curvature at start, at end), and the bends."""
    rows: list[tuple[float, float, float, float]] = []
    bends = []
    at = 0.0
    for number, (name, angle, radius, ramp, straight, group) in enumerate(_BENDS, 1):
        rows.append((at, straight, 0.0, 0.0))
        at += straight
        curve = np.sign(angle) / radius
        arc = max(np.radians(abs(angle)) * radius - ramp, 1.0)
        for length, first, last in ((ramp, 0.0, curve), (arc, curve, curve), (ramp, curve, 0.0)):
            rows.append((at, length, first, last))
            at += length
        start = at - arc - 2 * ramp
        bends.append(
            Bend(number, name, start, (start + at) / 2, at, np.radians(angle), radius, group)
        )
    rows.append((at, _LAST_STRAIGHT, 0.0, 0.0))
    return np.array(rows), tuple(bends)


def _curve_at(s: Array, rows: Array) -> Array:
    """Curvature of the piecewise linear plan at ``s``, shape of ``s``, in 1/m."""
    i = np.clip(np.searchsorted(rows[:, 0], s, side="right") - 1, 0, rows.shape[0] - 1)
    return np.asarray(
        rows[i, 2] + (rows[i, 3] - rows[i, 2]) * (s - rows[i, 0]) / rows[i, 1], dtype=np.float64
    )


def _plan_view(rows: Array, fine: int, n: int, length: float) -> tuple[Array, ...]:
    """x, y, heading and curvature at n + 1 places; the closing error is spread over the lap."""
    total = n * fine
    ds = length / total
    curve = _curve_at((np.arange(total, dtype=np.float64) + 0.5) * ds, rows)
    curve *= -2 * np.pi / (curve.sum() * ds)
    heading = np.concatenate([[0.0], np.cumsum(curve) * ds])
    middle = (heading[1:] + heading[:-1]) / 2
    x = np.concatenate([[0.0], np.cumsum(np.cos(middle)) * ds])
    y = np.concatenate([[0.0], np.cumsum(np.sin(middle)) * ds])
    share = np.arange(total + 1) / total
    x, y = x - share * x[-1], y - share * y[-1]
    k = np.interp(np.arange(n + 1) * fine * ds, (np.arange(total) + 0.5) * ds, curve)
    return x[::fine], y[::fine], heading[::fine], k


def _smooth_bumps(s: Array, length: float) -> Array:
    """Heights of the centre line at ``s``, periodic, in m."""
    z = np.zeros_like(s)
    for centre, height, spread in _HEIGHTS:
        away = (s - centre + length / 2) % length - length / 2
        z += height * np.exp(-0.5 * (away / spread) ** 2)
    return z


def _banking(s: Array, bends: tuple[Bend, ...]) -> Array:
    """Banking in rad at ``s``; it grows and fades over the bend's ends."""
    bank = np.zeros_like(s)
    for bend in bends:
        degrees = _BANKING.get(bend.number, 0.0)
        middle, half = (bend.start_m + bend.end_m) / 2, (bend.end_m - bend.start_m) / 2 + 20.0
        shape = np.clip((half - np.abs(s - middle)) / 40.0, 0.0, 1.0)
        shape = shape * shape * (3 - 2 * shape)
        bank += -np.sign(bend.angle) * np.radians(degrees) * shape
    return bank


def _kerbs(bends: tuple[Bend, ...], left: Array, right: Array, step: float) -> list[Span]:
    """Lay a kerb inside around each apex and outside at each exit."""
    spans = []
    for bend in bends:
        inside = 1.0 if bend.angle > 0 else -1.0
        half = 0.28 * (bend.end_m - bend.start_m)
        places = (
            ("apex kerb", bend.apex_m - half, bend.apex_m + half, inside),
            ("exit kerb", bend.end_m - 18.0, bend.end_m + 32.0, -inside),
        )
        for what, start, end, side in places:
            edge = float((left if side > 0 else right)[int(bend.apex_m / step)])
            inner, outer = side * edge, side * (edge + 1.2)
            spans.append(
                Span(
                    "kerb",
                    f"{bend.name} {what}",
                    start,
                    end,
                    max(inner, outer),
                    min(inner, outer),
                    0.93,
                    0.10,
                )
            )
    return spans


def _landmarks(grid: Array, bends: tuple[Bend, ...], step: float) -> tuple[Landmark, ...]:
    """Landmarks placed in the plane beside the road."""
    found = []
    n = grid.shape[0] - 1
    for name, number, along, side, off, height in _LANDMARKS:
        at = along if number == 0 else bends[number - 1].start_m + along
        row = grid[round(at / step) % n]
        offset = (row[GLEFT] + off) if side == "L" else -(row[GRIGHT] + off)
        x = row[GX] - offset * np.sin(row[GHEADING])
        y = row[GY] + offset * np.cos(row[GHEADING])
        z = row[GZ] + np.tan(row[GBANK]) * np.clip(offset, -8.0, 8.0)
        found.append(Landmark(name, at, float(offset), height, float(x), float(y), float(z)))
    return tuple(found)


def _fill_kerbs(grid: Array, spans: list[Span], step: float) -> None:
    """Write the widths of the kerbs into the grid, in place."""
    for span in spans:
        rows = slice(int(span.start_m / step), int(span.end_m / step) + 1)
        column = GKERB_LEFT if span.left_m > 0 else GKERB_RIGHT
        grid[rows, column] = span.left_m - span.right_m


@lru_cache(maxsize=2)
def quillbeck() -> Circuit:
    """Build the demo's circuit, 4.16 km, clockwise, twelve corners; wholly invented."""
    rows, bends = _pieces()
    length = float(rows[-1, 0] + rows[-1, 1])
    n = round(length)
    step = length / n
    s = np.arange(n + 1, dtype=np.float64) * step
    x, y, heading, curve = _plan_view(rows, 10, n, length)
    grid = np.zeros((n + 1, GRID_COLUMNS))
    grid[:, GX], grid[:, GY], grid[:, GHEADING], grid[:, GCURVE] = x, y, heading, curve
    z = _smooth_bumps(s, length)
    z -= z[0]
    grid[:, GZ] = z
    slope = (np.roll(z[:-1], -1) - np.roll(z[:-1], 1)) / (2 * step)
    vert = (np.roll(z[:-1], -1) - 2 * z[:-1] + np.roll(z[:-1], 1)) / step**2
    grid[:, GSLOPE], grid[:, GVERT] = np.append(slope, slope[0]), np.append(vert, vert[0])
    grid[:, GBANK] = _banking(s, bends)
    wide = 0.6 * np.exp(-0.5 * ((s - 250.0) / 300.0) ** 2)
    grid[:, GLEFT], grid[:, GRIGHT] = 5.5 + wide, 5.5 + wide
    kerbs = _kerbs(bends, grid[:, GLEFT], grid[:, GRIGHT], step)
    _fill_kerbs(grid, kerbs, step)
    grid[:, GKERB_GRIP], grid[:, GGRIP] = 0.93, 1.0
    first, last, grip, rough = _ROUGH_PATCH
    patch = (s >= first) & (s <= last)
    grid[patch, GGRIP], grid[patch, GROUGH] = grip, rough
    spans = (*kerbs, Span("patch", "Cinder rough patch", first, last, 5.5, -5.5, grip, rough))
    outside = np.interp(
        s[:-1],
        [0, 380, 700, 900, 1400, 1700, 3000, 3300, length],
        [8, 8, 18, 25, 12, 15, 20, 25, 8],
    )
    return Circuit(
        "Quillbeck",
        length,
        step,
        grid,
        bends,
        _landmarks(grid, bends, step),
        spans,
        outside,
        np.full(n, 9.0),
        0.55,
    )
