"""A circuit as a JSON document and back (schema ``lapwright.circuit/1``)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any, Final

import numpy as np

from lapwright.errors import UsageError
from lapwright.model.circuit import Circuit, Corner, Landmark, Origin, RoadSpan

SCHEMA: Final = "lapwright.circuit/1"
_ARRAYS: Final = tuple(
    f.name
    for f in fields(Circuit)
    if f.name in {"s", "x", "y", "z", "heading", "curvature", "slope", "banking"}
    or f.name in {"vertical_curvature", "left", "right"}
)
_PLAIN: Final = ("name", "length_m", "turns", "surveyed", "has_heights")


def circuit_to_document(circuit: Circuit) -> dict[str, Any]:
    """Return the circuit as plain data, arrays as lists."""
    return {
        "schema": SCHEMA,
        **{name: getattr(circuit, name) for name in _PLAIN},
        "origin": None if circuit.origin is None else asdict(circuit.origin),
        "corners": [asdict(c) for c in circuit.corners],
        "landmarks": [asdict(m) for m in circuit.landmarks],
        "spans": [asdict(s) for s in circuit.spans],
        "arrays": {name: [float(f"{v:.9g}") for v in getattr(circuit, name)] for name in _ARRAYS},
    }


def circuit_from_document(document: Mapping[str, Any]) -> Circuit:
    """Build a circuit from `circuit_to_document`'s form.

    Raises
    ------
    UsageError
        If the schema is another one, a field is missing, or arrays differ in length.
    """
    if document.get("schema") != SCHEMA:
        raise UsageError(f"circuit: the schema is {document.get('schema')!r}, not {SCHEMA!r}.")
    try:
        arrays: dict[str, Any] = {n: np.asarray(document["arrays"][n], float) for n in _ARRAYS}
        circuit = Circuit(
            **{name: document[name] for name in _PLAIN},
            **arrays,
            origin=None if document["origin"] is None else Origin(**document["origin"]),
            corners=tuple(Corner(**c) for c in document["corners"]),
            landmarks=tuple(Landmark(**m) for m in document["landmarks"]),
            spans=tuple(RoadSpan(**s) for s in document["spans"]),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise UsageError(f"circuit: {type(error).__name__} in the document: {error}.") from error
    if len({a.size for a in arrays.values()}) != 1 or circuit.s.size < 16:
        raise UsageError("circuit: the arrays differ in length or are too short.")
    if not all(np.isfinite(a).all() for a in arrays.values()):
        raise UsageError("circuit: some values are not finite.")
    return circuit
