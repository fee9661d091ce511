"""What references are called: by what can be seen or felt from the seat."""

from __future__ import annotations

from typing import Final

from lapwright.driving.place_names import PlaceName
from lapwright.driving.references import ActionReferences, Repeat
from lapwright.guide.action_words import WORDS
from lapwright.guide.document import Findings, Text, join_texts, quote_name
from lapwright.model.circuit import Corner

#: A delay below this is at once, s.
_AT_ONCE_S: Final = 0.1
#: Closer than this a place is at the thing itself, m.
_AT_IT_M: Final = 1.0
#: A wheel within this share of its usual largest angle is straight, beyond it nearly so.
_NEARLY: Final = 0.15
_STATES: Final = {
    "straight_steering": "straight steering",
    "brake_released": "the brake let go",
    "brake_applied": "the brake applied",
    "parallel": "the car parallel to the road",
    "lateral_falling": "the cornering force falling",
}
#: A corner's time is said for an action that comes so much later, m.
LATER_M: Final = 10.0
#: The actions that sentences name a reference of; the table has them all.
SAID: Final = ("off_throttle_m", "brake_start_m", "turn_in_m", "throttle_first_m")
_LABELS: Final = {"gear_change_m": "first change down"}


def label_action(action: str) -> str:
    """Return what an action is called."""
    return WORDS[action].label if action in WORDS else _LABELS.get(action, action)


def list_references(findings: Findings, corner: Corner) -> tuple[ActionReferences, ...]:
    """List what was found on references in a corner."""
    return findings.references.get(corner.id, ())


def find_settled(findings: Findings, corner: Corner) -> dict[str, Repeat]:
    """Return, by action that is spoken of, the reference that is settled."""
    return {
        one.action: one.repeats[0]
        for one in list_references(findings, corner)
        if one.settled and one.repeats and one.action in SAID
    }


def name_reference(repeat: Repeat) -> Text:
    """Name a reference by what can be seen or felt from the seat."""
    named = _name(repeat)
    if repeat.what == "place" or repeat.delay_s < _AT_ONCE_S:
        return named
    return join_texts([Text("{0} after", ((repeat.delay_s, "time", 1),)), named])


def _name(repeat: Repeat) -> Text:
    if repeat.place is not None:
        return _name_place(repeat.place)
    if repeat.what == "speed":
        return Text("reaching {0}", ((repeat.value, "speed"),))
    if repeat.what == "gear":
        return Text("changing to gear {0}", ((repeat.value, "count"),))
    if repeat.what == "alignment":
        near, far = map(quote_name, repeat.names)
        return Text(f"{near} in line with {far}")
    if repeat.what == "view":
        return Text(f"{quote_name(repeat.names[0])} coming into view")
    nearly = repeat.what == "straight_steering" and (repeat.value or 0.0) > _NEARLY
    return Text("the wheel nearly straight" if nearly else _STATES[repeat.what])


def _name_place(place: PlaceName) -> Text:
    name = {
        "landmark": quote_name(place.name), "kerb_start": quote_name(place.name),
        "kerb_end": quote_name(place.name), "apex": "the apex",
    }[place.by]  # fmt: skip
    if abs(place.past_m) < _AT_IT_M:
        return Text(f"the place of {name}" if place.by == "landmark" else name)
    side = "past" if place.past_m > 0 else "before"
    return Text(f"the place {{0}} {side} {name}", ((abs(place.past_m), "distance"),))
