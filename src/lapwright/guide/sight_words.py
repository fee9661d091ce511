"""What can be seen, in sentences: only what the road itself hides, for nothing else is known."""

from __future__ import annotations

from typing import Any, Final

from lapwright.driving.corner_sight import CornerSight
from lapwright.guide.document import Findings, Text
from lapwright.model.circuit import Corner

_AT: Final = {"brake_start_m": "at the braking point", "turn_in_m": "at turn-in"}
#: An apex that is in view from further away than this needs no sentence, m.
_NEEDS_SAYING_M: Final = 150.0


def compose_sight_words(findings: Findings) -> dict[str, Any] | None:
    """Compose what has to be known about all that is said of sight; None where nothing is."""
    sight = findings.sight
    if sight is None:
        return None
    if sight.why_null:
        why = Text(f"Nothing is said of sight: {sight.why_null}.")
        return {"title": "What can be seen", "sentences": [], "why_null": why.as_view()}
    whose = "the car's own" if sight.eye_given else "that of a usual car, as the car's is not given"
    eye = Text(f"Seen from an eye {{0}} above the road ({whose}).", ((sight.eye[2], "offset", 2),))
    known = Text(
        "Only the road and the walls and verges given hide anything here: trees, fences and people "
        "are not in the data."
    )
    blind = [c.id for c in findings.circuit.corners if _is_blind(sight.corners.get(c.id))]
    named = Text(f"Hidden by the road itself: corner{'s' * (len(blind) > 1)} {', '.join(blind)}.")
    texts = [*([named] if blind else []), eye, known]
    return {
        "title": "What can be seen",
        "sentences": [text.as_view() for text in texts],
        "why_null": None,
    }


def say_corner_sight(findings: Findings, corner: Corner) -> list[Text]:
    """Say whether the road hides the apex, and from where it and the exit are in view."""
    sight = findings.sight
    one = sight.corners.get(corner.id) if sight else None
    if one is None:
        return []
    return [text for text in (_say_apex(one), _say_exit(one)) if text is not None]


def _is_blind(one: CornerSight | None) -> bool:
    return bool(one and one.blind)


def _say_apex(one: CornerSight) -> Text | None:
    over = one.apex_seen_over_m
    if one.blind:
        where = " and ".join(_AT[name] for name in one.hidden_at)
        lead = f"The road itself hides the apex {where}"
        if over is None:
            return Text(f"{lead}; it stays hidden.")
        return Text(f"{lead}; it comes into view {{0}} before it.", ((over, "distance"),))
    if one.blind is None or over is None or over > _NEEDS_SAYING_M:
        return None
    return Text("The apex is in view from {0} before it.", ((over, "distance"),))


def _say_exit(one: CornerSight) -> Text | None:
    over = one.exit_seen_over_m
    if over is None or over > _NEEDS_SAYING_M:
        return None
    return Text("The outer edge at the exit comes into view {0} before it.", ((over, "distance"),))
