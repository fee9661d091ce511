"""References, hands, rotation and gears of a corner, as they stand in ``guide.json``."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from lapwright.driving.references import ActionReferences, Repeat, TimeRelation
from lapwright.guide.document import Findings
from lapwright.guide.reference_names import LATER_M, list_references, name_reference
from lapwright.guide.sentences import write_text
from lapwright.model.circuit import Corner

_NOT_LOOKED: Final = "references were not looked for"
_NO_ACTION: Final = "no action of this corner repeats on enough laps"
_NOT_MEASURED: Final = "not measured"


def compose_corner_driving(
    findings: Findings, corner: Corner, system: dict[str, Any]
) -> dict[str, Any]:
    """Compose what a corner's actions repeat with, and how it is steered and geared."""
    found = list_references(findings, corner)
    rows = [_row(one, repeat, system) for one in found for repeat in one.repeats]
    why = next((one.why_null for one in found if one.why_null), None)
    empty = why or (_NO_ACTION if findings.references else _NOT_LOOKED)
    return {
        "references": rows,
        "references_why_empty": None if rows else empty,
        "reference_actions": [_action(one) for one in found],
        "steering": _measured(findings.hands.get(corner.id)),
        "rotation": _rotation(findings, corner),
        "gears": _measured(findings.gears.get(corner.id)),
    }


def _row(found: ActionReferences, repeat: Repeat, system: dict[str, Any]) -> dict[str, Any]:
    return {
        "action": found.action,
        "reference": write_text(name_reference(repeat).as_view(), system),
        "kind": repeat.kind,
        "what": repeat.what,
        "landmarks": list(repeat.names),
        **_values(repeat),
        "scatter_m": repeat.scatter_m,
        "scatter_s": repeat.scatter_s,
        "delay_s": None if repeat.what == "place" else repeat.delay_s,
        "laps": len(found.laps) - repeat.odd_laps,
        "odd_laps": repeat.odd_laps,
        "score": repeat.score,
        "as_good_as_first": repeat.as_good,
    }


def _values(repeat: Repeat) -> dict[str, Any]:
    """Return the values that stand in a reference's name; a place before a thing is negative."""
    place = repeat.place
    return {
        "speed_mps": repeat.value if repeat.what == "speed" else None,
        "gear": repeat.value if repeat.what == "gear" else None,
        "past_m": None if place is None else place.past_m,
    }


def _action(found: ActionReferences) -> dict[str, Any]:
    relation = found.against_time
    return {
        "action": found.action,
        "at_m": found.median_m,
        "settled": found.settled,
        "laps": list(found.laps),
        "floor_s": found.floor_s,
        "human_s": found.human_s,
        "why_null": found.why_null,
        "time_s_per_m": None if relation is None else asdict(relation),
        "if_later": None if relation is None else _if_later(relation),
        "time_why_null": found.time_why_null,
    }


def _if_later(relation: TimeRelation) -> dict[str, float]:
    """Return what the corner's time does when the action comes `LATER_M` later; < 0 is shorter."""
    times = (LATER_M * t for t in (relation.value, relation.low, relation.high))
    return {"by_m": LATER_M, **dict(zip(("time_s", "low_s", "high_s"), times, strict=True))}


def _measured(record: Any) -> dict[str, Any]:
    if record is None:
        return {"why_null": _NOT_MEASURED}
    plain = asdict(record)
    plain.pop("corner")
    return plain


def _rotation(findings: Findings, corner: Corner) -> dict[str, Any]:
    phases = findings.phases.get(corner.id)
    if phases is None:
        return {"turning": None, "grip": None, "why_null": _NOT_MEASURED}
    names = ("brake", "neither", "throttle")
    return {
        "turning": dict(zip(names, phases.turning, strict=True)) if phases.turning else None,
        "grip": dict(zip(names, phases.grip, strict=True)) if phases.grip else None,
        "laps": list(phases.laps),
        "why_null": phases.why_null,
        "grip_why_null": phases.grip_why_null,
    }
