"""The author's notes put on a circuit: its corners, kerbs and patches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from lapwright.model.circuit import Circuit, Corner, Landmark, RoadSpan
from lapwright.model.notes import CornerKey, MergeNote, Misfit, Notes, SpanNote, SplitNote

#: A place that is so close to no corner's apex names none, m.
NEAR_M = 30.0
#: A kerb without a width, m.
KERB_M = 1.0
_CORNER_GONE = "Name the corner by at_m, or correct its number"


def note_circuit(circuit: Circuit, notes: Notes) -> tuple[Circuit, tuple[Misfit, ...]]:
    """Put notes on a circuit, in this order: merges, splits, numbers and names, spans.

    Corners are named as they were found: what was merged, split or numbered before keeps its
    old number in `Corner.found`, so that notes can be used again on their own result.

    Returns
    -------
    tuple
        The circuit, and the notes that do not fit it.
    """
    misfits: list[Misfit] = []
    for merge in notes.merges:
        circuit = _merge(circuit, merge, misfits)
    for split in notes.splits:
        circuit = _split(circuit, split, misfits)
    circuit = _number(_rename(circuit, notes, misfits), notes, misfits)
    spans = [made for note in notes.spans if (made := _make_span(circuit, note, misfits))]
    return put_spans(circuit, spans), tuple(misfits)


def find_corner(circuit: Circuit, key: CornerKey) -> Corner | None:
    """Find the corner that is meant: by its number as found, its name, or a place."""
    if key.at_m is not None:
        return _find_at(circuit, key.at_m)
    by_number = [c for c in circuit.corners if key.text in (c.found or c.id).split("+")]
    by_name = [c for c in circuit.corners if c.name and c.name == key.text]
    return next(iter([*by_number, *by_name]), None)


def put_landmarks(circuit: Circuit, landmarks: Sequence[Landmark]) -> Circuit:
    """Put landmarks on a circuit; one of the same name is replaced."""
    names = {mark.name for mark in landmarks}
    kept = [mark for mark in circuit.landmarks if mark.name not in names]
    return replace(circuit, landmarks=(*kept, *landmarks))


def put_spans(circuit: Circuit, spans: Sequence[RoadSpan]) -> Circuit:
    """Put spans on a circuit; one of the same kind, name and start is replaced."""
    new = {(span.kind, span.name, span.start_m) for span in spans}
    kept = [s for s in circuit.spans if (s.kind, s.name, s.start_m) not in new]
    return replace(circuit, spans=(*kept, *spans))


def _find_at(circuit: Circuit, at_m: float) -> Corner | None:
    """Find the corner that a place lies in, else the nearest apex close by."""
    length = circuit.length_m
    inside = [c for c in circuit.corners
              if (at_m - c.start_m) % length <= (c.end_m - c.start_m) % length]  # fmt: skip
    away = {c.id: abs((at_m - c.apex_m + length / 2) % length - length / 2)
            for c in circuit.corners}  # fmt: skip
    near = inside or [c for c in circuit.corners if away[c.id] <= NEAR_M]
    return min(near, key=lambda c: away[c.id], default=None)


def _merge(circuit: Circuit, note: MergeNote, misfits: list[Misfit]) -> Circuit:
    found = [find_corner(circuit, key) for key in note.corners]
    gone = [str(key) for key, corner in zip(note.corners, found, strict=True) if corner is None]
    if gone:
        why = f"corner {', '.join(gone)} is not there"
        misfits.append(Misfit(note.place, why, _CORNER_GONE))
        return circuit
    ids = {corner.id for corner in found if corner is not None}
    order = list(circuit.corners)
    member = [corner.id in ids for corner in order]
    if len(ids) == 1:
        return circuit  # merged before
    heads = [i for i, flag in enumerate(member) if flag and not member[i - 1]]
    if len(heads) != 1:
        why = "these corners do not follow each other"
        misfits.append(Misfit(note.place, why, "Merge only corners that follow each other"))
        return circuit
    parts = [order[(heads[0] + i) % len(order)] for i in range(len(ids))]
    whole = _shape(circuit, replace(
        parts[0], end_m=parts[-1].end_m, found="+".join(c.found or c.id for c in parts),
    ))  # fmt: skip
    kept = [c for c in order if c.id not in ids or c.id == parts[0].id]
    return replace(circuit, corners=tuple(whole if c.id == whole.id else c for c in kept))


def _split(circuit: Circuit, note: SplitNote, misfits: list[Misfit]) -> Circuit:
    founds = {part for c in circuit.corners for part in (c.found or c.id).split("+")}
    if {f"{note.corner.text}a", f"{note.corner.text}b"} <= founds:
        return circuit  # split before
    corner = find_corner(circuit, note.corner)
    if corner is None:
        why = f"corner {note.corner} is not there"
        misfits.append(Misfit(note.place, why, _CORNER_GONE))
        return circuit
    length = circuit.length_m
    into, long = (note.at_m - corner.start_m) % length, (corner.end_m - corner.start_m) % length
    if not circuit.step_m * 2 < into < long - circuit.step_m * 2:
        why = f"{note.at_m:g} m is not inside corner {note.corner}"
        to_do = f"Give a place between {corner.start_m:.0f} and {corner.end_m:.0f} m"
        misfits.append(Misfit(note.place, why, to_do))
        return circuit
    at = note.at_m % length
    was = corner.found or corner.id
    parts = (
        _shape(circuit, replace(corner, id=f"{corner.id}a", end_m=at, found=f"{was}a")),
        _shape(circuit, replace(corner, id=f"{corner.id}b", start_m=at, found=f"{was}b")),
    )
    corners = [p for c in circuit.corners for p in (parts if c.id == corner.id else (c,))]
    return replace(circuit, corners=tuple(corners))


def _shape(circuit: Circuit, corner: Corner) -> Corner:
    """Set apex and direction to where the road bends most between a corner's ends."""
    long = (corner.end_m - corner.start_m) % circuit.length_m
    along = (circuit.s - corner.start_m) % circuit.length_m
    inside = np.flatnonzero(along <= long)
    at = int(inside[np.argmax(np.abs(circuit.curvature[inside]))])
    side: Literal["left", "right"] = "left" if circuit.curvature[at] > 0 else "right"
    return replace(corner, apex_m=float(circuit.s[at]), direction=side)


def _rename(circuit: Circuit, notes: Notes, misfits: list[Misfit]) -> Circuit:
    names: dict[str, str] = {}
    for note in notes.corners:
        corner = find_corner(circuit, note.corner)
        if corner is None:
            why = f"corner {note.corner} is not there"
            said = "; ".join(t for t in (note.name, *note.texts, note.caption) if t)
            misfits.append(Misfit(note.place, why, _CORNER_GONE, said))
        elif note.name is not None:
            names[corner.id] = note.name
    renamed = (replace(c, name=names.get(c.id, c.name)) for c in circuit.corners)
    return replace(circuit, corners=tuple(renamed))


def _number(circuit: Circuit, notes: Notes, misfits: list[Misfit]) -> Circuit:
    """Give corners their numbers; one that another corner has is not given."""
    order = circuit.corners
    ids = {c.id: str(i + 1) if notes.renumber else c.id for i, c in enumerate(order)}
    given = {}
    for note in notes.corners:
        corner = find_corner(circuit, note.corner)
        if corner is not None and note.number:
            given[corner.id] = note
    wanted = {**ids, **{i: note.number or "" for i, note in given.items()}}
    for own, note in given.items():
        if list(wanted.values()).count(wanted[own]) > 1:
            why = f"another corner has the number {note.number}"
            misfits.append(Misfit(note.place, why, "Give each corner a number of its own"))
            wanted[own] = ids[own]
    if len(set(wanted.values())) < len(wanted):  # what is left in the way of each other
        wanted = ids
    numbered = (
        replace(c, id=wanted[c.id], found=c.found or (c.id if wanted[c.id] != c.id else ""))
        for c in order
    )
    return replace(circuit, corners=tuple(numbered))


def _make_span(circuit: Circuit, note: SpanNote, misfits: list[Misfit]) -> RoadSpan | None:
    length = circuit.length_m
    if not (0.0 <= note.start_m <= length and 0.0 <= note.end_m <= length):
        why = f"{note.start_m:g} to {note.end_m:g} m is not on the lap"
        misfits.append(Misfit(note.place, why, f"The lap has 0 to {length:.0f} m"))
        return None
    along = (circuit.s - note.start_m) % length <= (note.end_m - note.start_m) % length
    left, right = (float(np.mean(edge[along])) for edge in (circuit.left, circuit.right))
    offsets = (left, -right)
    if note.left_m is not None and note.right_m is not None:
        offsets = (note.left_m, note.right_m)
    elif note.kind == "kerb":
        wide = note.width_m or KERB_M
        offsets = (left + wide, left) if note.side == "left" else (-right, -right - wide)
    name = note.name or note.kind
    return RoadSpan(note.kind, name, note.start_m, note.end_m, *offsets, note.grip_factor)
