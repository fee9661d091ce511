"""The sentences of a corner: what the driver does there and how it repeats.

They describe and never order: nothing here knows yet what would be faster.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isfinite
from typing import Any, Final

from lapwright.driving.action_names import ACTIONS
from lapwright.driving.passes import ActionSummary, CornerSummary
from lapwright.guide.action_words import WORDS
from lapwright.guide.document import Findings, Text, Value, join_texts, quote_name
from lapwright.guide.figures import (
    HUMAN_TIMING_S,
    figure,
    from_apex,
    say_spread,
    spread_seconds,
    width_figure,
)
from lapwright.model.circuit import Corner

MOST_INSTRUCTIONS: Final = 5
LEAST_INSTRUCTIONS: Final = 3
#: What can open a corner's sentences, the first that is known.
_SAID_IN_TURN: Final = ("brake_start_m", "off_throttle_m", "peak_deceleration_mps2",
                        "minimum_speed_mps", "corner_time_s")  # fmt: skip
#: Slowing by less is not worth a sentence, m/s².
_LEAST_SLOWING_MPS2: Final = 0.5
#: A lowest speed this close to where the corner begins lies at its entry, m.
_AT_ENTRY_M: Final = 5.0
#: A duration below so many floors (one sample is 2.4) cannot be timed.
_TIMED_FLOORS: Final = 3.0
#: A straight shorter than this is none, m.
_SHORT_STRAIGHT_M: Final = 50.0
#: A spread within so many floors is not called a variation.
_WITHIN_FLOOR: Final = 1.5


@dataclass(frozen=True, slots=True)
class _Told:
    """A corner with all that its sentences need."""

    corner: Corner
    summary: CornerSummary
    length_m: float
    laps: int
    surveyed: bool
    has_throttle: bool
    first: str = ""  # the action that is said first, with the number of laps

    def known(self, name: str) -> ActionSummary | None:
        """Return an action that has a value."""
        action = self.summary.actions.get(name)
        if action is None or action.median is None or not isfinite(action.median):
            return None
        return action

    def spread(self, name: str) -> Text:
        """Say how a known action repeats; the first one says over how many laps."""
        action, first = self.summary.actions[name], self.summary.actions.get(self.first)
        said = first.n if first is not None and name != self.first else None
        return say_spread(action, ACTIONS[name].quantity, self.laps, said)


def compose_corner_words(findings: Findings) -> dict[str, Any]:
    """Compose title, why, instructions and note on the spread of every corner, for the page."""
    words = {}
    for corner in findings.circuit.corners:
        told = tell_corner(findings, corner)
        note = say_varies_most(told) if told else None
        words[corner.id] = {
            "title": say_title(corner).as_view(),
            "why": say_why(findings, corner).as_view(),
            "instructions": [text.as_view() for text in say_instructions(told)],
            "spread_note": note.as_view() if note else None,
        }
    return words


def tell_corner(findings: Findings, corner: Corner) -> _Told | None:
    """Bring together what is known of a corner; None where no lap passed it."""
    summary = findings.summaries.get(corner.id)
    if summary is None:
        return None
    used = [lap for lap in findings.laps if lap.used]
    told = _Told(
        corner, summary, findings.circuit.length_m, len(used), findings.circuit.surveyed,
        any("throttle" in lap.traces for lap in used),
    )  # fmt: skip
    return replace(told, first=next(filter(told.known, _SAID_IN_TURN), ""))


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


def say_instructions(told: _Told | None) -> list[Text]:
    """Say in three to five sentences what the driver does, as far as the data goes."""
    if told is None:
        return []
    main = (_say_slowing, _say_release, _say_slowest, _say_throttle, _say_edges)
    said = [text for say in main if (text := say(told))]
    for say in (_say_turn_in, _say_gear, _say_time):
        if len(said) < LEAST_INSTRUCTIONS and (text := say(told)):
            said.append(text)
    return said[:MOST_INSTRUCTIONS]


def _say_place(told: _Told, name: str, lead: str) -> Text | None:
    """Say ``lead``, how far before or after the apex, and how that repeats."""
    action = told.known(name)
    if action is None or action.median is None:
        return None
    metres = from_apex(action.median, told.corner.apex_m, told.length_m)
    value = figure(action, "distance", abs(metres))
    side = "before" if metres < 0 else "after"
    at = Text(f"{lead} {{0}} {side} the apex", (value,))
    return join_texts([at, told.spread(name)], "")


def _say_value(told: _Told, name: str, template: str) -> Text | None:
    """Say an action's median in a template with one hole, and how it repeats."""
    action = told.known(name)
    if action is None:
        return None
    quantity = ACTIONS[name].quantity
    said = Text(template, (figure(action, quantity),))
    return join_texts([said, told.spread(name)], "")


def _sentence(*clauses: Text | None, between: str = "; ") -> Text | None:
    """Join the clauses that there are into one sentence."""
    there = [clause for clause in clauses if clause]
    if not there:
        return None
    joined = join_texts(there, between)
    return Text(joined.template[0].upper() + joined.template[1:] + ".", joined.values)


def _together(*sentences: Text | None) -> Text | None:
    there = [sentence for sentence in sentences if sentence]
    return join_texts(there) if there else None


def _say_slowing(told: _Told) -> Text | None:
    for name, verb in (("brake_start_m", "brakes"), ("off_throttle_m", "leaves full throttle")):
        place = _say_place(told, name, verb)
        if place:
            coasting = _say_coasting(told) if name == "brake_start_m" else None
            return _together(_sentence(place, _say_human(told, name)), coasting)
    if told.summary.kind == "flat":
        flat = "Full throttle is not left" if told.has_throttle else "No slowing is seen"
        return Text(f"{flat} for this corner.")
    peak = told.known("peak_deceleration_mps2")
    if peak is None or (peak.median or 0.0) < max(peak.floor or 0.0, _LEAST_SLOWING_MPS2):
        return None
    return _sentence(_say_value(told, "peak_deceleration_mps2", "slows by up to {0}"))


def _say_human(told: _Told, name: str) -> Text | None:
    """Hold a spread against what a practised timing would give."""
    action = told.known(name)
    seconds = spread_seconds(action) if action else None
    if action is None or seconds is None or action.human_floor is None:
        return None
    values: tuple[Value, ...] = (
        (seconds, "moment"), (HUMAN_TIMING_S, "moment"),
        width_figure(action.human_floor, "distance"),
    )  # fmt: skip
    if action.floor is not None and action.spread is not None and action.spread <= action.floor:
        return Text("±\u00a0{0} at that speed would be ±\u00a0{1}", values[1:])
    return Text("that is ±\u00a0{0} at that speed; ±\u00a0{1} would be ±\u00a0{2}", values)


def _say_coasting(told: _Told) -> Text | None:
    action = told.known("coasting_s")
    if action is None or not (action.median or 0.0) > (action.floor or 0.0):
        return None
    return _sentence(_say_value(told, "coasting_s", "neither pedal for {0} in all"))


def _say_release(told: _Told) -> Text | None:
    let_go = _say_value(told, "brake_release_s", "lets the brake go over {0}")
    release = told.known("brake_release_s")
    if release and (release.median or 0.0) < _TIMED_FLOORS * (release.floor or 0.0):
        let_go = Text("lets the brake go faster than this log can time")
    both = told.known("brake_steering_overlap_s")
    overlap = (
        _sentence(_say_value(told, "brake_steering_overlap_s", "brakes and steers at once for {0}"))
        if both and (both.median or 0.0) > (both.floor or 0.0)
        else None
    )
    return _together(_sentence(let_go, _say_place(told, "brake_end_m", "off the brake")), overlap)


def _say_slowest(told: _Told) -> Text | None:
    return _sentence(
        _say_minimum(told),
        _say_value(told, "exit_speed_mps", "{0} at the corner's exit"),
    )


def _say_minimum(told: _Told) -> Text | None:
    speed = _say_value(told, "minimum_speed_mps", "slowest at {0}")
    where = told.known("minimum_speed_m")
    if speed and where and where.median is not None:
        begun = from_apex(where.median, told.corner.start_m, told.length_m)
        if begun < _AT_ENTRY_M:
            return join_texts([speed, Text("at the corner's entry")], ", ")
    place = _say_place(told, "minimum_speed_m", "")
    return join_texts([speed, place], ",") if speed and place else speed


def _say_throttle(told: _Told) -> Text | None:
    return _together(
        _sentence(
            _say_place(told, "throttle_first_m", "throttle pick-up"),
            _say_place(told, "full_throttle_m", "full throttle") or _say_never_full(told),
        ),
        _sentence(_say_value(told, "off_full_throttle_s", "off full throttle for {0}")),
    )


def _say_never_full(told: _Told) -> Text | None:
    full = told.summary.actions.get("full_throttle_m")
    picked_up = told.known("throttle_first_m") is not None
    never = full is not None and full.n == 0 and picked_up
    return Text("full throttle is not reached before the next corner") if never else None


def _say_edges(told: _Told) -> Text | None:
    road = "the edge" if told.surveyed else "the edge of the road seen in use"
    clauses = [
        _say_edge(told, "entry_edge_m", "on the outside at turn-in"),
        _say_edge(told, "apex_inside_m", "on the inside at the apex"),
        _say_edge(told, "exit_edge_m", "on the outside on the way out, where it is closest"),
    ]
    there = [clause for clause in clauses if clause]
    return _sentence(join_texts([Text(f"From {road}: "), join_texts(there, "; ")], "")
                     if there else None)  # fmt: skip


def _say_edge(told: _Told, name: str, where: str) -> Text | None:
    """Say a distance to an edge; a path beyond the edge has a negative one."""
    action = told.known(name)
    if action is None or action.median is None:
        return None
    beyond = "beyond it " if action.median < 0.0 else ""
    said = Text(f"{{0}} {beyond}{where}", (figure(action, "offset", abs(action.median)),))
    return join_texts([said, told.spread(name)], "")


def _say_turn_in(told: _Told) -> Text | None:
    return _sentence(_say_place(told, "turn_in_m", "turns in"))


def _say_gear(told: _Told) -> Text | None:
    action = told.known("gear")
    return Text("Gear {0} at the slowest point.", ((action.median, "count"),)) if action else None


def _say_time(told: _Told) -> Text | None:
    return _sentence(_say_value(told, "corner_time_s", "{0} from the corner's entry to its exit"))


def say_varies_most(told: _Told) -> Text | None:
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
        f"What varies most here, held against ±\u00a0{{0}} of timing and what this log can tell: "
        f"{WORDS[name].label}, ±\u00a0{{1}} over {{2}} laps against ±\u00a0{{3}}.",
        (
            (HUMAN_TIMING_S, "moment"), width_figure(action.spread or 0.0, quantity),
            (float(action.n), "count"), width_figure(floor, quantity),
        ),
    )  # fmt: skip
