"""One corner as its sentences see it, and the clauses that they are made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import Final

from lapwright.driving.action_names import ACTIONS
from lapwright.driving.passes import ActionSummary, CornerSummary
from lapwright.guide.document import Findings, Text, join_texts
from lapwright.guide.figures import figure, from_apex, say_spread
from lapwright.guide.reference_names import find_settled, name_reference
from lapwright.model.circuit import Corner

#: What can open a corner's sentences, the first that is known.
_SAID_IN_TURN: Final = (
    "brake_start_m",
    "off_throttle_m",
    "peak_deceleration_mps2",
    "minimum_speed_mps",
    "corner_time_s",
)


@dataclass(frozen=True, slots=True)
class Told:
    """A corner with all that its sentences need."""

    corner: Corner
    summary: CornerSummary
    length_m: float
    laps: int
    surveyed: bool
    has_throttle: bool
    first: str = ""  # the action that is said first, with the number of laps
    settled: Mapping[str, Text] = field(default_factory=dict)  # by action: what it repeats with

    def known(self, name: str) -> ActionSummary | None:
        """Return an action that has a value."""
        action = self.summary.actions.get(name)
        if action is None or action.median is None or not isfinite(action.median):
            return None
        return action

    def spread(self, name: str) -> Text:
        """Say how a known action repeats; the first one says over how many laps."""
        action, first = self.summary.actions[name], name == self.first
        return say_spread(action, ACTIONS[name].quantity, self.laps, first)


def tell_corner(findings: Findings, corner: Corner) -> Told | None:
    """Bring together what is known of a corner; None where no lap passed it."""
    summary = findings.summaries.get(corner.id)
    if summary is None:
        return None
    used = [lap for lap in findings.laps if lap.used]
    told = Told(
        corner, summary, findings.circuit.length_m, len(used), findings.circuit.surveyed,
        any("throttle" in lap.traces for lap in used),
    )  # fmt: skip
    settled = {a: name_reference(r) for a, r in find_settled(findings, corner).items()}
    return replace(told, first=next(filter(told.known, _SAID_IN_TURN), ""), settled=settled)


def say_place(told: Told, name: str, lead: str) -> Text | None:
    """Say ``lead``, how far before or after the apex, and how that repeats."""
    action = told.known(name)
    if action is None or action.median is None:
        return None
    metres = from_apex(action.median, told.corner.apex_m, told.length_m)
    value = figure(action, "distance", abs(metres))
    side = "before" if metres < 0 else "after"
    at = Text(f"{lead} {{0}} {side} the apex", (value,))
    reference = told.settled.get(name)
    on = [Text(", repeating with "), reference] if reference else []
    return join_texts([at, told.spread(name), *on], "")


def say_value(told: Told, name: str, template: str) -> Text | None:
    """Say an action's median in a template with one hole, and how it repeats."""
    said = say_median(told, name, template)
    return join_texts([said, told.spread(name)], "") if said else None


def say_median(told: Told, name: str, template: str) -> Text | None:
    """Say an action's median alone; how it repeats stands in the table."""
    action = told.known(name)
    return Text(template, (figure(action, ACTIONS[name].quantity),)) if action else None


def make_sentence(*clauses: Text | None, between: str = "; ") -> Text | None:
    """Join the clauses that there are into one sentence."""
    there = [clause for clause in clauses if clause]
    if not there:
        return None
    joined = join_texts(there, between)
    return Text(joined.template[0].upper() + joined.template[1:] + ".", joined.values)


def join_sentences(*sentences: Text | None) -> Text | None:
    """Put the sentences that there are one after another."""
    there = [sentence for sentence in sentences if sentence]
    return join_texts(there) if there else None
