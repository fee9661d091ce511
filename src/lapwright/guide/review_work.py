"""A reviewed driver's order of work: what, how far, on what, what was shown, how to get there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from lapwright.driving.action_names import ACTIONS
from lapwright.driving.action_values import subtract
from lapwright.driving.review_goals import COST, Goal
from lapwright.driving.review_rooms import GoalRoom
from lapwright.driving.work_order import GOALS
from lapwright.guide.document import join_texts, quote_name
from lapwright.guide.ledger_words import CAUSES, TOLERATED, say_goal, say_place
from lapwright.guide.reference_names import label_action
from lapwright.guide.room_records import compose_room
from lapwright.guide.room_words import say_missed
from lapwright.guide.sentences import write_text, write_value
from lapwright.model.circuit import Circuit, Corner
from lapwright.model.lap import Lap

View = Mapping[str, Any]
NOT_ASKED: Final = "this goal asks for nothing later, faster or flat"
#: Drills by the quantity of the goal: common practice, no source.
DRILLS: Final = {
    "distance": "Two laps at today's place, then move it in three equal steps; go back one step "
    "when the car no longer reaches the line.",
    "speed": "Add speed in three equal steps on the same line; stay where the line is kept.",
    "time": "Two laps at a slower pace that do only this, then build the pace up again.",
    "acceleration": "Brake in a straight line at a place with room, firmer in three equal steps.",
    "offset": "Three slow laps that only place the car, then build the pace up on that line.",
}


def compose_work(
    goal: Goal, driver: str, circuit: Circuit, lap: Lap, guide: View, system: View,
    room: GoalRoom,
) -> dict[str, Any]:  # fmt: skip
    """Compose one goal of a driver, in numbers and in words."""
    words = CAUSES[goal.cause]
    corner = next(c for c in circuit.corners if c.id == goal.corner)
    name = f" ({quote_name(corner.name)})" if corner.name else ""
    return {
        "corner": goal.corner, "cause": goal.cause, "action": goal.action,
        "what": f"Corner {quote_name(goal.corner)}{name}: {words.do}",
        "today": goal.today, "today_error": goal.today_error, "shown": goal.shown,
        "goal": goal.goal, "tolerance": goal.tolerance, "unit": _unit(goal),
        **_say_numbers(goal, circuit, corner, system),
        "reference": _say_reference(goal, circuit, guide, system),
        "evidence": _say_evidence(goal, driver, lap), "own_laps": list(goal.own_laps),
        "drill": DRILLS["time" if goal.action in (COST, "gear") else words.quantity],
        "share_of_laps": goal.share_of_laps, "worth_s": goal.worth_s,
        "promised_s": goal.promised_s,
        **_compose_room(room, circuit, corner, system),
    }  # fmt: skip


def _compose_room(held: GoalRoom, circuit: Circuit, corner: Corner, system: View) -> dict[str, Any]:
    """Compose what missing a later braking, more speed or staying flat would risk."""
    if held.room is None:
        unknown = f"What missing it would risk is not known: {held.why_null}."
        text = unknown if held.why_null else None
        return {"room": [], "room_text": text, "room_why_empty": held.why_null or NOT_ASKED}
    said = join_texts(say_missed(held.room, float(held.laps)))
    return {
        "room": compose_room(held.room, circuit, corner, held.laps),
        "room_text": write_text(said.as_view(), system), "room_why_empty": None,
    }  # fmt: skip


def _say_numbers(
    goal: Goal, circuit: Circuit, corner: Corner, system: View
) -> dict[str, str | None]:
    """Say goal, tolerance, today's value and the one shown; a cost is held against the lap."""
    words = CAUSES[goal.cause]
    if goal.action == COST:
        lost, most, within = (
            write_value(v, "time", system, 2) for v in (goal.today, goal.goal, goal.tolerance)
        )
        return {
            "goal_text": f"lose no more than {most} a lap in this corner to the guide's lap",
            "tolerance_text": within, "today_text": f"{lost} lost there a lap",
            "shown_text": None,
        }  # fmt: skip
    text = say_goal(circuit, corner, goal.cause, goal.action, goal.goal)
    tolerance = None
    if goal.tolerance is not None and words.quantity in TOLERATED and goal.action != "gear":
        tolerance = write_value(goal.tolerance, words.quantity, system, max(words.decimals, 1))

    def told(value: float | None) -> str | None:
        if value is None or not words.do_to:
            return None
        if words.quantity == "distance":
            return write_text(say_place(circuit, corner, "{0}", value).as_view(), system)
        return write_value(value, words.quantity, system, words.decimals)

    return {
        "goal_text": write_text(text.as_view(), system) if text else None,
        "tolerance_text": tolerance, "today_text": told(goal.today),
        "shown_text": told(goal.shown),
    }  # fmt: skip


def _say_reference(goal: Goal, circuit: Circuit, guide: View, system: View) -> str | None:
    """Say what the guide's laps do it on, and how far from there the goal lies; None unknown.

    It tells where the guide's driver is, not that the reviewed driver should be there.
    """
    action = GOALS.get(goal.cause, "")
    own = next((c for c in _rows(guide, "corners") if c.get("id") == goal.corner), {})
    said = _find_reference(own, action)
    if said is None:
        return None
    row = ACTIONS.get(action)
    if goal.action != action or row is None or not row.is_place or goal.goal is None:
        return f"{said}."
    apart = subtract(goal.goal, float(goal.shown or 0.0), action, circuit.length_m)
    side = "before" if apart < 0 else "after"
    far = write_value(abs(apart), "distance", system)
    return f"{said}; the goal lies {far} {side} the place of its lap."


def _find_reference(corner: View, action: str) -> str | None:
    """Find the author's choice, else what is settled of the guide's own laps."""
    for one in _rows(corner, "chosen_references"):
        if one.get("action") == action:
            return f"The guide's author names for it: {quote_name(str(one.get('reference')))}"
    settled = {a.get("action") for a in _rows(corner, "reference_actions") if a.get("settled")}
    for row in _rows(corner, "references"):
        if action in settled and row.get("action") == action:
            laps, what = row.get("laps"), row.get("reference")
            return f"On {laps} laps of the guide {label_action(action)} repeats with {what}"
    return None


def _rows(record: View, key: str) -> list[View]:
    """Take the rows of a document that another program may have edited."""
    held = record.get(key)
    return [x for x in held if isinstance(x, Mapping)] if isinstance(held, list) else []


def _say_evidence(goal: Goal, driver: str, lap: Lap) -> str:
    who = lap.driver or "the guide's driver"
    if goal.action == COST:
        text = f"held against lap {lap.id} by {who}"
        verb = "no slower there"
    else:
        text, verb = f"done by {who} on lap {lap.id}", "done"
    if not goal.own_laps:
        return text
    laps = "laps" if len(goal.own_laps) > 1 else "lap"
    return f"{text}, and {verb} by {driver} on {laps} {', '.join(goal.own_laps)}"


def _unit(goal: Goal) -> str | None:
    if goal.goal is None or goal.action == "gear":
        return None
    return "time" if goal.action == COST else CAUSES[goal.cause].quantity
