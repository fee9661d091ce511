"""A circuit as a JSON document and back (schema ``lapwright.circuit/1``)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any, Final, Literal, TypeVar, get_args, get_origin, get_type_hints

import numpy as np

from lapwright.errors import UsageError
from lapwright.model.circuit import Circuit, Corner, Landmark, Origin, RoadSpan

_R = TypeVar("_R")
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
        raise UsageError(f"circuit: the schema is {document.get('schema')!r:.60}, not {SCHEMA!r}.")
    try:
        plain = {name: document[name] for name in _PLAIN}
        _check_types(Circuit, plain, "circuit")
        arrays: dict[str, Any] = {n: np.asarray(document["arrays"][n], float) for n in _ARRAYS}
        circuit = Circuit(
            **plain,
            **arrays,
            origin=None if document["origin"] is None else _record(Origin, document["origin"]),
            corners=tuple(_record(Corner, c) for c in document["corners"]),
            landmarks=tuple(_record(Landmark, m) for m in document["landmarks"]),
            spans=tuple(_record(RoadSpan, s) for s in document["spans"]),
        )
    except (KeyError, TypeError, ValueError, OverflowError, AttributeError) as error:
        raise UsageError(f"circuit: the document lacks or garbles {error!s:.80}.") from error
    _check_geometry(circuit)
    return circuit


def _check_geometry(circuit: Circuit) -> None:
    arrays = {name: getattr(circuit, name) for name in _ARRAYS}
    if len({a.shape for a in arrays.values()}) != 1 or circuit.s.ndim != 1 or circuit.s.size < 16:
        raise UsageError("circuit: the arrays differ in length or are too short.")
    if not all(np.isfinite(a).all() for a in arrays.values()):
        raise UsageError("circuit: some values are not finite.")
    if circuit.length_m <= 0 or min(circuit.left.min(), circuit.right.min()) <= 0:
        raise UsageError("circuit: the length or a distance to an edge is not positive.")
    step = circuit.step_m
    chord = np.hypot(circuit.x - np.roll(circuit.x, 1), circuit.y - np.roll(circuit.y, 1))
    uneven = np.abs(circuit.s - np.arange(circuit.s.size) * step).max() > 0.01 * step
    if uneven or np.abs(chord / step - 1).max() > 0.5:
        raise UsageError("circuit: s, x, y and length_m do not make one road at equal steps.")


def _record(kind: type[_R], values: Mapping[str, Any]) -> _R:
    _check_types(kind, values, kind.__name__.lower())
    return kind(**values)


def _check_types(kind: type, values: Mapping[str, Any], what: str) -> None:
    hints = get_type_hints(kind)
    for name, value in values.items():
        if name not in hints or not _fits(value, hints[name]):
            raise ValueError(f"{what}: {name:.40} = {value!r:.40}")


def _fits(value: object, hint: Any) -> bool:
    """Tell whether plain data has the type that a record declares; numbers are finite."""
    if get_origin(hint) is Literal:
        return value in get_args(hint)
    if get_args(hint):
        return any(_fits(value, choice) for choice in get_args(hint))
    if hint is float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            return False
        return math.isfinite(value)
    return isinstance(value, hint)
