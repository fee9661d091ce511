"""Room to be wrong, in sentences: who showed it, what missing it risks, and the steps there.

Nothing here is an order. What nobody has driven is called computed.
"""

from __future__ import annotations

from typing import Final

from lapwright.driving.room import Missed, Room
from lapwright.guide.document import Findings, Text, Value, join_texts, quote_name
from lapwright.guide.figures import from_apex
from lapwright.guide.room_records import count_laps, list_rooms, list_unknown
from lapwright.model.circuit import Corner

_MISSED: Final = {
    "later": "Missed by",
    "faster": "With the braking late by",
    "flat": "If it does not hold, and the lift comes late by",
}
_UNKNOWN: Final = {
    "later": "What missing a later braking would risk here",
    "faster": "What missing a faster corner would risk here",
    "flat": "What staying flat would risk here",
}
_COMPUTED: Final = "computed; nobody has driven it"


def say_corner_room(findings: Findings, corner: Corner) -> list[Text]:
    """Say for each change of a corner what it is, who showed it and what missing it risks.

    Where the order of work asks for one of which that is not known, say why.
    """
    said = [_say(findings, corner, room) for room in list_rooms(findings, corner)]
    unknown = list_unknown(findings, corner)
    return said + [Text(f"{_UNKNOWN[change]} is not known: {why}.") for change, why in unknown]


def _say(findings: Findings, corner: Corner, room: Room) -> Text:
    parts = [
        _say_change(findings, room),
        *say_missed(room, float(count_laps(findings))),
        _say_steps(findings, corner, room),
    ]
    return join_texts([part for part in parts if part is not None])


def _say_change(findings: Findings, room: Room) -> Text:
    goal = room.goal
    by = _COMPUTED
    if goal.shown_by is not None:
        driver, lap = goal.shown_by
        who = f" by {quote_name(driver)}" if driver else ""
        by = f"shown{who} on lap {quote_name(lap)}"
    if goal.change == "flat":
        return Text(f"Flat ({by}).")
    today, wanted = goal.today or 0.0, goal.goal or 0.0
    if goal.change == "faster":
        values: tuple[Value, ...] = ((wanted, "speed", 1), (today, "speed", 1))
        return Text(f"A minimum speed of {{0}} instead of {{1}} ({by}).", values)
    later = from_apex(wanted, today, findings.circuit.length_m)
    return Text(f"Braking {{0}} later than usual ({by}).", ((later, "distance"),))


def say_missed(room: Room, laps: float) -> list[Text]:
    """Say both misses, in one sentence where neither leaves the road.

    ``laps`` is how many laps showed the braking and cornering that it rests on.
    """
    leaving = [m for m in room.missed if m.worst_mps is not None]
    start = _MISSED[room.goal.change]
    if not leaving:
        last = room.missed[-1]
        return [
            Text(
                f"{start} {{0}} or {{1}}, the car stays on the road with at least {{2}} left, by "
                "the lower bound of the braking and cornering that {3} laps showed.",
                (
                    *((m.by_m, "distance") for m in room.missed),
                    (last.left_m, "offset", 1),
                    (laps, "count"),
                ),
            )
        ]
    by = Text(
        "That is by the lower bound of the braking and cornering that {0} laps showed.",
        ((laps, "count"),),
    )
    return [*(_say_one(start, m) for m in room.missed), by]


def _say_one(start: str, missed: Missed) -> Text:
    if missed.worst_mps is None:
        return Text(
            f"{start} {{0}}, the car stays on the road with {{1}} left.",
            ((missed.by_m, "distance"), (missed.left_m, "offset", 1)),
        )
    may = "reaches" if missed.edge_mps is not None else "may reach"
    lead = Text(
        f"{start} {{0}}, it {may} the {missed.side} edge of the road at up to {{1}}",
        ((missed.by_m, "distance"), (missed.worst_mps, "speed")),
    )
    return join_texts([lead, _say_run_off(missed)], "; ")


def _say_run_off(missed: Missed) -> Text:
    if missed.runoff_m is None:
        return Text("the run-off there is not known.")
    if missed.runoff_m < 0:
        return Text("the run-off is {0} too short to stop.", ((-missed.runoff_m, "offset", 0),))
    return Text("{0} of run-off are left when it stops.", ((missed.runoff_m, "offset", 0),))


def _say_steps(findings: Findings, corner: Corner, room: Room) -> Text | None:
    """Say the way there where it is more than one step."""
    if len(room.steps) < 2 or room.goal.today is None:
        return None
    if room.goal.change == "faster":
        values: tuple[Value, ...] = tuple((v, "speed", 1) for v in room.steps)
        return Text(f"In steps, each held before the next: {_holes(len(values))}.", values)
    length = findings.circuit.length_m
    places = [from_apex(place, corner.apex_m, length) for place in room.steps]
    values = tuple((abs(p), "distance") for p in places)
    return Text(
        f"In steps, each held before the next: {_holes(len(values))} before the apex.", values
    )


def _holes(count: int) -> str:
    return ", ".join(f"{{{k}}}" for k in range(count))
