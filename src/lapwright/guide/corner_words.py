"""The words of a corner: its title, why it matters, and what varies most in it."""

from __future__ import annotations

from typing import Any, Final

from lapwright.driving.action_names import ACTIONS
from lapwright.guide.action_words import WORDS
from lapwright.guide.document import Findings, Text, join_texts, quote_name
from lapwright.guide.figures import HUMAN_TIMING_S, width_figure
from lapwright.guide.hands_words import say_corner_hands
from lapwright.guide.instructions import say_by_topic
from lapwright.guide.possible_words import say_corner_possible
from lapwright.guide.reference_words import compose_reference_tables, say_corner_references
from lapwright.guide.road_words import say_corner_road
from lapwright.guide.room_words import say_corner_room
from lapwright.guide.sight_words import say_corner_sight
from lapwright.guide.told import Told, tell_corner
from lapwright.model.circuit import Corner

#: A straight shorter than this is none, m.
_SHORT_STRAIGHT_M: Final = 50.0
#: A spread within so many floors is not called a variation.
_WITHIN_FLOOR: Final = 1.5


def compose_corner_words(findings: Findings) -> dict[str, Any]:
    """Compose title, why, instructions and note on the spread of every corner, for the page."""
    words = {}
    for corner in findings.circuit.corners:
        told = tell_corner(findings, corner)
        note = say_varies_most(told) if told else None
        said = say_by_topic(told)
        words[corner.id] = {
            "title": say_title(corner).as_view(),
            "why": say_why(findings, corner).as_view(),
            "instructions": [text.as_view() for _, text in said],
            "topics": [topic for topic, _ in said],
            "possible": [text.as_view() for text in say_corner_possible(findings, corner)],
            "sight": [text.as_view() for text in say_corner_sight(findings, corner)],
            "road": [text.as_view() for text in say_corner_road(findings, corner)],
            "room": [text.as_view() for text in say_corner_room(findings, corner)],
            "references": [text.as_view() for text in say_corner_references(findings, corner)],
            "reference_tables": compose_reference_tables(findings, corner),
            "hands": [text.as_view() for text in say_corner_hands(findings, corner)],
            "spread_note": note.as_view() if note else None,
        }
    return words


def say_title(corner: Corner) -> Text:
    """Say number, name and direction."""
    named = [corner.id, *([corner.name] if corner.name else [])]
    return Text(f"Corner {', '.join(map(quote_name, named))}, {corner.direction}")


def say_why(findings: Findings, corner: Corner) -> Text:
    """Say where the corner leads, and what it is part of."""
    summary = findings.summaries.get(corner.id)
    if summary is None:
        return Text("No lap that counts passed this corner.")
    parts = [_say_onto(findings, corner, summary.straight_after_m)]
    members = list_complex(findings, corner)
    if 1 < len(members) < len(findings.circuit.corners):
        between = " and " if len(members) == 2 else "–"
        first, last = quote_name(members[0]), quote_name(members[-1])
        parts.insert(0, Text(f"Part of the complex {first}{between}{last}."))
    return join_texts(parts)


def _say_onto(findings: Findings, corner: Corner, straight_m: float) -> Text:
    corners = findings.circuit.corners
    following = corners[(corners.index(corner) + 1) % len(corners)]
    if len(corners) > 1 and straight_m < _SHORT_STRAIGHT_M:
        return Text(f"Leads into corner {quote_name(following.id)}.")
    return Text(
        "Leads onto {0} of road before the next corner begins.", ((straight_m, "distance"),)
    )


def list_complex(findings: Findings, corner: Corner) -> list[str]:
    """List the corners driven as one with a corner, in driving order, over the line too."""
    corners = findings.circuit.corners
    if corner.complex is None:
        return [corner.id]
    inside = [other.complex == corner.complex for other in corners]
    first = next((i for i, flag in enumerate(inside) if flag and not inside[i - 1]), 0)
    order = [*corners[first:], *corners[:first]]
    return [other.id for other in order if other.complex == corner.complex]


def say_varies_most(told: Told) -> Text | None:
    """Say which moment of the corner varies most, held against the log and human timing."""
    ratios = {
        name: action.spread / max(action.floor or 0.0, action.human_floor)
        for name in ACTIONS
        if (action := told.known(name)) and action.spread is not None and action.human_floor
    }
    if not ratios:
        return None
    name = max(ratios, key=lambda key: ratios[key])
    action = told.summary.actions[name]
    floor = max(action.floor or 0.0, action.human_floor or 0.0)
    quantity = ACTIONS[name].quantity
    if ratios[name] <= _WITHIN_FLOOR:
        return Text(
            "No moment of this corner varies by much more than ±\u00a0{0} of timing, or than "
            "this log can tell.",
            ((HUMAN_TIMING_S, "moment"),),
        )
    return Text(
        f"Varies most here: {WORDS[name].label}, ±\u00a0{{1}} over {{2}} laps; "
        "±\u00a0{0} of timing and what this log can tell would leave ±\u00a0{3}.",
        (
            (HUMAN_TIMING_S, "moment"), width_figure(action.spread or 0.0, quantity),
            (float(action.n), "count"), width_figure(floor, quantity),
        ),
    )  # fmt: skip
