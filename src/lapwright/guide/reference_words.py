"""What an action repeats with, in sentences: never "because of"."""

from __future__ import annotations

from typing import Any, Final

from lapwright.driving.references import ActionReferences, Repeat
from lapwright.guide.document import Findings, Text, join_texts
from lapwright.guide.figures import width_figure
from lapwright.guide.reference_names import (
    LATER_M,
    SAID,
    label_action,
    list_references,
    name_reference,
)
from lapwright.guide.told import make_sentence
from lapwright.model.circuit import Corner

#: Besides the first, so many of other kinds are said.
_ALSO: Final = 2


def say_scatter(repeat: Repeat) -> Text:
    """Say a scatter in metres."""
    return Text("±\u00a0{0}", (width_figure(repeat.scatter_m, "distance"),))


def say_corner_references(findings: Findings, corner: Corner) -> list[Text]:
    """Say for the actions that matter what they repeat with, and what cannot be told apart."""
    by_action = {one.action: one for one in list_references(findings, corner)}
    said = [_say_action(by_action[name]) for name in SAID if name in by_action]
    return [text for text in said if text is not None]


def _say_action(found: ActionReferences) -> Text | None:
    if not found.repeats:
        return None
    first, *rest = found.repeats
    label = label_action(found.action)
    lead = Text(f"{label[0].upper()}{label[1:]} repeats with")
    laps = ((float(len(found.laps) - first.odd_laps), "count"), (first.scatter_s, "moment"))
    head = join_texts(
        [lead, name_reference(first), say_scatter(first), Text("({1} of timing, {0} laps)", laps)]
    )
    others = [r for r in rest if r.kind != first.kind]
    ties = [r for r in others if r.as_good][:_ALSO]
    clear = [r for r in others if not r.as_good][: _ALSO - len(ties)]
    clauses = [
        head,
        *([_join("these laps cannot tell it apart from", ties)] if ties else []),
        *([_join("with", clear)] if clear else []),
    ]
    return make_sentence(*clauses)


def _join(lead: str, repeats: list[Repeat]) -> Text:
    parts = [join_texts([name_reference(r), say_scatter(r)]) for r in repeats]
    return join_texts([Text(lead), join_texts(parts, ", or " if "apart" in lead else ", with ")])


def compose_reference_tables(findings: Findings, corner: Corner) -> list[dict[str, Any]]:
    """Compose the table of references of a corner, for the page."""
    return [
        {
            "action": found.action,
            "label": label_action(found.action),
            "at_m": found.median_m,
            "settled": found.settled,
            "laps": list(found.laps),
            "floor_s": found.floor_s,
            "human_s": found.human_s,
            "why_null": found.why_null,
            "time": _say_time(found),
            "rows": [
                {
                    "text": name_reference(r).as_view(),
                    "kind": r.kind,
                    "what": r.what,
                    "scatter_m": r.scatter_m,
                    "scatter_s": r.scatter_s,
                    "score": r.score,
                    "as_good": r.as_good,
                }
                for r in found.repeats
            ],
        }
        for found in list_references(findings, corner)
    ]


def _say_time(found: ActionReferences) -> dict[str, Any] | None:
    """Say how the corner's time went with the action; these laps, no advice."""
    relation = found.against_time
    if relation is None:
        return None
    more = "longer" if relation.value > 0 else "shorter"
    text = (
        f"On these {{0}} laps the corner took {{1}} {more} for each {{2}} later "
        "(between {3} and {4}); which causes which is not known."
    )
    low, high = sorted((abs(relation.low), abs(relation.high)))
    values = (
        (float(len(found.laps)), "count"), (LATER_M * abs(relation.value), "time"),
        (LATER_M, "distance"), (LATER_M * low, "time"), (LATER_M * high, "time"),
    )  # fmt: skip
    return Text(text, values).as_view()


def compose_reference_marks(findings: Findings) -> list[dict[str, Any]]:
    """Compose the marks on the road: what is settled, where the action usually comes."""
    return [
        {
            "corner": corner.id,
            "action": found.action,
            "at_m": found.median_m,
            "kind": found.repeats[0].kind,
            "landmarks": list(found.repeats[0].names),
            "text": name_reference(found.repeats[0]).as_view(),
        }
        for corner in findings.circuit.corners
        for found in list_references(findings, corner)
        if found.settled and found.repeats
    ]
