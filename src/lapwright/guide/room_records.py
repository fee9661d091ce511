"""Room to be wrong, as it stands in ``guide.json``."""

from __future__ import annotations

from typing import Any, Final

from lapwright.driving.room import Room
from lapwright.driving.room_goals import ASKED, LEAST_LAPS, Change
from lapwright.guide.document import Findings
from lapwright.guide.figures import from_apex
from lapwright.model.circuit import Circuit, Corner

_FEW: Final = f"not enough laps: {LEAST_LAPS} through this corner are needed"
_NO_LAP: Final = "no lap could be followed into this corner, or no value to reach was found"
_NOTHING: Final = "no lap shows anything here that is later or faster and no slower"


def list_rooms(findings: Findings, corner: Corner) -> list[Room]:
    """List the changes of a corner whose room is known."""
    return [room for room in findings.rooms if room.goal.corner == corner.id]


def compose_corner_room(findings: Findings, corner: Corner) -> dict[str, Any]:
    """Compose a corner's room to be wrong: a row for each change and each miss."""
    laps = count_laps(findings)
    rows = [
        row
        for room in list_rooms(findings, corner)
        for row in compose_room(room, findings.circuit, corner, laps)
    ]
    why = None if rows else findings.no_room or _why_nothing(findings, corner)
    unknown = [{"change": change, "why": why} for change, why in list_unknown(findings, corner)]
    return {"room": rows, "room_why_empty": why, "room_unknown": unknown}


def compose_room(room: Room, circuit: Circuit, corner: Corner, laps: int) -> list[dict[str, Any]]:
    """Compose a row for each miss of one change, by what so many laps showed."""
    return [{**row, **_values(room, circuit, corner), "laps": laps} for row in _rows(room)]


def list_unknown(findings: Findings, corner: Corner) -> list[tuple[Change, str]]:
    """List the changes that the order of work asks for without a known room, and why."""
    known = {room.goal.change for room in list_rooms(findings, corner)}
    asked = [item for item in findings.work if item.corner == corner.id and item.cause in ASKED]
    why = findings.no_room or _NO_LAP
    unknown = dict.fromkeys(ASKED[item.cause][0] for item in asked)
    return [(change, why) for change in unknown if change not in known]


def count_laps(findings: Findings) -> int:
    """Count the laps whose braking and cornering the room rests on."""
    return sum(lap.used for lap in findings.laps)


def _values(room: Room, circuit: Circuit, corner: Corner) -> dict[str, Any]:
    """Return by how much a change is later, and its steps as distances before the apex."""
    goal, length = room.goal, circuit.length_m
    if goal.change != "later" or goal.today is None or goal.goal is None:
        return {"later_m": None, "steps_before_apex_m": None}
    steps = [-from_apex(place, corner.apex_m, length) for place in room.steps]
    return {"later_m": from_apex(goal.goal, goal.today, length), "steps_before_apex_m": steps}


def _why_nothing(findings: Findings, corner: Corner) -> str:
    laps = sum(one.corner == corner.id for one in findings.passes)
    return _NOTHING if laps >= LEAST_LAPS else _FEW


def _rows(room: Room) -> list[dict[str, Any]]:
    goal = room.goal
    shown = goal.shown_by and {"driver": goal.shown_by[0], "lap": goal.shown_by[1]}
    return [
        {
            "action": goal.action, "change": goal.change, "today": goal.today, "goal": goal.goal,
            "shown_by": shown, "computed": shown is None, "follows_lap": goal.behind,
            "missed_by_m": m.by_m, "speed_at_edge_mps": m.worst_mps,
            "speed_at_edge_usual_mps": m.edge_mps, "speed_at_edge_best_mps": m.best_mps,
            "edge_m": m.edge_m, "side": m.side, "road_left_m": m.left_m,
            "runoff_m": m.runoff_m, "runoff_short_m": _short(m.runoff_m),
            "runoff_why_null": m.runoff_why_null or None,
            "steps": list(room.steps),
        }
        for m in room.missed
    ]  # fmt: skip


def _short(runoff_m: float | None) -> float | None:
    """Return by how much a run-off is too short to stop; None where it is not."""
    return -runoff_m if runoff_m is not None and runoff_m < 0.0 else None
