"""Circuits out of ASAM OpenDRIVE: plan view, heights, superelevation, lanes, things beside."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import InputError, UsageError
from lapwright.messages import Message
from lapwright.model.build_circuit import (
    Edge,
    build_circuit_from_centre,
    build_circuit_from_edges,
)
from lapwright.model.circuit import Circuit, Landmark
from lapwright.readers.road_line import (
    Cubics,
    Piece,
    RoadLine,
    Shape,
    arc_shape,
    line_shape,
    poly_shape,
    sample_pieces,
    spiral_shape,
    split_places,
)
from lapwright.readers.xml_tree import Node, read_tree

Array = NDArray[np.float64]

#: Metres between the places at which a road is sampled.
_STEP_M: Final = 1.0
#: Ends of roads closer than this are one place.
_JOIN_M: Final = 1.0
_PIECE_LIMIT: Final = 20_000
#: A piece begins where the one before it ends, within this, m.
_APART_M: Final = 1.0
_LENGTH_LIMIT_M: Final = 100_000.0
#: Types of lanes that are the road; shoulders, borders and the like lie beside it.
_DRIVEN: Final = frozenset(
    ("driving", "bidirectional", "entry", "exit", "onRamp", "offRamp", "connectingRamp", "stop")
)


def recognise(head: bytes) -> bool:
    """Whether the first elements open an OpenDRIVE document."""
    return head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<") and b"<OpenDRIVE" in head


def read_circuit_opendrive(data: bytes, file: str) -> Circuit:
    """Read the closed road of an OpenDRIVE file as a circuit.

    Raises
    ------
    InputError
        When the document is broken, or no roads in it close to a circuit.
    """
    roads = read_roads(data, file)
    try:
        chain = _find_loop(roads, file)
        line = _join([sample_road(r, forwards, _STEP_M) for r, forwards in chain])
    except ValueError as error:
        raise _refuse(file, *_split_place(error)) from error
    circuit = _build(line, file)
    first, forwards = chain[0]
    if len(chain) == 1 and forwards:
        circuit = replace(circuit, landmarks=_landmarks(first, circuit))
    return replace(circuit, name=next((r.name for r, _ in chain if r.name), ""))


@dataclass(frozen=True, slots=True)
class Road:
    """One road of the file: its pieces, the cubics along it, its lanes and what it joins."""

    id: str
    name: str
    node: Node
    length: float
    pieces: tuple[Piece, ...]
    height: Cubics
    tilt: Cubics
    shift: Cubics
    sections: tuple[Node, ...]
    after: tuple[str, str] | None
    before: tuple[str, str] | None


def read_roads(data: bytes, file: str) -> tuple[Road, ...]:
    """Read all roads of a document.

    Raises
    ------
    InputError
        When it is broken or a number in it cannot be used.
    """
    root = read_tree(data, file)
    if root.name != "OpenDRIVE":
        raise _refuse(file, f"the document is {root.name[:40]}, not OpenDRIVE", root.line)
    try:
        roads = tuple(_read_road(node) for node in root.all("road"))
    except ValueError as error:
        raise _refuse(file, *_split_place(error)) from error
    if not roads:
        raise _refuse(file, "no road with a plan view", 1)
    return roads


def _split_place(error: ValueError) -> tuple[str, int]:
    """Split what `Node.number` says into the finding and its line."""
    line, _, found = str(error).removeprefix("line ").partition(": ")
    return (found, int(line)) if line.isdigit() else (str(error), 1)


def _refuse(file: str, found: str, line: int | None = None) -> InputError:
    place = "" if line is None else f"line {line}"
    to_do = "Export a circuit whose roads follow each other to a loop"
    return InputError([Message("refused", file, found, "No circuit was made", to_do, place, line)])


def _read_road(node: Node) -> Road:
    read = [(_read_piece(g), g.line) for g in node.all("planView", "geometry")]
    read.sort(key=lambda held: held[0].s)
    pieces = tuple(piece for piece, _ in read)
    for (one, _), (other, line) in itertools.pairwise(read):
        if abs(one.s + one.length - other.s) > _APART_M:
            found = f"a geometry begins at {other.s:g} m, the one before ends at "
            raise ValueError(f"line {line}: {found}{one.s + one.length:g} m")
    length = sum(p.length for p in pieces)
    if not pieces or not 0.0 < length <= _LENGTH_LIMIT_M or len(pieces) > _PIECE_LIMIT:
        raise ValueError(f"line {node.line}: road {node.attributes.get('id')} has no usable line")
    return Road(
        node.attributes.get("id", ""),
        node.attributes.get("name", "")[:80],
        node,
        length,
        pieces,
        _read_cubics(node, "elevationProfile", "elevation"),
        _read_cubics(node, "lateralProfile", "superelevation"),
        _read_cubics(node, "lanes", "laneOffset"),
        tuple(sorted(node.all("lanes", "laneSection"), key=lambda n: n.number("s", 0.0))),
        _read_link(node, "successor"),
        _read_link(node, "predecessor"),
    )


def _read_link(node: Node, name: str) -> tuple[str, str] | None:
    link = node.first("link", name)
    if link is None or link.attributes.get("elementType", "road") != "road":
        return None
    return link.attributes.get("elementId", ""), link.attributes.get("contactPoint", "start")


def _read_cubics(node: Node, *names: str, key: str = "s") -> Cubics:
    rows = [
        (n.number(key, 0.0), *(n.number(f, 0.0) for f in "abcd"))
        for n in node.all(*names)
    ]  # fmt: skip
    table = np.array(sorted(rows), dtype=np.float64).reshape(-1, 5)
    return Cubics(table[:, 0], table[:, 1:])


def _read_piece(node: Node) -> Piece:
    length = node.number("length")
    if not 0.0 < length <= _LENGTH_LIMIT_M:
        raise ValueError(f"line {node.line}: a geometry of {length:g} m")
    s, x, y, heading = (node.number(name) for name in ("s", "x", "y", "hdg"))
    for inner in node.inner:
        shape = _read_shape(inner, length)
        if shape is not None:
            return Piece(s, x, y, heading, length, shape)
    raise ValueError(f"line {node.line}: a geometry without a known shape")


def _read_shape(node: Node, length: float) -> Shape | None:
    if node.name == "line":
        return line_shape
    if node.name == "arc":
        return arc_shape(node.number("curvature"))
    if node.name == "spiral":
        return spiral_shape(node.number("curvStart"), node.number("curvEnd"), length)
    if node.name == "poly3":
        factors = [node.number(f, 0.0) for f in "abcd"]
        return poly_shape((0.0, 1.0, 0.0, 0.0), factors, length, None)
    if node.name == "paramPoly3":
        u, v = ([node.number(f + axis, 0.0) for f in "abcd"] for axis in "UV")
        is_length = node.attributes.get("pRange", "normalized") == "arcLength"
        return poly_shape(u, v, length, length if is_length else 1.0)
    return None


def sample_road(road: Road, forwards: bool = True, step_m: float = _STEP_M) -> RoadLine:
    """Sample a road at equal steps and at the joints of its pieces, both ends included."""
    joints = [p.s for p in road.pieces]
    steps = np.linspace(0.0, road.length, max(2, round(road.length / step_m) + 1))
    s = np.unique(np.clip(np.concatenate([steps, joints]), 0.0, road.length))
    s = s[np.append(np.diff(s) > 1e-6, True)]
    x, y, heading = sample_pieces(road.pieces, s)
    left, right = _read_edges(road, s)
    line = RoadLine(s, x, y, road.height.at(s), heading, road.tilt.at(s), left, right)
    return line if forwards else _reverse(line)


def _reverse(line: RoadLine) -> RoadLine:
    def back(values: Array) -> Array:
        return values[::-1]

    return RoadLine(
        line.s[-1] - back(line.s), back(line.x), back(line.y), back(line.z),
        back(line.heading) + np.pi, -back(line.tilt), -back(line.right), -back(line.left),
    )  # fmt: skip


def _read_edges(road: Road, s: Array) -> tuple[Array, Array]:
    """Offsets of the outermost driven lanes' outer borders."""
    shift = road.shift.at(s)
    left, right = shift.copy(), shift.copy()
    starts = [n.number("s", 0.0) for n in road.sections]
    for section, start, at in zip(road.sections, starts, split_places(starts, s), strict=True):
        if at.start < at.stop:
            d = np.maximum(s[at] - start, 0.0)
            left[at] += _reach(section, "left", d)
            right[at] -= _reach(section, "right", d)
    return left, right


def _reach(section: Node, side: str, d: Array) -> Array:
    """Distance from the middle to the outer border of the last driven lane of a side."""
    lanes = sorted(section.all(side, "lane"), key=lambda n: abs(n.number("id")))
    gone, reach = np.zeros(d.size), np.zeros(d.size)
    for lane in lanes:
        width, border = (_read_cubics(lane, n, key="sOffset") for n in ("width", "border"))
        gone = gone + width.at(d) if width.starts.size else np.abs(border.at(d))
        if lane.attributes.get("type") in _DRIVEN:
            reach = gone
    return reach


def _find_loop(roads: Sequence[Road], file: str) -> list[tuple[Road, bool]]:
    """Follow successors from the longest road on until it comes again."""
    by_id = {r.id: r for r in roads}
    first = max(roads, key=lambda r: r.length)
    chain, forwards, road = [], True, first
    for _ in range(len(roads)):
        chain.append((road, forwards))
        link = road.after if forwards else road.before
        if link is None or link[0] not in by_id:
            break
        road, forwards = by_id[link[0]], link[1] != "end"
        if road is first:
            break
    ends = [sample_road(r, f, 50.0) for r, f in chain]
    gap = float(np.hypot(ends[-1].x[-1] - ends[0].x[0], ends[-1].y[-1] - ends[0].y[0]))
    for a, b in itertools.pairwise(ends):
        gap = max(gap, float(np.hypot(a.x[-1] - b.x[0], a.y[-1] - b.y[0])))
    if gap > _JOIN_M:
        named = ", ".join(f'"{r.id}"' for r, _ in chain[:6])
        found = f"the road does not close: roads {named} leave a gap of {gap:.1f} m"
        raise _refuse(file, found, first.node.line)
    return chain


def _join(lines: Sequence[RoadLine]) -> RoadLine:
    """Put lines one after the other; the last point of each is the first of the next."""
    ends = np.cumsum([0.0, *(line.s[-1] for line in lines)])
    names = ("x", "y", "z", "heading", "tilt", "left", "right")
    s = np.concatenate([line.s[:-1] + at for line, at in zip(lines, ends, strict=False)])
    return RoadLine(s, *(np.concatenate([getattr(n, k)[:-1] for n in lines]) for k in names))


def _build(line: RoadLine, file: str) -> Circuit:
    """Keep the file's reference line where it lies on the road, else take the middle."""
    try:
        if (line.left >= 0.0).all() and (line.right <= 0.0).all():
            across = np.cos(line.tilt)
            heights = line.edge(line.right)[2], line.edge(line.left)[2]
            return build_circuit_from_centre(
                line.x, line.y, -line.right * across, line.left * across, line.z,
                edge_heights=heights,
            )  # fmt: skip
        left, right = (Edge(*line.edge(offset)) for offset in (line.left, line.right))
        return build_circuit_from_edges(left, right)
    except UsageError as error:
        raise _refuse(file, str(error).rstrip(".")) from error


def _landmarks(road: Road, circuit: Circuit) -> tuple[Landmark, ...]:
    """Take things that stand beside the road; a repeated one stands where it begins."""
    scale = circuit.length_m / road.length
    found = []
    for node in road.node.all("objects", "object"):
        try:
            at, off, height = node.number("s"), node.number("t"), node.number("height", 0.0)
        except ValueError:
            continue
        name = node.attributes.get("name") or node.attributes.get("type") or "object"
        if 0.0 <= at <= road.length and abs(off) < 500.0:
            found.append(Landmark(name[:60], at * scale % circuit.length_m, off, height))
    return tuple(found[:1000])
