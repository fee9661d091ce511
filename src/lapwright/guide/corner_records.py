"""The corners of ``guide.json``: actions, and what later versions will work out."""

from __future__ import annotations

from typing import Any, Final

from lapwright.driving.action_names import ACTIONS
from lapwright.driving.passes import ActionSummary
from lapwright.guide.corner_words import list_complex
from lapwright.guide.document import Findings
from lapwright.guide.figures import from_apex, spread_seconds
from lapwright.guide.instructions import say_instructions
from lapwright.guide.possible_records import compose_corner_possible
from lapwright.guide.reference_records import compose_corner_driving
from lapwright.guide.road_records import compose_corner_road
from lapwright.guide.room_records import compose_corner_room
from lapwright.guide.sentences import write_text
from lapwright.guide.sight_records import compose_corner_sight
from lapwright.guide.told import tell_corner
from lapwright.model.circuit import Corner

_NO_LAP: Final = "no lap that counts passed this corner"


def compose_corners(findings: Findings, system: dict[str, Any]) -> list[dict[str, Any]]:
    """Compose every corner; advice is written in the reader's units."""
    return [_compose_corner(findings, corner, system) for corner in findings.circuit.corners]


def _compose_corner(findings: Findings, corner: Corner, system: dict[str, Any]) -> dict[str, Any]:
    summary = findings.summaries.get(corner.id)
    actions = summary.actions if summary else {}
    length = findings.circuit.length_m
    sentences = say_instructions(tell_corner(findings, corner))
    return {
        "id": corner.id, "name": corner.name, "direction": corner.direction,
        "start_m": corner.start_m, "apex_m": corner.apex_m, "end_m": corner.end_m,
        "kind": summary.kind if summary else None,
        "kind_why_null": None if summary else _NO_LAP,
        "complex": corner.complex, "complex_corners": list_complex(findings, corner),
        "straight_after_m": summary.straight_after_m if summary else None,
        **_compose_rank(findings, corner),
        "actions": {
            name: _compose_action(name, actions[name], corner, length)
            for name in ACTIONS
            if name in actions
        },
        **compose_corner_possible(findings, corner),
        "sight": compose_corner_sight(findings, corner),
        **compose_corner_road(findings, corner),
        **compose_corner_driving(findings, corner, system),
        **compose_corner_room(findings, corner),
        "advice": [write_text(text.as_view(), system) for text in sentences],
        "notes": [],
    }  # fmt: skip


def _compose_rank(findings: Findings, corner: Corner) -> dict[str, Any]:
    """Rank in the ledger and what a middle lap loses there; null where nothing is booked."""
    rank = next((r for r in findings.ranks if r.corner == corner.id), None)
    why = None if rank else "The ledger books nothing to this corner."
    return {
        "rank": rank.rank if rank else None, "rank_why_null": why,
        "worth_s": rank.worth_s if rank else None, "worth_why_null": why,
    }  # fmt: skip


def _compose_action(
    name: str, action: ActionSummary, corner: Corner, length_m: float
) -> dict[str, Any]:
    """Compose one action; a place also says how far after the apex it lies."""
    record: dict[str, Any] = {
        "median": action.median, "spread": action.spread, "n": action.n,
        "floor": action.floor, "human_floor": action.human_floor,
        "why_null": (action.why_null or "not seen on any lap") if action.median is None else None,
    }  # fmt: skip
    if action.median is not None and action.spread is None:
        record["spread_why_null"] = "seen on fewer than three laps"
    if ACTIONS[name].is_place:
        median = action.median
        record["from_apex_m"] = (
            None if median is None else from_apex(median, corner.apex_m, length_m)
        )
        record["spread_s"] = spread_seconds(action)
    return record
