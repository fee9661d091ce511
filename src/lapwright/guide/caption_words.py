"""What is said beside a lap's video: short sentences, each with the action that it is for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from lapwright.guide.document import quote_name
from lapwright.guide.figures import from_apex
from lapwright.guide.sentences import chosen_system, write_text, write_value

View = Mapping[str, Any]

#: A longer name is cut: a caption has to be read before the corner comes.
LONGEST_NAME: Final = 40
#: What can be looked at from the seat; a state of the car cannot be heard in time.
_SEEN: Final = ("place", "view", "alignment")
_VERBS: Final = {"brake_start_m": "brakes", "off_throttle_m": "leaves full throttle"}


@dataclass(frozen=True, slots=True)
class Saying:
    """One thing to say before an action.

    Parameters
    ----------
    corner, about
        The corner's id, and ``first``, ``work`` or ``throttle``.
    place_m
        Where the action is done, in m from the start line.
    versions
        The same in fewer and fewer words.
    rank
        Of the corner: the smaller, the sooner it gets its time.
    enough
        The version that says all that is needed.
    """

    corner: str
    about: str
    place_m: float
    versions: tuple[str, ...]
    rank: int
    enough: int = 0


def compose_sayings(view: View) -> tuple[Saying, ...]:
    """Compose what can be said of every corner, timed to the chosen lap's own actions."""
    said: list[Saying | None] = []
    for number, corner in enumerate(view["guide"]["corners"]):
        words = view["words"]["corners"].get(corner["id"]) or {}
        done = _find_actions(view, corner)
        rank = corner.get("rank") or 1000 + number
        first = _find_first(view, corner, done)
        said.append(_say_first(view, corner, words, first, rank))
        said += [_say_work(view, item, first[1], rank) for item in view.get("order_of_work") or ()
                 if item["corner"] == corner["id"]]  # fmt: skip
        said.append(_say_throttle(view, corner, done, rank))
    return tuple(one for one in said if one is not None)


def name_corner(corner: View) -> str:
    """Name a corner in a caption: number, name, direction; a long name is cut."""
    name = " ".join(str(corner["name"] or "").split())
    if len(name) > LONGEST_NAME:
        name = name[: LONGEST_NAME - 1] + "…"
    named = f", {quote_name(name)}" if name else ""
    return f"{_number(corner)}{named}, {corner['direction']}"


def _number(corner: View) -> str:
    return f"Corner {str(corner['id'])[:LONGEST_NAME]}"


def _find_actions(view: View, corner: View) -> dict[str, float | None]:
    """Return the chosen lap's own actions, the median where that lap shows none."""
    medians = {name: action["median"] for name, action in corner["actions"].items()}
    chosen = view["pictures"]["chosen_lap"]
    for one in view["guide"].get("corner_laps") or ():
        if one["lap"] == chosen and one["corner"] == corner["id"]:
            return {**medians, **{k: v for k, v in one["actions"].items() if v is not None}}
    return medians


def _find_first(view: View, corner: View, done: Mapping[str, float | None]) -> tuple[str, float]:
    """Return what opens a corner, and where the first of all its actions is."""
    length, apex = view["guide"]["circuit"]["length_m"], corner["apex_m"]
    names = ("brake_start_m", "off_throttle_m", "turn_in_m")
    ahead = {name: at for name in names if (at := done.get(name)) is not None}
    opened = next((name for name in names[:2] if name in ahead), "")
    places = [*ahead.values(), *([] if opened else [corner["start_m"]])]
    return opened, min(places, key=lambda place: from_apex(place, apex, length))


def _say_first(
    view: View, corner: View, words: View, first: tuple[str, float], rank: int
) -> Saying:
    """Say how a corner is begun; the author's own caption stands for it."""
    system = chosen_system(view["units"])
    full, short = name_corner(corner), _number(corner)
    if words.get("caption"):
        own = str(words["caption"])
        return Saying(corner["id"], "first", first[1], (f"{full}: {own}", own), rank)
    slowest = corner["actions"].get("minimum_speed_mps") or {}
    speed = write_value(slowest.get("median"), "speed", system) if slowest.get("median") else ""
    if not first[0]:
        act = f"slows to {speed}" if speed and corner["kind"] != "flat" else "flat"
        return Saying(
            corner["id"], "first", first[1], (f"{full}: {act}.", f"{short}: {act}."), rank
        )
    verb = _VERBS[first[0]]
    at, apex = _say_where(view, corner, words, first[0]), _say_from_apex(view, corner, first[0])
    down = f", down to {speed}" if speed else ""
    wordy = (
        f"{full}: {verb} {at}{down}.", f"{short}: {verb} {at}{down}.", f"{short}: {verb} {at}.",
        f"{short}: {verb} {apex}.", f"{short}: {verb}.",
    )  # fmt: skip
    return Saying(corner["id"], "first", first[1], wordy, rank, enough=2)


def _say_where(view: View, corner: View, words: View, action: str) -> str:
    """Say where an action is done: on a thing that is seen, else by the distance to the apex."""
    chosen = (words.get("chosen_references") or {}).get(action)
    if chosen:
        return f"on {quote_name(str(chosen))}"
    marks = [
        m
        for m in view["pictures"].get("references") or ()
        if m["corner"] == corner["id"] and m["action"] == action and m["kind"] in _SEEN
    ]
    rows = [r for t in words.get("reference_tables") or () if t["action"] == action
            for r in t["rows"] if r["what"] == "place"]  # fmt: skip
    for found in (*marks, *rows):
        return _lead_in(write_text(found["text"], chosen_system(view["units"])))
    return _say_from_apex(view, corner, action)


def _lead_in(text: str) -> str:
    """Put the word before a reference that a sentence needs."""
    if text.startswith("the place of "):
        return "at " + text.removeprefix("the place of ")
    text = text.removeprefix("the place ")
    return text if text[:1].isdigit() else f"with {text}"


def _say_from_apex(view: View, corner: View, action: str) -> str:
    median = corner["actions"][action]["median"] if action in corner["actions"] else None
    if median is None:
        return "here"
    metres = from_apex(median, corner["apex_m"], view["guide"]["circuit"]["length_m"])
    side = "before" if metres < 0 else "after"
    distance = write_value(abs(metres), "distance", chosen_system(view["units"]))
    return f"{distance} {side} the apex"


def _say_work(view: View, item: View, place_m: float, rank: int) -> Saying:
    """Say what to work on in a corner: the goal, which a lap has shown."""
    system = chosen_system(view["units"])
    what = write_text(item["what"], system).partition(": ")
    short = f"To work on: {what[2] or what[0]}."
    goals = [write_text(item[k], system) for k in ("goal", "tolerance") if item.get(k)]
    versions = (f"To work on: {', '.join(goals)}.", f"To work on: {goals[0]}.") if goals else ()
    return Saying(item["corner"], "work", place_m, (*versions, short), rank)


def _say_throttle(
    view: View, corner: View, done: Mapping[str, float | None], rank: int
) -> Saying | None:
    """Say where the throttle is picked up again, and where it is full."""
    place = done.get("throttle_first_m")
    if place is None or not corner["actions"].get("throttle_first_m", {}).get("median"):
        return None
    picked_up = f"throttle {_say_from_apex(view, corner, 'throttle_first_m')}"
    lead = f"Corner {str(corner['id'])[:LONGEST_NAME]}: {picked_up}"
    full = corner["actions"].get("full_throttle_m", {}).get("median")
    more = f", full {_say_from_apex(view, corner, 'full_throttle_m')}" if full else ""
    return Saying(corner["id"], "throttle", place, (f"{lead}{more}.", f"{lead}."), rank)
