"""What is seen, how the road and its kerbs are used, and what room there is: into the findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.corner_sight import find_sight
from lapwright.driving.kerb_use import find_kerb_effects, find_span_uses
from lapwright.driving.room import find_room, list_asked, measure_rooms, why_no_room
from lapwright.driving.room_goals import Change, Goal
from lapwright.driving.steering import find_hands
from lapwright.driving.track_limits import Rule, find_track_limits
from lapwright.guide.document import Findings
from lapwright.model.circuit import Circuit, Corner
from lapwright.model.lap import Lap, Trace, Track
from lapwright.model.recording import Recording
from lapwright.possible.fastest_line import FastestLine
from lapwright.possible.flat_out import FlatMargin

Nodes = NDArray[np.int64]

#: A fastest line brakes above this deceleration, m/s².
_BRAKING: Final = 1.0
#: Differences to the fastest line that are worth a word and not out of all reach: m, share.
_LATER_M, _FASTER = (5.0, 25.0), (0.02, 0.10)


def add_surroundings(findings: Findings, rule: Rule) -> Findings:
    """Add sight, track limits, use of kerbs and room to be wrong."""
    circuit, laps = findings.circuit, findings.laps
    car = findings.measured
    uses = find_span_uses(circuit, laps, car, take_shakes(findings.recordings, laps))
    return replace(
        findings,
        sight=find_sight(circuit, laps, findings.summaries, car),
        track_limits=find_track_limits(circuit, laps, car, rule),
        span_uses=uses,
        kerb_effects=find_kerb_effects(
            circuit, laps, uses, findings.passes, corrections=_corrections(findings, bool(uses))
        ),
        rooms=find_room(
            circuit, laps, findings.passes, findings.summaries, car, list_computed(findings)
        ),
        no_room=why_no_room(circuit, laps),
    )


def add_work_rooms(findings: Findings) -> Findings:
    """Add the room of what the order of work asks to do later, faster or flat."""
    circuit, laps, rooms = findings.circuit, findings.laps, findings.rooms
    goals = list_asked(findings.work, rooms, laps, findings.chosen_lap, circuit.length_m)
    car = findings.measured
    more = measure_rooms(circuit, goals, laps, findings.passes, findings.summaries, car)
    return replace(findings, rooms=(*rooms, *more))


def _corrections(findings: Findings, wanted: bool) -> dict[tuple[str, str], float]:
    """Corrections of the wheel by corner and lap, where a kerb's effect could be seen in them."""
    if not wanted:
        return {}
    hands = find_hands(findings.circuit, findings.laps, findings.passes)
    return {(h.corner, h.lap): float(h.corrections) for h in hands}


def take_shakes(recordings: Sequence[Recording], laps: Sequence[Lap]) -> Mapping[str, Trace]:
    """Take the vertical acceleration of each lap from its recording, where it was logged."""
    channels = {
        r.file: r.channels["acceleration_up"] for r in recordings if "acceleration_up" in r.channels
    }
    out = {}
    for lap in laps:
        channel = channels.get(lap.file)
        if channel is None:
            continue
        time = channel.time - lap.start_s
        inside = (time >= 0.0) & (time <= lap.end_s - lap.start_s)
        out[lap.id] = Trace(time[inside], channel.values[inside])
    return out


def list_computed(findings: Findings) -> list[Goal]:
    """List what the fastest line does later, faster or flat: computed, shown by nobody."""
    what = findings.possible
    if what is None or what.fastest is None:
        return []
    track = _as_track(findings.circuit, what.fastest)
    return [
        replace(goal, line=track)
        for corner in findings.circuit.corners
        for goal in _computed(findings, what.fastest, corner)
    ]


def _computed(findings: Findings, line: FastestLine, corner: Corner) -> list[Goal]:
    """List the changes of one corner; those far beyond today's are nobody's next step."""
    circuit, summary = findings.circuit, findings.summaries.get(corner.id)
    brake = _brakes_at(circuit, line, corner)
    place = corner.start_m if brake is None else brake
    if summary is None:
        return []
    today = {name: action.median for name, action in summary.actions.items()}

    def goal(action: str, change: Change, wanted: float | None) -> Goal:
        before = today.get(action)
        behind = findings.chosen_lap
        return Goal(corner.id, action, change, before, wanted, None, behind, None, place)

    out, usual, half = [], today.get("brake_start_m"), 0.5 * circuit.length_m
    if brake is not None and usual is not None:
        later = (brake - usual + half) % circuit.length_m - half
        if _LATER_M[0] <= later <= _LATER_M[1]:
            out.append(goal("brake_start_m", "later", brake))
    slowest, lowest = _slowest(circuit, line, corner), today.get("minimum_speed_mps")
    gain = 0.0 if lowest is None else slowest / lowest - 1.0
    if summary.kind != "flat" and _FASTER[0] <= gain <= _FASTER[1]:
        out.append(goal("minimum_speed_mps", "faster", slowest))
    margins = findings.possible.margins if findings.possible else ()
    holds = [m for m in margins if m.corner == corner.id and _surely(m) > 0]
    if holds and summary.kind != "flat":
        out.append(goal("off_throttle_m", "flat", None))
    return out


def _surely(margin: FlatMargin) -> float:
    return margin.margin if margin.low is None else margin.low


def _as_track(circuit: Circuit, line: FastestLine) -> Track:
    """Lay a computed line out as a lap is, with the laps before and after it."""
    length, flat = circuit.length_m, np.zeros(3 * line.s.size)
    s = np.concatenate([line.s - length, line.s, line.s + length])
    n, mu, v, curve, pull, side = (
        np.tile(a, 3)
        for a in (line.n, line.angle, line.v, line.curvature, line.drive - line.brake, line.side)
    )
    time = np.concatenate([line.t - line.time_s, line.t, line.t + line.time_s])
    return Track(time, s, n, mu, v, pull, side, curve, flat, flat, flat, flat)


def _nodes(circuit: Circuit, line: FastestLine, start_m: float, end_m: float) -> Nodes:
    """Nodes of a line from one place to another, in driving order."""
    along = np.mod(line.s - start_m, circuit.length_m)
    nodes = np.flatnonzero(along <= (end_m - start_m) % circuit.length_m)
    return np.asarray(nodes[np.argsort(along[nodes], kind="stable")])


def _brakes_at(circuit: Circuit, line: FastestLine, corner: Corner) -> float | None:
    """Place at which a line begins the braking that slows it for a corner."""
    nodes = _nodes(circuit, line, corner.start_m - 60.0, corner.apex_m)
    on = np.flatnonzero(line.brake[nodes] > _BRAKING)
    if not on.size:
        return None
    off = np.flatnonzero(line.brake[nodes[: on[-1]]] <= _BRAKING)
    first = int(off[-1]) + 1 if off.size else 0
    return float(line.s[nodes[first]]) % circuit.length_m


def _slowest(circuit: Circuit, line: FastestLine, corner: Corner) -> float:
    return float(line.v[_nodes(circuit, line, corner.start_m, corner.end_m)].min())
