"""Circuits out of GeoJSON: a centre line with widths or two edges, and what lies beside the road.

Coordinates are longitude and latitude in degrees and, if given, height in m (RFC 7946). Every
feature says in its property ``kind`` what it is: ``centre`` (with ``left_m`` and ``right_m``, or
``width_m``, each a number or a list with one for each point), ``left`` and ``right`` (or ``edge``
twice, or ``road`` as a polygon with a hole), ``start`` (a point on the start line), ``kerb``,
``patch``, ``wall``, ``verge`` (lines or polygons), ``landmark`` (points). A document without a
road puts what stands beside one on a circuit that is there already.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError, UsageError
from lapwright.messages import Message
from lapwright.model.build_circuit import (
    Edge,
    build_circuit_from_centre,
    build_circuit_from_edges,
    curve_of,
    start_at,
)
from lapwright.model.circuit import Circuit, Landmark, Origin, RoadSpan
from lapwright.numerics.curves import project_path
from lapwright.numerics.frames import LocalFrame, geodetic_to_local

Array = NDArray[np.float64]

_POINT_LIMIT: Final = 1_000_000
#: Width in m of a line feature that gives none.
_LINE_WIDTH_M: Final = 0.2
#: What lies further from the road is a slip, or another place, m.
FAR_M: Final = 2000.0
_SPANS: Final = ("kerb", "patch", "wall", "verge")
_ROADS: Final = ("centre", "center", "left", "right", "edge", "road")


@dataclass(frozen=True, slots=True)
class _Feature:
    """One feature in the local plane: rings or lines of shape (k,) for x, y, z each."""

    file: str
    number: int
    kind: str
    properties: Mapping[str, Any]
    lines: tuple[tuple[Array, Array, Array | None], ...] = field(default=())


def read_circuit_geojson(document: Mapping[str, Any], file: str) -> Circuit:
    """Read a circuit from a parsed GeoJSON document.

    Raises
    ------
    InputError
        When no features in it make a road, or a coordinate cannot be used.
    """
    raw = _raw_features(document, file)
    lines = [_read_lines(file, i, f) for i, f in enumerate(raw, 1)]
    origin = _find_origin(file, raw, lines)
    features = _place_all(file, origin, raw, lines)
    try:
        circuit = replace(_build_road(file, features), origin=origin)
    except UsageError as error:
        raise _refuse(file, str(error).rstrip(".")) from error
    name = next((str(document[k]) for k in ("name", "title") if document.get(k)), "")
    circuit = replace(circuit, name=circuit.name or name[:80])
    circuit = _start(file, circuit, features)
    spans = tuple(_build_span(circuit, f) for f in features if f.kind in _SPANS and f.lines)
    marks = tuple(_build_landmark(circuit, f) for f in features if f.kind == "landmark" and f.lines)
    _check_near(file, marks, _refuse)
    return replace(circuit, spans=spans, landmarks=marks)


def read_beside_geojson(
    document: Mapping[str, Any], file: str, circuit: Circuit
) -> tuple[tuple[Landmark, ...], tuple[RoadSpan, ...]]:
    """Read landmarks, kerbs, patches, walls and verges, placed on a circuit that has an origin.

    A point that has a name and no ``kind`` is a landmark.

    Raises
    ------
    InputError
        When the circuit's place on the earth is not known, a coordinate cannot be used,
        nothing is there, or something lies `FAR_M` and more from the road.
    """
    if circuit.origin is None:
        raise _refuse_beside(file, "latitude and longitude, and the circuit and logs have none")
    raw = _raw_features(document, file)
    lines = [_read_lines(file, i, f) for i, f in enumerate(raw, 1)]
    placed = [_name_point(f) for f in _place_all(file, circuit.origin, raw, lines) if f.lines]
    marks = tuple(_build_landmark(circuit, f) for f in placed if f.kind == "landmark")
    spans = tuple(_build_span(circuit, f) for f in placed if f.kind in _SPANS)
    if not marks and not spans:
        raise _refuse_beside(file, "no landmark, kerb, patch, wall or verge")
    _check_near(file, marks, _refuse_beside)
    return marks, spans


def _check_near(
    file: str, marks: Sequence[Landmark], refuse: Callable[[str, str], InputError]
) -> None:
    far = [m.name for m in marks if not abs(m.off_m) < FAR_M]
    if far:
        raise refuse(file, f"{far[0]!r:.60} lies more than {FAR_M:.0f} m from the road")


def _name_point(feature: _Feature) -> _Feature:
    point = not feature.kind and feature.lines[0][0].size == 1 and feature.properties.get("name")
    return replace(feature, kind="landmark") if point else feature


def _raw_features(document: Mapping[str, Any], file: str) -> list[Any]:
    raw = [document] if document.get("type") == "Feature" else document.get("features")
    if not isinstance(raw, list) or not raw:
        raise _refuse(file, "no features")
    return raw


def _place_all(
    file: str, origin: Origin, raw: Sequence[Any], lines: Sequence[Sequence[Array]]
) -> list[_Feature]:
    frame = LocalFrame(origin.latitude_deg, origin.longitude_deg, origin.altitude_m)
    return [
        _place(file, frame, i, f, c) for i, (f, c) in enumerate(zip(raw, lines, strict=True), 1)
    ]


def _refuse_beside(file: str, found: str) -> InputError:
    to_do = 'Give each thing a "kind" (landmark, kerb, …), a name and its longitude and latitude'
    return InputError([Message("refused", file, found, "No landmark was placed", to_do)])


def _refuse(file: str, found: str, number: int | None = None) -> InputError:
    place = "" if number is None else f"feature {number}"
    to_do = 'Give each feature a "kind": centre with left_m and right_m, or left and right'
    return InputError([Message("refused", file, found, "No circuit was made", to_do, place)])


def _kind(feature: Mapping[str, Any]) -> str:
    properties = feature.get("properties") or {}
    kind = properties.get("kind", "") if isinstance(properties, Mapping) else ""
    return str(kind).strip().lower()


def _read_lines(file: str, number: int, feature: Any) -> list[Array]:
    """Coordinates of a feature as arrays of shape (k, 2) or (k, 3)."""
    if not isinstance(feature, Mapping):
        raise _refuse(file, "no object", number)
    geometry = feature.get("geometry")
    geometry = geometry if isinstance(geometry, Mapping) else {}
    kind, held = geometry.get("type"), geometry.get("coordinates")
    nested = {"Point": [[held]], "LineString": [held], "Polygon": held, "MultiLineString": held}
    parts: Any = nested.get(str(kind))
    lines: list[Array] = []
    for part in parts if isinstance(parts, list) else []:
        try:
            array = np.array([[_as_float(c) for c in p] for p in part or ()], dtype=np.float64)
        except (TypeError, ValueError, OverflowError) as error:
            raise _refuse(file, "a coordinate is no number", number) from error
        if array.ndim != 2 or array.shape[1] < 2 or array.shape[0] > _POINT_LIMIT:
            raise _refuse(file, "coordinates are no list of points", number)
        bad = ~(np.abs(array[:, 0]) <= 180.0) | ~(np.abs(array[:, 1]) <= 90.0)
        if bad.any() or not np.isfinite(array).all():
            at = array[np.flatnonzero(bad)[0] if bad.any() else 0]
            found = f"{at[0]:g}, {at[1]:g} is no longitude and latitude in degrees"
            raise _refuse(file, found, number)
        lines.append(array[:, :3])
    return lines


def _find_origin(file: str, raw: Sequence[Any], lines: Sequence[Sequence[Array]]) -> Origin:
    """Middle of the road's points."""
    roads = [c for f, parts in zip(raw, lines, strict=True) for c in parts if _kind(f) in _ROADS]
    roads = roads or [c for parts in lines for c in parts if len(c) > 2]
    if not roads:
        raise _refuse(file, "no line or polygon")
    points = np.concatenate([c[:, :2] for c in roads])
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    heights = [c[:, 2] for c in roads if c.shape[1] == 3]
    height = float(np.mean(np.concatenate(heights))) if heights else 0.0
    return Origin(float(middle[1]), float(middle[0]), height)


def _place(
    file: str, frame: LocalFrame, number: int, feature: Mapping[str, Any], parts: Sequence[Array]
) -> _Feature:
    placed = []
    for part in parts:
        x, y, _ = geodetic_to_local(frame, part[:, 1], part[:, 0], frame.height)
        placed.append((x, y, part[:, 2] if part.shape[1] == 3 else None))
    properties = feature.get("properties")
    held = properties if isinstance(properties, Mapping) else {}
    return _Feature(file, number, _kind(feature), held, tuple(placed))


def _build_road(file: str, features: Sequence[_Feature]) -> Circuit:
    centre = next((f for f in features if f.kind in ("centre", "center") and f.lines), None)
    if centre is None and len(features) == 1 and not features[0].kind and features[0].lines:
        centre = features[0]
    if centre is not None:
        x, y, z = centre.lines[0]
        right, left = (_read_width(file, centre, side, x.size) for side in ("right", "left"))
        if x[0] == x[-1] and y[0] == y[-1]:
            x, y, right, left = x[:-1], y[:-1], right[:-1], left[:-1]
            z = None if z is None else z[:-1]
        return build_circuit_from_centre(x, y, right, left, z)
    kinds = (("right", "left"), ("edge", "edge"), ("road", "road"))
    for first, second in kinds:
        lines = list(_lines_of(features, first))
        lines += [] if first == second else list(_lines_of(features, second))
        if len(lines) == 2:
            return build_circuit_from_edges(*(Edge(*_open(line)) for line in lines))
    held = ", ".join(sorted({f.kind or "without kind" for f in features})[:8])
    raise _refuse(file, f"neither a centre line nor two edges (there are: {held})")


def _lines_of(
    features: Sequence[_Feature], kind: str
) -> Iterator[tuple[Array, Array, Array | None]]:
    return (line for f in features if f.kind == kind for line in f.lines)


def _open(line: tuple[Array, Array, Array | None]) -> tuple[Array, Array, Array | None]:
    """Leave out a last point that repeats the first."""
    x, y, z = line
    if x[0] != x[-1] or y[0] != y[-1]:
        return line
    return x[:-1], y[:-1], None if z is None else z[:-1]


def _read_width(file: str, feature: _Feature, side: str, n: int) -> Array:
    value = feature.properties.get(f"{side}_m")
    if value is None and feature.properties.get("width_m") is not None:
        return 0.5 * _numbers(file, feature, "width_m", n)
    if value is None:
        found = f"the centre line has neither {side}_m nor width_m; a road needs its width"
        raise _refuse(file, found, feature.number)
    return _numbers(file, feature, f"{side}_m", n)


def _numbers(file: str, feature: _Feature, name: str, n: int) -> Array:
    """Read a property that is a number, or a list with one for each point."""
    value = feature.properties[name]
    try:
        listed = [_as_float(v) for v in value] if isinstance(value, list) else _as_float(value)
        array = np.array(listed, dtype=np.float64)
    except (TypeError, ValueError, OverflowError) as error:
        raise _refuse(file, f"{name} is no number", feature.number) from error
    if array.ndim == 0:
        return np.full(n, float(array))
    if array.shape != (n,):
        found = f"{name} has {array.size} values for {n} points"
        raise _refuse(file, found, feature.number)
    return array


def _start(file: str, circuit: Circuit, features: Sequence[_Feature]) -> Circuit:
    point = next((f.lines[0] for f in features if f.kind == "start" and f.lines), None)
    if point is None:
        return circuit
    try:
        return start_at(circuit, float(np.mean(point[0])), float(np.mean(point[1])))
    except UsageError as error:
        raise _refuse(file, str(error).removeprefix("--start: ").rstrip(".")) from error


def _build_span(circuit: Circuit, feature: _Feature) -> RoadSpan:
    """Turn a line or polygon into a stretch between two offsets that holds all of it."""
    x, y = (np.concatenate([line[axis] for line in feature.lines]) for axis in (0, 1))
    s, n = project_path(curve_of(circuit), x, y)
    width = _number(feature, "width_m", _LINE_WIDTH_M if np.ptp(n) < _LINE_WIDTH_M else 0.0)
    factor = feature.properties.get("grip_factor")
    kind: Any = feature.kind
    return RoadSpan(
        kind=kind,
        name=_name(feature),
        start_m=float(np.nanmin(s) % circuit.length_m),
        end_m=float(np.nanmax(s) % circuit.length_m),
        left_m=float(np.nanmax(n) + 0.5 * width),
        right_m=float(np.nanmin(n) - 0.5 * width),
        grip_factor=None if factor is None else _number(feature, "grip_factor", 1.0),
        height_m=_number(feature, "height_m", 0.0),
    )


def _build_landmark(circuit: Circuit, feature: _Feature) -> Landmark:
    x, y, _ = feature.lines[0]
    s, n = project_path(curve_of(circuit), x[:1], y[:1])
    at = float(s[0] % circuit.length_m)
    return Landmark(_name(feature), at, float(n[0]), _number(feature, "height_m", 0.0))


def _name(feature: _Feature) -> str:
    return str(feature.properties.get("name") or feature.kind)[:80]


def _number(feature: _Feature, name: str, default: float) -> float:
    """Read a property that is a number; ``default`` without it."""
    value = feature.properties.get(name)
    if value is None:
        return default
    try:
        number = _as_float(value)
    except (TypeError, OverflowError):
        number = np.nan
    if not np.isfinite(number):
        raise _refuse(feature.file, f"{name} is {value!r:.40}, no number", feature.number)
    return number


def _as_float(value: object) -> float:
    """Take a number of JSON; a text or a truth value is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"{value!r:.40} is no number")
    return float(value)
