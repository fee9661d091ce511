"""From one motion along the road to laps, each with its label."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lapwright.model.build_circuit import curve_of
from lapwright.model.circuit import Circuit
from lapwright.model.drive import Drive
from lapwright.model.lap import Lap, LapKind, Trace, Track, knows_line
from lapwright.numerics.curves import at_places, project_path

Array = NDArray[np.float64]

#: A lap whose places on the road leave out more than this in one step was cut, m.
SKIPPED_M = 30.0
#: A way off the road that is shorter than the road by this much is a cut, m.
SAVED_M = 10.0
#: Beyond a surveyed edge by this much with the car's middle: off the road.
OFF_ROAD_M = 2.5
#: The same where the edges are only the road seen in use.
OFF_USED_ROAD_M = 12.0
STANDING_MPS = 1.0
STANDING_S = 3.0
SLOW_FACTOR = 1.15
#: A lap whose line lies in a gap of the position longer than this is not ranked, s.
LINE_GAP_S = 0.5
#: A car that turns this much more than its road has spun, rad.
SPIN_RAD = 0.75 * np.pi
#: Both ends of a lap carry this much of the neighbours: a corner may span the line, s.
MARGIN_S = 12.0


@dataclass(frozen=True, slots=True)
class Placed:
    """A motion on the road: places counted on through all laps, arrays of shape (k,)."""

    s: Array
    n: Array
    beyond: Array
    backwards: bool


def place_motion(drive: Drive, circuit: Circuit) -> Placed:
    """Place a motion on a circuit.

    ``beyond`` is how far the car's middle lies outside the nearer edge in m, negative inside.
    """
    motion = drive.motion
    s, n = project_path(curve_of(circuit), motion.x, motion.y, motion.heading)
    left = at_places(circuit.length_m, circuit.left, s)
    right = at_places(circuit.length_m, circuit.right, s)
    moving = motion.speed > 5.0
    against = np.cos(motion.heading - at_places_heading(circuit, s)) < 0
    backwards = bool(moving.any() and np.mean(against[moving]) > 0.5)
    return Placed(s, n, np.maximum(n - left, -n - right), backwards)


def at_places_heading(circuit: Circuit, s: Array) -> Array:
    """Heading of the road at places in any lap, rad, not unwrapped."""
    sine = at_places(circuit.length_m, np.sin(circuit.heading), s)
    cosine = at_places(circuit.length_m, np.cos(circuit.heading), s)
    return np.arctan2(sine, cosine)


def choose_start(drives: list[Drive], placed: list[Placed], circuit: Circuit) -> float:
    """Choose a start line: where most laps are complete and the crossing is fast, m."""
    places = np.arange(0.0, circuit.length_m, 10.0)
    count, speed = np.zeros(places.size), np.zeros(places.size)
    for drive, on in zip(drives, placed, strict=True):
        on_road = np.append(0, np.cumsum(on.beyond < _off_road_limit(circuit)))
        reached = _reached(on.s)
        for i, place in enumerate(places):
            cuts = _crossings(on.s, reached, place, circuit.length_m).astype(int)
            first, last = cuts[:-1], cuts[1:] + 1
            count[i] += np.sum(on_road[last] - on_road[first] > 0.97 * (last - first))
            if cuts.size:
                speed[i] += float(np.min(drive.motion.speed[cuts]))
    bend = np.abs(at_places(circuit.length_m, circuit.curvature, places))
    return float(places[np.lexsort((bend, -speed, -count))[0]])


def split_laps(
    drive: Drive,
    placed: Placed,
    circuit: Circuit,
    *,
    driver: str = "",
    log_number: int | None = None,
) -> tuple[Lap, ...]:
    """Split a placed motion at the start line and label each lap.

    Crossing times are interpolated within the sample. Laps that do not count carry
    the reason; slowness is judged by `set_aside_slow`, over all recordings.

    Parameters
    ----------
    log_number
        Counted from 1 where several logs are read together; becomes part of the laps' id.
    """
    motion = drive.motion
    cuts = _crossings(placed.s, _reached(placed.s), 0.0, circuit.length_m)
    times = np.interp(cuts, np.arange(motion.time.size), motion.time)
    bounds = np.concatenate([[motion.time[0]], times, [motion.time[-1]]])
    sd = float(np.median(motion.position_sd) / max(np.median(motion.speed), 1.0)) * np.sqrt(2)
    laps = []
    for number, (start, end) in enumerate(pairwise(bounds)):
        if end - start < 1.0:
            continue
        whole = 0 < number < bounds.size - 2
        inside = slice(*np.searchsorted(motion.time, (start, end)))
        kind, why = _label(motion.speed, motion.time, placed, circuit, inside, number, whole)
        lap_sd = sd
        if whole and not why:
            gaps = [g for g in (_line_gap(drive, start), _line_gap(drive, end)) if g]
            lap_sd = float(np.hypot(sd, np.linalg.norm([g.sd for g in gaps])))
            kind, why = ("part", _say_line_gap(gaps, lap_sd)) if gaps else (kind, why)
        spun = _find_spin(drive, placed, circuit, inside)
        if spun > SPIN_RAD and whole and kind in ("timed", "slow", "off road"):
            turned = f"turned {np.degrees(spun):.0f} deg more than the road: spin"
            kind, why = "slow", f"{why}, {turned}" if why else turned
        laps.append(
            Lap(
                id=f"{number}" if log_number is None else f"{log_number}.{number}",
                file=drive.recording.file,
                driver=driver,
                number=number,
                kind=kind,
                start_s=float(start),
                end_s=float(end),
                time_s=float(end - start) if whole else None,
                time_sd_s=lap_sd if whole else None,
                used=whole and not why,
                why_not=why,
                track=_track(drive, placed, circuit, start, end, whole),
            )
        )
    return tuple(laps)


def _say_wrong_way(circuit: Circuit) -> str:
    other = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}.get(circuit.turns)
    if other is None:
        return "driven against the circuit's direction"
    return f"driven {other}; the circuit runs {circuit.turns}"


def _find_spin(drive: Drive, placed: Placed, circuit: Circuit, inside: slice) -> float:
    """How far the car turned away from the road within a lap, rad; 0 without a yaw rate."""
    yaw = drive.recording.channels.get("yaw_rate")
    at = inside.start + np.flatnonzero(np.isfinite(placed.s[inside]))
    if yaw is None or at.size < 10:
        return 0.0
    known = np.isfinite(yaw.values)
    if not known.any():
        return 0.0
    t = drive.motion.time[at]
    rate = np.interp(t, yaw.time[known], yaw.values[known])
    turned = np.append(0.0, np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(t)))
    away = turned - np.unwrap(at_places_heading(circuit, placed.s[at]))
    # The sensor's drift over a lap is no spin: hold each moment against 10 s before it.
    before = np.searchsorted(t, t - 10.0)
    return float(np.max(np.abs(away - away[before])))


@dataclass(frozen=True, slots=True)
class _LineGap:
    """A gap in the position that holds the line: seconds before and after it, and what it costs."""

    before: float
    after: float
    sd: float


def _line_gap(drive: Drive, crossing: float) -> _LineGap | None:
    """Find the gap in which a crossing lies; its time is then only as good as the bridge."""
    places = ("latitude", "x")
    for span in drive.recording.marked:
        wide = span.to_s - span.from_s > LINE_GAP_S
        if wide and span.channel in places and span.from_s < crossing < span.to_s:
            motion = drive.motion
            at = int(np.searchsorted(motion.time, crossing))
            sd = motion.position_sd[min(at, motion.time.size - 1)]
            speed = max(float(np.interp(crossing, motion.time, motion.speed)), 1.0)
            return _LineGap(crossing - span.from_s, span.to_s - crossing, float(sd) / speed)
    return None


def _say_line_gap(gaps: list[_LineGap], sd: float) -> str:
    gap = max(gaps, key=lambda g: g.before + g.after)
    where = f"from {gap.before:.2f} s before to {gap.after:.2f} s after the line"
    return f"no position {where}: time ±{max(2.0 * sd, 0.01):.2f} s, not ranked"


def _reached(s: Array) -> Array:
    """How far the path has come by each sample, from the first known one on."""
    reached = np.fmax.accumulate(s)
    return np.asarray(reached[np.isfinite(reached)])


def _crossings(s: Array, reached: Array, place: float, length: float) -> Array:
    """Fractional sample indices at which the path passes a place forwards, one for each lap."""
    if not reached.size:
        return np.zeros(0)
    first, last = np.floor((reached[[0, -1]] - place) / length)
    lines = place + length * np.arange(last, first, -1.0)
    # Where one step passes the line twice, the later passage counts.
    after, at = np.unique(
        s.size - reached.size + np.searchsorted(reached, lines), return_index=True
    )
    step = s[after] - s[after - 1]
    back = (s[after] - lines[at]) / np.where(step > 0, step, 1.0)
    return np.asarray(after - np.clip(back, 0.0, 1.0))


def _off_road_limit(circuit: Circuit) -> float:
    return OFF_ROAD_M if circuit.surveyed else OFF_USED_ROAD_M


def _label(
    speed: Array,
    time: Array,
    placed: Placed,
    circuit: Circuit,
    inside: slice,
    number: int,
    whole: bool,
) -> tuple[LapKind, str]:
    """Kind of a lap and why it does not count; an empty reason where it counts."""
    v, t, s, beyond = speed[inside], time[inside], placed.s[inside], placed.beyond[inside]
    if placed.backwards:
        return "wrong way", _say_wrong_way(circuit)
    step = float(np.median(np.diff(t))) if t.size > 1 else 0.0
    off = beyond > _off_road_limit(circuit)
    standing = float(np.sum(v < STANDING_MPS) * step)
    standing_off = float(np.sum((v < STANDING_MPS) & off) * step)
    driven = float(s[-1] - s[0]) if s.size else 0.0
    if standing_off > STANDING_S or (whole and np.sum(off & (v < 25.0)) * step > 8.0):
        slow = float(np.sum(off) * step)
        return "pit", f"{slow:.1f} s beside the road, of them {standing:.1f} s standing: pit visit"
    if not whole:
        end = "before" if number == 0 else "after"
        part = f"{driven:.0f} of {circuit.length_m:.0f} m, {end} the line is crossed"
        return ("out" if number == 0 else "in"), f"not a whole lap: {part}"
    if standing > STANDING_S:
        return "slow", f"{standing:.1f} s standing on the road"
    back = float(np.maximum.accumulate(s).max() - s.min()) if s.size else 0.0
    jump = float(np.max(np.diff(s), initial=0.0))
    if jump > SKIPPED_M + 2.0 * float(np.max(v)) * step or back < 0.9 * circuit.length_m:
        return "cut", f"{jump:.0f} m of the road left out"
    if np.sum(off) * step > 0.3:
        return _judge_excursion(v, t, s, beyond, np.flatnonzero(off))
    return "timed", ""


def _judge_excursion(
    v: Array, t: Array, s: Array, beyond: Array, off: NDArray[np.intp]
) -> tuple[LapKind, str]:
    """Label a lap that left the road; a cut where the way off the road was shorter."""
    a, b = int(off[0]), int(off[-1])
    far = float(beyond[off].max())
    why = f"up to {far:.1f} m outside the edge between t = {t[a]:.1f} and {t[b]:.1f} s"
    driven = float(np.sum(0.5 * (v[a + 1 : b + 1] + v[a:b]) * np.diff(t[a : b + 1])))
    saved = float(s[b] - s[a]) - driven
    if saved < SAVED_M:
        return "off road", why
    return "cut", f"{why}, saving {saved:.0f} m"


def set_aside_slow(laps: tuple[Lap, ...]) -> tuple[Lap, ...]:
    """Return the laps unchanged but for those that no comparison can bear.

    A lap more than twice the median time is set aside; a slow one that kept moving is
    not, because its corners can still be looked at.
    """
    times = [lap.time_s for lap in laps if lap.used and lap.time_s is not None]
    if not times:
        return laps
    median = float(np.median(times))
    return tuple(_judge_slow(lap, median) for lap in laps)


def _judge_slow(lap: Lap, median: float) -> Lap:
    if lap.used and lap.time_s is not None and lap.time_s > 2.0 * median:
        why = f"{lap.time_s:.1f} s, more than twice the median"
        return replace(lap, kind="slow", used=False, why_not=why)
    return lap


def _track(
    drive: Drive, placed: Placed, circuit: Circuit, start: float, end: float, whole: bool
) -> Track | None:
    motion = drive.motion
    near = _find_near(motion.time, start, end)
    near = near[np.isfinite(placed.s[near])]
    if near.size < 4:
        return None
    s = placed.s[near]
    at_start = float(np.interp(start, motion.time[near], s))
    base = circuit.length_m * round(at_start / circuit.length_m) if whole else _base(s, circuit)
    heading = motion.heading[near] - at_places_heading(circuit, s)
    return Track(
        time=motion.time[near] - start,
        s=np.maximum.accumulate(s - base),
        n=placed.n[near] if knows_line(motion.position_sd[near]) else np.zeros(s.size),
        heading_error=np.arctan2(np.sin(heading), np.cos(heading)),
        speed=motion.speed[near],
        acceleration_forward=motion.acceleration_forward[near],
        acceleration_left=motion.acceleration_left[near],
        curvature=motion.curvature[near],
        n_sd=motion.position_sd[near],
        speed_sd=motion.speed_sd[near],
        acceleration_forward_sd=motion.acceleration_forward_sd[near],
        acceleration_left_sd=motion.acceleration_left_sd[near],
    )


def _find_near(time: Array, start: float, end: float) -> NDArray[np.intp]:
    """Find the indices of what was driven between two times and in the margins around them."""
    first = np.searchsorted(time, start - MARGIN_S)
    last = np.searchsorted(time, end + MARGIN_S, side="right")
    return np.arange(first, last)


def _base(s: Array, circuit: Circuit) -> float:
    return float(circuit.length_m * np.floor(s[s.size // 2] / circuit.length_m))


def cut_traces(lap: Lap, signals: Mapping[str, Trace]) -> dict[str, Trace]:
    """Cut signals on the recording's clock to one lap, on the lap's clock."""
    out = {}
    for name, signal in signals.items():
        near = _find_near(signal.time, lap.start_s, lap.end_s)
        if near.size > 3:
            out[name] = Trace(signal.time[near] - lap.start_s, signal.values[near])
    return out
