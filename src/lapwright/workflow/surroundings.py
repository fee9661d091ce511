"""What is seen, how the road and its kerbs are used, and what room there is: into the findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from lapwright.driving.corner_sight import find_sight
from lapwright.driving.kerb_use import find_kerb_effects, find_span_uses
from lapwright.driving.room import Goal, find_room
from lapwright.driving.track_limits import Rule, find_track_limits
from lapwright.guide.document import Findings
from lapwright.model.circuit import Circuit, Corner
from lapwright.model.lap import Lap, Trace
from lapwright.model.recording import Recording
from lapwright.possible.fastest_line import FastestLine

#: A fastest line brakes above this deceleration, m/s².
_BRAKING: Final = 1.0
#: Smaller differences to the fastest line are no advice: m, m/s.
_LATER_M, _FASTER_MPS = 5.0, 0.5


def add_surroundings(findings: Findings, rule: Rule) -> Findings:
    """Add sight, track limits, use of kerbs and room to be wrong."""
    circuit, laps = findings.circuit, findings.laps
    car = findings.possible.car if findings.possible else None
    uses = find_span_uses(circuit, laps, car, take_shakes(findings.recordings, laps))
    return replace(
        findings,
        sight=find_sight(circuit, laps, findings.summaries, car),
        track_limits=find_track_limits(circuit, laps, car, rule),
        span_uses=uses,
        kerb_effects=find_kerb_effects(circuit, laps, uses, findings.passes),
        rooms=find_room(
            circuit, laps, findings.passes, findings.summaries, car, list_computed(findings)
        ),
    )


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
    return [
        goal
        for corner in findings.circuit.corners
        for goal in _computed(findings, what.fastest, corner)
    ]


def _computed(findings: Findings, line: FastestLine, corner: Corner) -> list[Goal]:
    summary, behind = findings.summaries.get(corner.id), findings.chosen_lap
    if summary is None:
        return []
    out = []
    today = {k: a.median for k, a in summary.actions.items()}
    brake = _brakes_at(findings.circuit, line, corner)
    usual = today.get("brake_start_m")
    half = 0.5 * findings.circuit.length_m
    if brake is not None and usual is not None:
        later = (brake - usual + half) % findings.circuit.length_m - half
        if later >= _LATER_M:
            out.append(Goal(corner.id, "brake_start_m", "later", usual, brake, None, behind))
    slowest, usual = _slowest(findings.circuit, line, corner), today.get("minimum_speed_mps")
    if usual is not None and summary.kind != "flat" and slowest - usual >= _FASTER_MPS:
        out.append(Goal(corner.id, "minimum_speed_mps", "faster", usual, slowest, None, behind))
    margins = findings.possible.margins if findings.possible else ()
    flat = any(m.corner == corner.id and (m.low or m.margin) > 0 for m in margins)
    if flat and summary.kind == "lifted":
        off = today.get("off_throttle_m")
        out.append(Goal(corner.id, "off_throttle_m", "flat", off, None, None, behind))
    return out


def _inside(circuit: Circuit, line: FastestLine, start_m: float, end_m: float) -> np.ndarray:
    """Nodes of a line from one place to another, in driving order."""
    along = np.mod(line.s - start_m, circuit.length_m)
    nodes = np.flatnonzero(along <= (end_m - start_m) % circuit.length_m)
    return np.asarray(nodes[np.argsort(along[nodes], kind="stable")])


def _brakes_at(circuit: Circuit, line: FastestLine, corner: Corner) -> float | None:
    """Place at which a line begins the braking that slows it for a corner."""
    nodes = _inside(circuit, line, corner.start_m - 60.0, corner.apex_m)
    on = np.flatnonzero(line.brake[nodes] > _BRAKING)
    if not on.size:
        return None
    off = np.flatnonzero(line.brake[nodes[: on[-1]]] <= _BRAKING)
    first = int(off[-1]) + 1 if off.size else 0
    return float(line.s[nodes[first]]) % circuit.length_m


def _slowest(circuit: Circuit, line: FastestLine, corner: Corner) -> float:
    return float(line.v[_inside(circuit, line, corner.start_m, corner.end_m)].min())
