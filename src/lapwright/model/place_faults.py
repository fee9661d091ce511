"""Faults of logged positions: no fix, gaps, frozen stretches, jumps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.model.amend import (
    find_place_names,
    mark,
    note_repairs,
    put_channels,
    say,
    whole_span,
)
from lapwright.model.plausible import project_plane
from lapwright.model.recording import Recording, Span

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: A gap is longer than this many native steps and than `_GAP_S` (common practice, no source).
_GAP_STEPS = 2.5
_GAP_S = 0.3
#: A position that stands still this long, beyond its native step, above `_MOVING_MPS` is frozen.
_FROZEN_S = 0.5
_MOVING_MPS = 5.0
#: A jump lies this many robust standard deviations and at least so many metres off the path.
_JUMP_SIGMA = 6.0
_JUMP_M = 1.0
#: Samples off the path for no longer than this are removed; longer ones are a shifted stretch.
_JUMP_S = 0.5
_SHIFT_S = 60.0
_MOST_JUMPS, _MOST_BETWEEN = 2000, 20
#: Positions in steps coarser than this say nothing about a line.
_COARSE_M = 0.7
#: More findings of one kind than this are said in one message.
_LISTED = 4


@dataclass(frozen=True, slots=True)
class _Place:
    """Known positions in metres: sample indices, time, x, y, each of shape (n,)."""

    names: tuple[str, str]
    index: IntArray
    time: Array
    x: Array
    y: Array

    @property
    def step(self) -> float:
        return float(np.median(np.diff(self.time)))


def repair_place(recording: Recording) -> Recording:
    """Remove zeros and jumps, mark gaps, frozen and shifted stretches of the position."""
    recording = _mark_gaps(_drop_no_fix(recording))
    coarse = _find_coarseness(recording)
    if coarse > _COARSE_M:
        return _say_coarse(recording, coarse)
    return _remove_jumps(_mark_frozen(recording))


def _find_coarseness(recording: Recording) -> float:
    """Distance in metres between neighbouring values of the position; 0 when not known."""
    place = _read_place(recording)
    if place is None:
        return 0.0
    steps = [np.diff(np.unique(np.round(v, 4))) for v in (place.x[:5000], place.y[:5000])]
    return max((float(s.min()) for s in steps if s.size), default=0.0)


def _say_coarse(recording: Recording, coarse: float) -> Recording:
    """Say that positions were written with too few decimals, and mark them."""
    names = find_place_names(recording)
    assert names is not None
    found = f"steps of {coarse:.1f} m: too few decimals"
    recording = say(
        recording, "flagged", names, found, "No statement on line, kerbs or track use",
        "Export with 7 decimals",
    )  # fmt: skip
    return mark(recording, [whole_span(recording.channels[n], "coarse") for n in names])


def _read_place(recording: Recording) -> _Place | None:
    names = find_place_names(recording)
    if names is None:
        return None
    first, second = (recording.channels[n] for n in names)
    if first.time.size != second.time.size:
        return None
    index = np.flatnonzero(np.isfinite(first.values) & np.isfinite(second.values))
    if index.size < 10:
        return None
    x, y = first.values[index], second.values[index]
    if names[0] == "latitude":
        x, y = project_plane(x, y)
    return _Place(names, index, first.time[index], x, y)


def _blank(recording: Recording, names: tuple[str, str], at: IntArray, what: str) -> Recording:
    """Set samples of both channels to missing and list them as repaired."""
    for name in names:
        channel = recording.channels[name]
        values = channel.values.copy()
        values[at] = np.nan
        recording = put_channels(recording, replace(channel, values=values))
        spans = [
            Span(name, float(channel.time[a]), float(channel.time[b]), what) for a, b in _runs(at)
        ]
        recording = note_repairs(recording, spans)
    return recording


def _runs(at: IntArray) -> Iterator[tuple[int, int]]:
    """First and last of each run of consecutive indices."""
    if at.size:
        for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1):
            yield int(run[0]), int(run[-1])


def _drop_no_fix(recording: Recording) -> Recording:
    """Drop the 0, 0 that a receiver writes while it has no fix."""
    names = find_place_names(recording)
    if names is None or names[0] != "latitude":
        return recording
    first, second = (recording.channels[n] for n in names)
    if first.time.size != second.time.size:
        return recording
    at = np.flatnonzero((first.values == 0.0) & (second.values == 0.0))
    if not at.size or at.size > 0.9 * first.time.size:
        return recording
    start = float(first.time[at[0]]), float(first.time[at[-1]])
    leading = at.size == at[-1] + 1
    where = "0, 0 before the first fix" if leading else "0, 0 without a fix"
    recording = say(
        recording, "repaired", names, f"{at.size} samples at {where}", "Dropped", span=start
    )
    return _blank(recording, names, at, "no fix")


def _mark_gaps(recording: Recording) -> Recording:
    place = _read_place(recording)
    if place is None:
        return recording
    longest = max(_GAP_STEPS * place.step, _GAP_S)
    wide = np.flatnonzero(np.diff(place.time) > longest)
    gaps = [_Gap(place, int(k)) for k in wide]
    spans = [Span(n, g.start, g.end, "no position") for g in gaps for n in place.names]
    recording = mark(recording, spans)
    by_motion = "speed" in recording.channels or "velocity_forward" in recording.channels
    bridged = "Marked; to be bridged by " + ("speed" if by_motion else "a smooth path")
    bridged += " and yaw rate" if "yaw_rate" in recording.channels and by_motion else ""
    for gap in gaps[: _LISTED if len(gaps) > _LISTED else None]:
        found = f"no position for {gap.length:.1f} s (about {gap.distance:.0f} m)"
        recording = say(
            recording, "flagged", place.names, found, f"{bridged}. Line not judged there",
            span=(gap.start, gap.end),
        )  # fmt: skip
    if len(gaps) > _LISTED:
        rest = gaps[_LISTED:]
        found = f"{len(rest)} more gaps, the longest {max(g.length for g in rest):.1f} s"
        span = (rest[0].start, rest[-1].end)
        recording = say(recording, "flagged", place.names, found, bridged, span=span)
    return recording


@dataclass(frozen=True, slots=True)
class _Gap:
    place: _Place
    before: int

    @property
    def start(self) -> float:
        return float(self.place.time[self.before])

    @property
    def end(self) -> float:
        return float(self.place.time[self.before + 1])

    @property
    def length(self) -> float:
        return self.end - self.start

    @property
    def distance(self) -> float:
        k, p = self.before, self.place
        return float(np.hypot(p.x[k + 1] - p.x[k], p.y[k + 1] - p.y[k]))


def _mark_frozen(recording: Recording) -> Recording:
    """Mark stretches in which the position stands still though the car moves."""
    place = _read_place(recording)
    speed = recording.channels.get("speed") or recording.channels.get("velocity_forward")
    if place is None or speed is None:
        return recording
    moved = (np.diff(place.x) != 0.0) | (np.diff(place.y) != 0.0)
    known = np.isfinite(speed.values)
    if not known.any():
        return recording
    for first, last in _runs(np.flatnonzero(~moved)):
        start, end = float(place.time[first]), float(place.time[last + 1])
        inside = known & (speed.time >= start) & (speed.time <= end)
        if end - start < _FROZEN_S + place.step or not inside.any():
            continue
        usual = float(np.median(speed.values[inside]))
        if usual > _MOVING_MPS:
            recording = mark(recording, [Span(n, start, end, "frozen") for n in place.names])
            found = f"position stands still at {usual:.0f} m/s"
            recording = say(
                recording, "flagged", place.names, found, "Marked as frozen", span=(start, end)
            )
    return recording


def _remove_jumps(recording: Recording) -> Recording:
    """Remove short stretches off the path; mark longer ones that come back."""
    place = _read_place(recording)
    if place is None:
        return recording
    jumps = _find_jumps(place)
    removed: list[int] = []
    sizes: list[float] = []
    for first, last, size in jumps:
        start, end = float(place.time[first]), float(place.time[last])
        if end - start <= _JUMP_S:
            removed += range(first, last + 1)
            sizes += [size]
            continue
        found = f"path lies {size:.0f} m beside its course and jumps back"
        spans = [Span(n, start, end, "shifted") for n in place.names]
        recording = say(
            mark(recording, spans), "flagged", place.names, found, "Line not judged there",
            span=(start, end),
        )  # fmt: skip
    if not removed:
        return recording
    at = place.index[np.array(removed)]
    return _blank(_say_removed(recording, place, removed, sizes), place.names, at, "jump removed")


def _say_removed(
    recording: Recording, place: _Place, removed: list[int], sizes: list[float]
) -> Recording:
    shown = [f"{size:.0f} m" for size in sizes]
    many = len(shown) > _LISTED
    how_far = (
        f"up to {max(sizes):.0f} m"
        if many
        else " and ".join([part for part in (", ".join(shown[:-1]), shown[-1]) if part])
    )
    n = len(removed)
    found = f"{n} {'sample' if n == 1 else 'samples'} {how_far} off the path"
    span = float(place.time[removed[0]]), float(place.time[removed[-1]])
    gap = 2.0 * place.step
    done = f"Removed, {'gap' if n == 1 else 'gaps'} of {gap:.2f} s bridged"
    return say(recording, "repaired", place.names, found, done, span=span)


def _find_jumps(place: _Place) -> list[tuple[int, int, float]]:
    """Find stretches off the path: first and last sample, and how far off in metres.

    The innovation of a step is its difference from what the steps around it
    (their median) predict; second differences alone only choose candidates,
    since those of noisy positions say nothing.
    """
    step = np.diff(place.time)
    vx, vy = np.diff(place.x) / step, np.diff(place.y) / step
    second = np.hypot(np.diff(vx), np.diff(vy)) * step[1:]
    # The median of a Rayleigh variable is 1.1774 times its scale; white noise gives a second
    # difference sqrt(6) and an innovation, as a difference against a median, sqrt(2.2) of it.
    scale = float(np.median(second)) / 1.1774 * np.sqrt(2.2 / 6.0)
    threshold = max(_JUMP_SIGMA * float(scale), _JUMP_M)
    nearby = np.flatnonzero(second > threshold)
    # Positions that jump without end are beyond repair: the largest jumps are enough to say so.
    nearby = nearby[np.argsort(second[nearby])[-_MOST_JUMPS:]]
    candidates = np.unique(np.concatenate([nearby, nearby + 1]))
    half = max(3, round(0.25 / place.step))
    usable = step < max(_GAP_STEPS * place.step, _GAP_S)
    off: list[tuple[int, float, float]] = []
    for k in candidates:
        around = slice(max(k - half, 0), k + half + 1)
        ex = (vx[k] - np.median(vx[around])) * step[k]
        ey = (vy[k] - np.median(vy[around])) * step[k]
        if usable[k] and np.hypot(ex, ey) > threshold:
            off.append((int(k), float(ex), float(ey)))
    return _pair_jumps(place, off)


def _pair_jumps(place: _Place, off: list[tuple[int, float, float]]) -> list[tuple[int, int, float]]:
    """Pair each step off the path with the step that leads back."""
    jumps: list[tuple[int, int, float]] = []
    i = 0
    while i < len(off):
        k, ex, ey = off[i]
        size = float(np.hypot(ex, ey))
        later = range(i + 1, min(i + _MOST_BETWEEN, len(off)))
        back = next((j for j in later if _leads_back(place, off, i, j)), None)
        if back is None:
            i += 1
            continue
        jumps.append((k + 1, off[back][0], size))
        i = back + 1
    return jumps


def _leads_back(place: _Place, off: list[tuple[int, float, float]], i: int, j: int) -> bool:
    sum_x = sum(o[1] for o in off[i : j + 1])
    sum_y = sum(o[2] for o in off[i : j + 1])
    size = float(np.hypot(off[i][1], off[i][2]))
    lasts = float(place.time[off[j][0]] - place.time[off[i][0] + 1])
    return bool(np.hypot(sum_x, sum_y) < 0.3 * size + 0.5 * _JUMP_M and lasts <= _SHIFT_S)
