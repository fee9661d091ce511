"""What physics says about channels: the same windowed means of both sides of an equation.

A derivative is compared through differences over a window and the other side
through its mean over the same window, so that both pass the same filter and a
slope of 1 is exact for clean data: ``mean(dx/dt) = (x(t+h) − x(t−h)) / 2h``.
"""

from __future__ import annotations

from dataclasses import dataclass
from operator import is_

import numpy as np
from numpy.typing import NDArray

from lapwright.model.amend import blank_marked, find_place_names
from lapwright.model.recording import Channel, Recording

Array = NDArray[np.float64]

_GRID_HZ = 10.0
_HALF_WINDOW_S = 0.5
#: Noisy positions need longer windows: with a half window of sqrt(2 σ) seconds the noise of the
#: path's turning rate, σ / (v h²), stays near 0.5 / v rad/s.
_LONGEST_HALF_S = 1.5
_EARTH_A = 6378137.0
_EARTH_E2 = 6.69437999014e-3
#: Channels that evidence is made of.
_READ = ("x", "y", "latitude", "longitude", "speed", "velocity_forward")
#: Below this speed the direction of travel says nothing.
SLOW_MPS = 5.0


@dataclass(frozen=True, slots=True)
class Evidence:
    """Quantities on one grid, each of shape (m,), NaN where unknown; None where not logged.

    Parameters
    ----------
    time
        Seconds, 10 per second or fewer.
    path_speed, path_course, path_rate
        Speed in m/s, direction in rad and its rate in rad/s, from positions.
    east, north
        Components of the velocity from positions in m/s.
    speed
        Logged speed, or else the logged velocity components, or else the path's.
    speed_rate
        Its rate of change in m/s^2.
    half_window
        h in seconds.
    """

    time: Array
    half_window: float
    speed: Array | None
    speed_rate: Array | None
    path_speed: Array | None = None
    path_course: Array | None = None
    path_rate: Array | None = None
    east: Array | None = None
    north: Array | None = None


@dataclass(frozen=True, slots=True)
class Fit:
    """A line through the origin: median ratio, correlation, spread of ratios, pairs used."""

    slope: float
    r: float
    spread: float
    n: int


def project_plane(latitude: Array, longitude: Array) -> tuple[Array, Array]:
    """Put WGS 84 degrees on a local plane: metres east and north, good to 0.1 % over 10 km."""
    known = np.isfinite(latitude) & np.isfinite(longitude)
    lat0 = np.radians(np.median(latitude[known])) if known.any() else 0.0
    lon0 = np.median(longitude[known]) if known.any() else 0.0
    w = np.sqrt(1.0 - _EARTH_E2 * np.sin(lat0) ** 2)
    east = np.radians(longitude - lon0) * _EARTH_A / w * np.cos(lat0)
    north = (np.radians(latitude) - lat0) * _EARTH_A * (1.0 - _EARTH_E2) / w**3
    return np.asarray(east), np.asarray(north)


def find_plane(recording: Recording) -> tuple[Array, Array, Array] | None:
    """Find positions in metres: time, x and y of trusted samples, each of shape (n,)."""
    names = find_place_names(recording)
    if names is None:
        return None
    first, second = (blank_marked(recording, n) for n in names)
    if first.time.size != second.time.size:
        return None
    known = np.isfinite(first.values) & np.isfinite(second.values)
    if known.sum() < 5:
        return None
    a, b = first.values[known], second.values[known]
    if names[0] == "latitude":
        a, b = project_plane(a, b)
    return first.time[known], a, b


def find_noise(t: Array, x: Array, y: Array) -> float:
    """Noise of positions in metres for each axis, from third differences.

    The variance of a third difference is 1 + 9 + 9 + 1 = 20 times the noise's;
    the median of a Rayleigh variable is 1.1774 times its scale. At low rates
    the path's own shape adds to the figure.
    """
    usual = np.diff(t) < 2.5 * float(np.median(np.diff(t)))
    whole = usual[:-2] & usual[1:-1] & usual[2:]
    third = np.hypot(np.diff(x, 3), np.diff(y, 3))[whole]
    return float(np.median(third) / 1.1774 / np.sqrt(20.0)) if third.size else 0.0


def build_evidence(recording: Recording) -> Evidence | None:
    """Build the grid of comparable quantities; None for a recording too short to judge.

    That of the last recording is kept: one check after the other asks for the same.
    """
    shown = _list_shown(recording)
    kept = _KEPT.get("last")
    if kept is not None and len(kept[0]) == len(shown) and all(map(is_, kept[0], shown)):
        return kept[1]
    evidence = _build_evidence(recording)
    _KEPT["last"] = shown, evidence
    return evidence


_KEPT: dict[str, tuple[tuple[object, ...], Evidence | None]] = {}


def _list_shown(recording: Recording) -> tuple[object, ...]:
    """List what evidence is made of: these channels, what is marked in them, all clocks."""
    channels = recording.channels.values()
    return (
        *(channel if channel.name in _READ else channel.time for channel in channels),
        *(span for span in recording.marked if span.channel in _READ),
    )


def _build_evidence(recording: Recording) -> Evidence | None:
    moving = [c for c in recording.channels.values() if c.name not in ("time", "utc")]
    if not moving:
        return None
    start = min(float(c.time[0]) for c in moving)
    end = max(float(c.time[-1]) for c in moving)
    place = find_plane(recording)
    step = float(np.median(np.diff(place[0]))) if place is not None else 0.1
    half = max(_HALF_WINDOW_S, step)
    if place is not None:
        half = max(half, min(np.sqrt(2.0 * find_noise(*place)), _LONGEST_HALF_S))
    if end - start < 20.0:
        return None
    time = _build_grid(moving, max(1.0 / _GRID_HZ, step), start + 2 * half, end - 2 * half)
    speed = _find_speed(recording, time, half)
    evidence = Evidence(time, half, *(speed or (None, None)))
    return evidence if place is None else _add_path(evidence, *place)


def _build_grid(channels: list[Channel], step: float, start: float, end: float) -> Array:
    """Multiples of a step at which the channel with most samples has one nearby.

    A gap of weeks, as a faulty clock makes it, costs nothing.
    """
    busiest = max(channels, key=lambda c: c.time.size)
    grid = np.unique(np.round(busiest.time / step)) * step
    return np.asarray(grid[(grid >= start) & (grid <= end)])


def _find_speed(recording: Recording, time: Array, half: float) -> tuple[Array, Array] | None:
    if "speed" in recording.channels:
        channel = blank_marked(recording, "speed")
    elif "velocity_forward" in recording.channels:
        channel = blank_marked(recording, "velocity_forward")
    else:
        return None
    return mean_over(channel, time, half), rate_over(channel, time, half)


def _add_path(evidence: Evidence, t: Array, x: Array, y: Array) -> Evidence:
    half, time = evidence.half_window, evidence.time
    gap = max(2.5 * float(np.median(np.diff(t))), 0.3)
    east = _difference(t, x, time, half, gap)
    north = _difference(t, y, time, half, gap)
    path_speed = np.hypot(east, north)
    course = _course(t, x, y, time, half / 2, gap)
    before = _course(t, x, y, time - half, half / 2, gap)
    after = _course(t, x, y, time + half, half / 2, gap)
    rate = wrap(after - before) / (2 * half)
    rate = np.where(path_speed > SLOW_MPS, rate, np.nan)
    speed, speed_rate = evidence.speed, evidence.speed_rate
    if speed is None:
        speed = path_speed
        after = np.hypot(*(_difference(t, c, time + half, half, gap) for c in (x, y)))
        before = np.hypot(*(_difference(t, c, time - half, half, gap) for c in (x, y)))
        speed_rate = (after - before) / (2 * half)
    return Evidence(time, half, speed, speed_rate, path_speed, course, rate, east, north)


def _course(t: Array, x: Array, y: Array, time: Array, half: float, gap: float) -> Array:
    dx = _difference(t, x, time, half, gap)
    dy = _difference(t, y, time, half, gap)
    return np.asarray(np.where(np.hypot(dx, dy) > SLOW_MPS, np.arctan2(dy, dx), np.nan))


def wrap(angle: Array) -> Array:
    """Bring angles in rad, any shape, into −π to π."""
    return np.asarray((angle + np.pi) % (2.0 * np.pi) - np.pi)


def _difference(t: Array, values: Array, time: Array, half: float, gap: float) -> Array:
    """Mean rate of change over ``time ± half``; NaN where a gap lies inside."""
    rise = np.interp(time + half, t, values) - np.interp(time - half, t, values)
    return np.asarray(np.where(_is_whole(t, time, half, gap), rise / (2.0 * half), np.nan))


def _is_whole(t: Array, time: Array, half: float, gap: float) -> NDArray[np.bool_]:
    """Whether no gap in the samples touches ``time ± half``."""
    wide = np.flatnonzero(np.diff(t) > gap)
    whole = (time - half >= t[0]) & (time + half <= t[-1])
    begun = np.searchsorted(t[wide], time + half, side="left")
    ended = np.searchsorted(t[wide + 1], time - half, side="right")
    whole &= begun == ended
    return np.asarray(whole)


def mean_over(channel: Channel, time: Array, half: float) -> Array:
    """Mean of a channel over ``time ± half``, shape of ``time``, NaN near gaps."""
    t, values = _known(channel)
    if t.size < 3:
        return np.full(time.size, np.nan)
    area = np.concatenate([np.zeros(1), np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(t))])
    gap = max(2.5 * float(np.median(np.diff(t))), 0.3)
    return _difference(t, area, time, half, gap)


def mean_twice(channel: Channel, evidence: Evidence) -> Array:
    """Mean of a channel under the window that the path's turning rate passes.

    That rate is a difference over ``± h`` of courses that are themselves means over ``± h/2``.
    """
    h = evidence.half_window
    shifts = np.linspace(-h / 2, h / 2, 5)
    return np.asarray(np.mean([mean_over(channel, evidence.time + d, h) for d in shifts], axis=0))


def rate_over(channel: Channel, time: Array, half: float) -> Array:
    """Mean rate of change of a channel over ``time ± half``, NaN near gaps."""
    t, values = _known(channel)
    if t.size < 3:
        return np.full(time.size, np.nan)
    gap = max(2.5 * float(np.median(np.diff(t))), 0.3)
    return _difference(t, values, time, half, gap)


def _known(channel: Channel) -> tuple[Array, Array]:
    known = np.isfinite(channel.values)
    return channel.time[known], channel.values[known]


def _offset_at_zero(x: Array, y: Array, least: float) -> float:
    """Median of y where x is small; 0 when x is hardly ever small."""
    small = np.abs(x) < 0.3 * least
    return float(np.median(y[small])) if small.sum() >= 30 else 0.0


def fit_ratio(x: Array, y: Array, least: float, enough: int = 50) -> Fit | None:
    """Fit ``y = slope * x + offset`` robustly; None when there is too little to judge.

    Parameters
    ----------
    x, y
        Shape (m,), NaN where unknown.
    least
        Pairs with a smaller ``abs(x)`` say nothing about the slope.
    enough
        Pairs needed.
    """
    known = np.isfinite(x) & np.isfinite(y)
    x, y = x[known], y[known]
    strong = np.abs(x) >= least
    if strong.sum() < enough:
        return None
    ratios = (y[strong] - _offset_at_zero(x, y, least)) / x[strong]
    slope = float(np.median(ratios))
    spread = float(1.4826 * np.median(np.abs(ratios - slope)))
    return Fit(slope, _correlate(x, y), spread, int(strong.sum()))


def _correlate(x: Array, y: Array) -> float:
    """Correlation after the outer 2 % of either side are drawn in, so that no glitch decides."""
    x, y = (np.clip(c, *np.percentile(c, [2.0, 98.0])) for c in (x, y))
    if np.std(x) == 0.0 or np.std(y) == 0.0:
        return 0.0
    return float(np.corrcoef(x, y)[0, 1])
