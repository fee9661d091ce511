"""The gear in each corner, the changes on the way in, and which gear gave better exits."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import mannwhitneyu

from lapwright.driving.approaches import Approaches, build_approaches
from lapwright.driving.passes import CornerPass
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap

Array = NDArray[np.float64]

#: Fewer laps in either gear say nothing on which gives the better exit.
LEAST_LAPS = 5
#: Chance of calling two gears different where they are not, over all corners of the lap.
CHANCE = 0.05
#: A smaller gain of exit speed is not worth saying, m/s.
LEAST_GAIN_MPS = 0.3


@dataclass(frozen=True, slots=True)
class GearCompared:
    """Two gears in one corner.

    ``gain_mps`` is the median exit speed in ``better`` less that in ``other``;
    ``better_laps`` and ``other_laps`` say which laps show it.
    """

    better: int
    other: int
    gain_mps: float
    better_laps: tuple[str, ...]
    other_laps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CornerGears:
    """The gears of a corner.

    Parameters
    ----------
    at_slowest
        Gear at the lowest speed: number of laps by gear.
    changes_in
        Changes down from the lift or brake to the lowest speed, mean over laps.
    engine_speed
        Median at the lowest speed in the usual gear, rad/s; None where not logged.
    compared
        None with a reason in ``why_null``.
    """

    corner: str
    laps: tuple[str, ...] = ()
    at_slowest: tuple[tuple[int, int], ...] = ()
    changes_in: float | None = None
    engine_speed: float | None = None
    compared: GearCompared | None = None
    why_null: str | None = None


def find_gears(
    circuit: Circuit, laps: Sequence[Lap], passes: Sequence[CornerPass]
) -> dict[str, CornerGears]:
    """Find the gears of each corner, by corner id; laps of one driver."""
    ways = build_approaches(circuit, laps, passes)
    by_id = {lap.id: lap for lap in laps}
    by_pass = {(p.corner, p.lap): p for p in passes}
    out = {}
    for corner in circuit.corners:
        own = [
            (p, g)
            for lap in laps
            if (p := by_pass.get((corner.id, lap.id))) and (g := p.actions.get("gear")) is not None
        ]
        out[corner.id] = (
            _summarise(ways[corner.id], own, by_id, len(circuit.corners))
            if own
            else CornerGears(corner.id, why_null="no gear channel")
        )
    return out


def _summarise(
    way: Approaches, own: Sequence[tuple[CornerPass, float]], laps: dict[str, Lap], corners: int
) -> CornerGears:
    count = Counter(int(gear) for _, gear in own)
    usual = count.most_common(1)[0][0]
    engine = [_engine(laps[p.lap], way, p) for p, gear in own if int(gear) == usual]
    known = [value for value in engine if value is not None]
    compared, why = compare_gears(own, corners)
    return CornerGears(
        corner=way.corner.id,
        laps=tuple(p.lap for p, _ in own),
        at_slowest=tuple(sorted(count.items())),
        changes_in=_changes(way),
        engine_speed=float(np.median(known)) if known else None,
        compared=compared,
        why_null=why,
    )


def _engine(lap: Lap, way: Approaches, own: CornerPass) -> float | None:
    trace, track = lap.traces.get("engine_speed"), lap.track
    if trace is None or track is None or own.lap not in way.laps:
        return None
    i = way.laps.index(own.lap)
    apex = float(np.interp(way.corner.apex_m, *_places(track.s, track.time)))
    return float(np.interp(apex + way.times["minimum_speed_m"][i], trace.time, trace.values))


def _places(s: Array, time: Array) -> tuple[Array, Array]:
    kept, index = np.unique(s, return_index=True)
    return kept, time[index]


def _changes(way: Approaches) -> float | None:
    """Mean number of changes down between the brake (or the lift) and the lowest speed."""
    if way.gear is None:
        return None
    counts = []
    for i, changes in enumerate(way.gear):
        begin = way.times["brake_start_m"][i]
        begin = way.times["off_throttle_m"][i] if np.isnan(begin) else begin
        end = way.times["minimum_speed_m"][i]
        if np.isnan(begin) or np.isnan(end):
            counts.append(0)
            continue
        gears = np.append(changes[changes[:, 0] < begin][-1:, 1], [])
        inside = changes[(changes[:, 0] >= begin) & (changes[:, 0] <= end)]
        line = np.append(gears if gears.size else inside[:1, 1], inside[:, 1])
        counts.append(int(np.sum(np.diff(line) < 0)))
    return float(np.mean(counts)) if counts else None


def compare_gears(
    own: Sequence[tuple[CornerPass, float]], corners: int = 1
) -> tuple[GearCompared | None, str | None]:
    """Tell whether the two usual gears give different exit speeds.

    By the rank test of Mann and Whitney, at a chance of error divided by the number of
    corners looked at (Bonferroni).

    Returns
    -------
    What was found, or None and why.
    """
    by_gear: dict[int, list[CornerPass]] = {}
    for one, gear in own:
        if one.actions.get("exit_speed_mps") is not None:
            by_gear.setdefault(int(gear), []).append(one)
    usual = sorted(by_gear.items(), key=lambda item: -len(item[1]))[:2]
    if len(usual) < 2:
        return None, "the same gear on all laps"
    few = min(len(passes) for _, passes in usual)
    if few < LEAST_LAPS:
        return None, f"{few} laps in another gear; at least {LEAST_LAPS} are needed"
    first, second = (_exit_speeds(passes) for _, passes in usual)
    chance = float(mannwhitneyu(first, second, alternative="two-sided").pvalue)
    gain = float(np.median(first) - np.median(second))
    if chance > CHANCE / corners or abs(gain) < LEAST_GAIN_MPS:
        return None, "no difference that these laps can show"
    better, other = usual if gain > 0 else usual[::-1]
    found = GearCompared(
        better[0],
        other[0],
        abs(gain),
        tuple(p.lap for p in better[1]),
        tuple(p.lap for p in other[1]),
    )
    return found, None


def _exit_speeds(passes: Sequence[CornerPass]) -> list[float]:
    return [v for p in passes if (v := p.actions["exit_speed_mps"]) is not None]
