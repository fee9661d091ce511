"""The author's notes put on the guide: his texts, and advice reworded, hidden or moved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from lapwright.driving.action_names import ACTIONS
from lapwright.guide.action_words import WORDS
from lapwright.guide.document import Text, quote_name
from lapwright.guide.instructions import TOPICS
from lapwright.guide.sentences import chosen_system, write_text
from lapwright.model.circuit import Circuit
from lapwright.model.note_circuit import find_corner
from lapwright.model.notes import AdviceNote, Misfit, Notes, ReferenceNote

View = dict[str, Any]

#: What the order of work is called in notes.
WORK: Final = "work"
#: Stands behind a sentence that the author put in other words: computed text has none.
BY_AUTHOR: Final = " (the author's words)"


def note_view(
    view: Mapping[str, Any], notes: Notes, circuit: Circuit, before: tuple[Misfit, ...] = ()
) -> tuple[View, tuple[Misfit, ...]]:
    """Put notes on a view; what the program computed is not changed anywhere else.

    Parameters
    ----------
    circuit
        With the notes already on it.
    before
        Notes that did not fit the circuit: they are kept in the guide too.

    Returns
    -------
    tuple
        The view, and all notes that do not fit, with ``before``.
    """
    page = _Page(view, circuit)
    for note in notes.corners:
        corner = find_corner(circuit, note.corner)
        if corner is None:
            continue  # reported with the circuit
        page.corners[corner.id]["notes"] += note.texts
        if note.caption:
            page.words[corner.id]["caption"] = note.caption
    for one in notes.references:
        page.choose_reference(one)
    for advice in notes.advice:
        if advice.about == WORK:
            page.change_work(advice)
        else:
            page.change_advice(advice)
    misfits = (*before, *page.misfits)
    return page.finish(notes, misfits), misfits


class _Page:
    """A view being changed; the one it came from stays as it is."""

    def __init__(self, view: Mapping[str, Any], circuit: Circuit) -> None:
        self.view, self.circuit = view, circuit
        self.system = chosen_system(view["units"])
        lists = ("advice", "notes")
        self.corners: dict[str, View] = {
            c["id"]: {**c, **{name: list(c[name]) for name in lists}, "chosen_references": []}
            for c in view["guide"]["corners"]
        }
        self.words: dict[str, View] = {
            name: {**words, "instructions": list(words["instructions"]),
                   "topics": list(words.get("topics") or ()),
                   "references": list(words.get("references") or ())}
            for name, words in view["words"]["corners"].items()
        }  # fmt: skip
        self.work = list(view.get("order_of_work") or ())
        self.work_records = list(view["guide"].get("order_of_work") or ())
        self.misfits: list[Misfit] = []

    def finish(self, notes: Notes, misfits: tuple[Misfit, ...]) -> View:
        """Put the changed parts together; notes that do not fit stand in the guide."""
        unfit = [
            {"note": m.place.words, "line": m.place.line, "why": m.why, "text": m.text}
            for m in misfits
        ]
        guide = {
            **self.view["guide"], "corners": list(self.corners.values()),
            "order_of_work": self.work_records,
            "notes": {"file": notes.file or None, "not_fitting": unfit},
        }  # fmt: skip
        said = [Text(quote_name(_say_misfit(m))).as_view() for m in misfits]
        words = {**self.view["words"], "corners": self.words, "notes": {"unfit": said}}
        return {**self.view, "guide": guide, "words": words, "order_of_work": self.work}

    def change_advice(self, note: AdviceNote) -> None:
        """Reword, hide or move one sentence of a corner."""
        corner = self._find(note)
        if corner is None:
            return
        words, record = self.words[corner], self.corners[corner]
        if note.about not in words["topics"]:
            about = ", ".join((*TOPICS, WORK))
            gone = f"corner {corner} has no advice about {note.about}"
            self._miss(note, gone, f"Choose among {', '.join(words['topics']) or about}")
            return
        at = words["topics"].index(note.about)
        lists = (words["topics"], words["instructions"], record["advice"])
        if note.reword is not None:
            own = note.reword + BY_AUTHOR
            words["instructions"][at] = Text(quote_name(own)).as_view()
            record["advice"][at] = own
        for one in lists:
            _move(one, at, note)

    def change_work(self, note: AdviceNote) -> None:
        """Reword, hide or move one item of the order of work."""
        corner = self._find(note)
        if corner is None:
            return
        at = next((i for i, item in enumerate(self.work_records) if item["corner"] == corner
                   and note.cause in (None, item["cause"])), None)  # fmt: skip
        if at is None:
            why = f"the order of work has nothing for corner {corner}"
            self._miss(note, why, "Take the note out when it is no longer meant")
            return
        if note.reword is not None:
            own = note.reword + BY_AUTHOR
            self.work[at] = {**self.work[at], "what": Text(quote_name(own)).as_view()}
            self.work_records[at] = {**self.work_records[at], "what": own}
        for one in (self.work, self.work_records):
            _move(one, at, note)

    def choose_reference(self, note: ReferenceNote) -> None:
        """Say the author's reference before the computed ones, with what the laps show of it."""
        corner = find_corner(self.circuit, note.corner)
        name = next((a for a in ACTIONS if note.action in (a, a.rpartition("_")[0])), None)
        if corner is None or name is None:
            why = f"corner {note.corner} is not there" if corner is None else "no such action"
            to_do = f"Choose among {', '.join(a.rpartition('_')[0] or a for a in ACTIONS)}"
            gone = "Name the corner by at_m, or correct its number"
            self.misfits.append(
                Misfit(note.place, why, gone if corner is None else to_do, note.reference)
            )
            return
        words, record = self.words[corner.id], self.corners[corner.id]
        words.setdefault("chosen_references", {})[name] = note.reference
        shown = self._find_row(words, name, note.reference)
        label = WORDS[name].label
        lead = f"{label[0].upper()}{label[1:]}: {quote_name(note.reference)}, the author's choice"
        values: tuple[Any, ...] = ()
        if shown:
            values = ((shown["scatter_m"], "offset"),)
            lead += "; the action repeats with it within ±\u00a0{0}."
        else:
            lead += "; these laps tell nothing about it."
        words["references"].insert(0, Text(lead, values).as_view())
        record["chosen_references"].append(
            {"action": name, "reference": note.reference, "computed": shown is not None}
        )

    def _find_row(self, words: View, action: str, reference: str) -> Mapping[str, Any] | None:
        """Find what was computed about a reference: the row whose words hold it."""
        wanted = reference.strip().casefold()
        for table in words.get("reference_tables") or ():
            for row in table["rows"] if table["action"] == action else ():
                if wanted and wanted in write_text(row["text"], self.system).casefold():
                    found: Mapping[str, Any] = row
                    return found
        return None

    def _find(self, note: AdviceNote) -> str | None:
        corner = find_corner(self.circuit, note.corner)
        if corner is None:
            to_do = "Name the corner by at_m, or correct its number"
            self._miss(note, f"corner {note.corner} is not there", to_do)
        return corner.id if corner else None

    def _miss(self, note: AdviceNote, why: str, to_do: str) -> None:
        self.misfits.append(Misfit(note.place, why, to_do, note.reword or ""))


def _move(them: list[Any], at: int, note: AdviceNote) -> None:
    """Take out or move one thing of a list."""
    one = them.pop(at)
    if not note.hide:
        them.insert(at if note.position is None else note.position - 1, one)


def _say_misfit(misfit: Misfit) -> str:
    text = f": “{misfit.text}”" if misfit.text else ""
    return f"{misfit.place.words}: {misfit.why}{text}."
