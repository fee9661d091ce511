"""The author's notes on their way into a guide."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from lapwright.guide.document import Findings
from lapwright.messages import Message
from lapwright.model.circuit import Circuit
from lapwright.model.note_circuit import note_circuit, put_landmarks
from lapwright.model.notes import Misfit, Notes
from lapwright.model.notes_toml import read_notes
from lapwright.readers.landmark_lines import read_landmark_lines, read_landmark_tables


def read_author(path: Path | None, driver: str) -> Notes:
    """Read the notes, none without a path; a driver named on the command line comes first."""
    notes = Notes("") if path is None else read_notes(path)
    return replace(notes, session={**notes.session, "driver": driver}) if driver else notes


def note_road(circuit: Circuit, notes: Notes) -> tuple[Circuit, tuple[Misfit, ...]]:
    """Put notes on a circuit: corners, kerbs, patches and landmarks.

    Raises
    ------
    InputError
        If a landmark of the notes cannot be placed.
    """
    marks = (
        *read_landmark_tables(notes.landmarks, circuit, notes.file),
        *read_landmark_lines(notes.landmark_lines, circuit, notes.file),
    )
    noted, misfits = note_circuit(circuit, notes)
    return put_landmarks(noted, marks), misfits


def note_findings(findings: Findings, notes: Notes) -> Findings:
    """Put what the notes say of the session in place of what the log says."""
    said, session = notes.session, findings.session
    drivers = (said["driver"],) if said.get("driver") else session.drivers
    fields = {name: said[name] for name in ("car", "date", "conditions") if said.get(name)}
    return replace(findings, session=replace(session, drivers=drivers, **fields))


def list_misfits(notes: Notes, misfits: Iterable[Misfit]) -> tuple[Message, ...]:
    """Say which notes do not fit: they are kept, and come into use again when they fit."""
    return tuple(
        Message(
            "flagged", notes.file, one.why, "The note is kept in the guide and not used",
            one.to_do, place=str(one.place), line=one.place.line,
        )
        for one in misfits
    )  # fmt: skip
