"""How repeatably each action is done, with the floor of sensor and hand beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.action_names import ACTIONS, ActionName
from lapwright.driving.passes import ActionSummary, CornerKind, CornerPass, CornerSummary
from lapwright.model.circuit import Circuit, Corner
from lapwright.model.lap import Lap, Track, knows_line

Array = NDArray[np.float64]

#: Timing scatter of skilled people in interception tasks, s (published: about ±10 ms).
HUMAN_S = 0.010
#: A channel sampled more slowly than this cannot show how long a pedal moves, Hz.
DURATION_RATE_HZ = 8.0
MAD_TO_SD = 1.4826
#: What cannot be told without a good position.
LINE_ACTIONS = ("apex_m", "apex_inside_m", "entry_edge_m", "exit_edge_m")
DURATIONS = (
    "brake_rise_s",
    "brake_release_s",
    "coasting_s",
    "brake_steering_overlap_s",
    "brake_throttle_overlap_s",
    "time_to_full_throttle_s",
)


def summarise_corners(
    circuit: Circuit, laps: Sequence[Lap], passes: Sequence[CornerPass]
) -> dict[str, CornerSummary]:
    """Median and spread of each action in each corner, over the laps that count."""
    by_id = {lap.id: lap for lap in laps}
    out = {}
    for i, corner in enumerate(circuit.corners):
        own = [p for p in passes if p.corner == corner.id]
        kind = _kind(own, by_id)
        out[corner.id] = CornerSummary(
            corner=corner.id,
            kind=kind,
            actions={
                name: _summarise(row, own, by_id, circuit, kind, corner)
                for name, row in ACTIONS.items()
            },
            straight_after_m=_straight_after(circuit, i),
        )
    return out


def place_median(values: Array, length_m: float, about_m: float) -> tuple[float, Array]:
    """Median of places on a closed road and their deviations from it, m."""
    off = (values - about_m + length_m / 2) % length_m - length_m / 2
    middle = float(np.median(off))
    return (about_m + middle) % length_m, off - middle


def _summarise(
    row: ActionName,
    passes: Sequence[CornerPass],
    laps: Mapping[str, Lap],
    circuit: Circuit,
    kind: CornerKind,
    corner: Corner,
) -> ActionSummary:
    missing = _missing(row, passes, laps)
    if missing:
        return ActionSummary(None, None, 0, None, None, missing)
    found = [(p.lap, v) for p in passes if (v := p.actions.get(row.name)) is not None]
    values = np.array([v for _, v in found])
    if values.size == 0 or values.size < 0.3 * len(passes):
        why = "does not happen in this corner" if passes else "no lap that counts"
        return ActionSummary(None, None, int(values.size), None, None, why)
    if row.is_place:
        median, off = place_median(values, circuit.length_m, corner.apex_m)
    else:
        median = float(np.median(values))
        off = values - median
    spread = float(MAD_TO_SD * np.median(np.abs(off))) if values.size >= 3 else None
    tracks = [t for lap, _ in found if (t := laps[lap].track) is not None]
    floor, human = _floors(row, median, tracks, [laps[lap] for lap, _ in found])
    if kind == "flat" and row.name == "off_throttle_m":
        return ActionSummary(None, None, 0, None, None, "does not happen in this corner")
    return ActionSummary(median, spread, int(values.size), floor, human)


def _missing(row: ActionName, passes: Sequence[CornerPass], laps: Mapping[str, Lap]) -> str | None:
    """Say which channel or rate is missing for an action; None where nothing is."""
    for need in row.needs:
        if not any(need in laps[p.lap].traces for p in passes):
            return f"no {need} channel"
    if row.name in LINE_ACTIONS and passes:
        tracks = [t for p in passes if (t := laps[p.lap].track) is not None]
        if not any(knows_line(t.n_sd) for t in tracks):
            sd = float(np.median([np.median(t.n_sd) for t in tracks]))
            return f"positions are good to ± {sd:.1f} m: no statement on the line"
    rates = [_rate(laps[p.lap], row.needs) for p in passes]
    if row.name in DURATIONS and rates and np.median(rates) < DURATION_RATE_HZ:
        return f"sampled at {np.median(rates):.0f} Hz, too slow to time a pedal"
    return None


def _rate(lap: Lap, needs: Sequence[str]) -> float:
    times = [lap.traces[n].time for n in needs if n in lap.traces]
    if not times and lap.track is not None:
        times = [lap.track.time]
    return min((1.0 / float(np.median(np.diff(t))) for t in times if t.size > 2), default=1.0)


def _floors(
    row: ActionName, median: float, tracks: Sequence[Track], laps: Sequence[Lap]
) -> tuple[float | None, float | None]:
    """Spread from sensor and sampling alone, and from a hand that is 10 ms off."""
    if not tracks:
        return None, None
    step = 1.0 / _rate(laps[0], row.needs)
    track = tracks[0]
    speed = float(np.interp(median, track.s, track.speed)) if row.is_place else 0.0
    place_sd = float(np.median(track.n_sd))
    clock = step / np.sqrt(12.0)  # uniform within a sample
    if row.is_place:
        return float(np.hypot(speed * clock, place_sd)), HUMAN_S * speed
    floors = {
        "time": (np.sqrt(2.0) * clock, np.sqrt(2.0) * HUMAN_S),
        "speed": (float(np.median(track.speed_sd)), None),
        "acceleration": (float(np.median(track.acceleration_forward_sd)), None),
        "offset": (place_sd, None),
        "distance": (np.sqrt(2.0) * place_sd, None),
    }
    floor, human = floors.get(row.quantity, (None, None))
    timed = human if row.name != "corner_time_s" else None
    return (None if floor is None else float(floor)), (None if timed is None else float(timed))


def _kind(passes: Sequence[CornerPass], laps: Mapping[str, Lap]) -> CornerKind:
    """Braked, lifted or flat: what at least half of the laps do."""
    if not passes:
        return "flat"
    has_brake = any("brake" in laps[p.lap].traces for p in passes)
    has_throttle = any("throttle" in laps[p.lap].traces for p in passes)
    peak = [p.actions.get("peak_deceleration_mps2") or 0.0 for p in passes]
    braked = [p.actions.get("brake_start_m") is not None for p in passes]
    lifted = [
        p.actions.get("throttle_first_m") is not None or p.actions.get("off_throttle_m") is not None
        for p in passes
    ]
    if (np.mean(braked) >= 0.5) if has_brake else (np.median(peak) > 3.0):
        return "braked"
    if (np.mean(lifted) >= 0.5) if has_throttle else (np.median(peak) > 0.8):
        return "lifted"
    return "flat"


def _straight_after(circuit: Circuit, i: int) -> float:
    """Distance from a corner's end to the next one's start, m."""
    following = circuit.corners[(i + 1) % len(circuit.corners)]
    gap = (following.start_m - circuit.corners[i].end_m) % circuit.length_m
    return 0.0 if gap > 0.95 * circuit.length_m else float(gap)
