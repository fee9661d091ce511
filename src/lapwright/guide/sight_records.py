"""What can be seen, as it stands in ``guide.json`` and in the pictures."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from lapwright.driving.corner_sight import CornerSight, Sight
from lapwright.driving.sight import REACH_M
from lapwright.guide.document import Findings
from lapwright.model.circuit import Corner

NOT_ASKED: Final = "not worked out for this guide"
_NO_PLACE: Final = "neither the braking point nor the turn-in is known"


def compose_eye(findings: Findings) -> dict[str, Any] | None:
    """Compose where the driver's eye was put, m from the middle of the wheelbase on the ground."""
    sight = findings.sight
    if sight is None or sight.why_null:
        return None
    forward, left, up = sight.eye
    return {"forward_m": forward, "left_m": left, "up_m": up, "given": sight.eye_given}


def compose_corner_sight(findings: Findings, corner: Corner) -> dict[str, Any]:
    """Compose what is seen of a corner; null with its reason without heights."""
    sight = findings.sight
    one = sight.corners.get(corner.id) if sight else None
    if sight is None or one is None:
        why = (sight.why_null if sight else "") or NOT_ASKED
        return {"blind": None, "apex_seen_from_m": None, "why_null": why}
    return {
        "blind": one.blind,
        "hidden_at": list(one.hidden_at),
        "apex_seen_from_m": one.apex_seen_from_m,
        "apex_seen_over_m": one.apex_seen_over_m,
        "exit_seen_from_m": one.exit_seen_from_m,
        "exit_seen_over_m": one.exit_seen_over_m,
        "looked_over_m": one.looked_over_m,
        "why_null": _NO_PLACE if one.blind is None else None,
    }


def compose_sight_picture(findings: Findings, points: int) -> dict[str, Any] | None:
    """Sample how far ahead the road is seen on the pictures' grid; None without heights."""
    sight, circuit = findings.sight, findings.circuit
    if sight is None or sight.ahead_m is None:
        return None
    place = np.arange(points) * (circuit.length_m / points)
    return {
        "ahead_m": np.interp(place, circuit.s, sight.ahead_m, period=circuit.length_m),
        "reach_m": min(REACH_M, 0.5 * circuit.length_m),
        "eye_m": list(sight.eye),
        "eye_given": sight.eye_given,
        "corners": {key: _compose_corner(one) for key, one in sight.corners.items()},
        "views": [
            {"landmark": v.landmark, "at_m": v.at_m, "before_m": v.before_m, "comes": v.comes}
            for v in sight.views
        ],
        "alignments": _compose_alignments(sight),
    }


def _compose_corner(one: CornerSight) -> dict[str, Any]:
    return {
        "blind": one.blind,
        "apex_seen_from_m": one.apex_seen_from_m,
        "exit_seen_from_m": one.exit_seen_from_m,
    }


def _compose_alignments(sight: Sight) -> list[dict[str, Any]]:
    return [{"near": a.near, "far": a.far, "at_m": a.at_m} for a in sight.alignments]
