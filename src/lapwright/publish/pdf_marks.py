"""Marks of a corner's road on paper: road left, road hidden, and the lines under the road."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np

from lapwright.guide.figures import from_apex
from lapwright.guide.mark_words import list_marks, say_seen
from lapwright.guide.sentences import chosen_system, write_text
from lapwright.publish.pdf_frame import WIDTH, Frame
from lapwright.publish.roles import ROLES
from lapwright.publish.svg import LETTER, draw_box, draw_line, fill, stroke, write_label

View = Mapping[str, Any]

_SIZE: Final = 7.5
_ROW: Final = 10.0
#: What stands in the picture; room to be wrong stands in words beside the table.
_GROUPS: Final = ("done on", "edges", "kerbs")
#: A stake, a gauge's needle, two posts in line, an eye's wedge, the author's pennant: as lines
#: from (x, y) to (x, y) about the mark's place, the same as on the page.
_SHAPES: Final[dict[str, tuple[tuple[float, float, float, float], ...]]] = {
    "place": ((0, -4, 0, 4), (-3, 4, 3, 4)),
    "state": ((-3, 3, 3, -3), (-3, 3, 4, 3)),
    "alignment": ((-2.5, -4, -2.5, 4), (1, -2, 1, 4)),
    "view": ((4, -3.5, -3, 0), (-3, 0, 4, 3.5)),
    "chosen": ((-2, 4, -2, -4), (-2, -4, 4, -1), (4, -1, -2, 2)),
}
#: Where road is left, and the action that says where that is.
_PARTS: Final = (
    ("entry", "turn_in_m", "start_m"), ("apex", "apex_m", "apex_m"), ("exit", "", "end_m")
)  # fmt: skip


def draw_on_road(view: View, corner: View, frame: Frame) -> list[str]:
    """Draw the road that is hidden from where the corner is prepared, and the road left."""
    return [*_draw_hidden(view, corner, frame), *_draw_left(view, corner, frame)]


def _place(view: View, corner: View, at_m: float) -> float:
    """Return metres after the apex of a place on the road."""
    return from_apex(at_m, corner["apex_m"], view["guide"]["circuit"]["length_m"])


def _edges(view: View, frame: Frame, place: float) -> tuple[float, float]:
    road = view["pictures"]["road"]
    left, right = (
        float(np.interp(place, frame.place, np.asarray(road[side], float)[frame.index]))
        for side in ("left", "right")
    )
    return left, -right


def _draw_hidden(view: View, corner: View, frame: Frame) -> list[str]:
    seen = _find_seen(view, corner)
    if seen is None or seen[2]:
        return []
    first = seen[0] + seen[1]
    if not frame.place[0] < first < frame.place[-1]:
        return []
    x, (left, right) = float(frame.x(first)), _edges(view, frame, first)
    top, bottom = float(frame.y(left)), float(frame.y(right))
    veil = draw_box(x, top, WIDTH - x, bottom - top, fill(ROLES["other"], 0.15))
    return [veil, draw_line(x, top - 3, x, bottom + 3, stroke(ROLES["ink"], 1.0, "1.5 2"))]


def _find_seen(view: View, corner: View) -> tuple[float, float, bool, str] | None:
    """Find where the corner is prepared (m after the apex), how far is seen, and if at least."""
    sight = view["pictures"].get("sight")
    if not sight or sight.get("ahead_m") is None:
        return None
    ahead, step = np.asarray(sight["ahead_m"], float), view["pictures"]["step_m"]
    for action in ("brake_start_m", "turn_in_m", "start_m"):
        at = corner["start_m"] if action == "start_m" else _median(corner, action)
        if at is None:
            continue
        far = float(ahead[round(at / step) % ahead.size])
        if np.isfinite(far):
            return _place(view, corner, at), far, far >= sight["reach_m"] - 0.5, action
    return None


def _median(corner: View, action: str) -> float | None:
    found = corner["actions"].get(action)
    return found["median"] if found else None


def _draw_left(view: View, corner: View, frame: Frame) -> list[str]:
    marks = []
    for part, action, otherwise in _PARTS:
        use, at = (corner.get("road_use") or {}).get(part), _median(corner, action)
        place = _place(view, corner, corner[otherwise] if at is None else at)
        if not use or use["left_m"] <= 0 or not frame.place[0] < place < frame.place[-1]:
            continue
        left = (use["side"] == "inside") == (corner["direction"] == "left")
        edges = _edges(view, frame, place)
        edge = edges[0] if left else edges[1]
        x, a = float(frame.x(place)), float(frame.y(edge))
        b = float(frame.y(edge - (1 if left else -1) * use["left_m"]))
        style = stroke(ROLES["edge"], 1.0, "2 2" if use["verdict"] == "leave it" else "")
        marks += [draw_line(x, a, x, b, style), draw_line(x - 3, b, x + 3, b, style)]
    return marks


def draw_lines(view: View, corner: View, frame: Frame, y: float) -> tuple[list[str], float]:
    """Draw a line for all that is told under the road, from a height down; return its end too."""
    marks: list[str] = []
    for glyph, ends, text in _list_lines(view, corner, frame):
        drawn, rows = _draw_line(frame, glyph, ends, text, y)
        marks += drawn
        y += rows * _ROW
    return marks, y


Ends = tuple[float, float] | None


def _list_lines(view: View, corner: View, frame: Frame) -> Iterator[tuple[str, Ends, str]]:
    """Yield glyph, ends in m after the apex, and words: of the chosen lap, within the frame."""
    system, chosen = chosen_system(view["units"]), view["pictures"]["chosen_lap"]
    seen = _find_seen(view, corner)
    if seen is not None:
        text = write_text(say_seen(seen[3], seen[1], seen[2]).as_view(), system)
        yield "seen", (seen[0], float(frame.place[-1]) if seen[2] else seen[0] + seen[1]), text
    for line in list_marks(view, corner):
        unused = line["glyph"] == "kerb" and not line["wheels"]
        if unused or line["group"] not in _GROUPS or chosen not in line.get("laps", (chosen,)):
            continue
        text = write_text(line["text"], system)
        if line["from_m"] is None:
            yield line["glyph"], None, text
            continue
        ends = _place(view, corner, line["from_m"]), _place(view, corner, line["to_m"])
        if ends[1] > frame.place[0] and ends[0] < frame.place[-1]:
            yield line["glyph"], ends, text


def _draw_line(frame: Frame, glyph: str, ends: Ends, text: str, y: float) -> tuple[list[str], int]:
    """Draw one line: its words beside its mark where they have room, else in a row of their own."""
    colour, base = ROLES["soft"], y + 2.5
    if ends is None:
        return [write_label(0.0, base, text, colour, _SIZE)], 1
    a, b = (float(np.clip(frame.x(place), 0.0, WIDTH)) for place in ends)
    marks = _draw_glyph(glyph, a, b, y)
    wide = LETTER * _SIZE * len(text)
    if b + 8 + wide <= WIDTH:
        return [*marks, write_label(b + 8, base, text, colour, _SIZE)], 1
    if a - 8 - wide >= 0:
        return [*marks, write_label(a - 8, base, text, colour, _SIZE, "end")], 1
    return [*marks, write_label(0.0, base + _ROW, text, colour, _SIZE)], 2


def _draw_glyph(glyph: str, a: float, b: float, y: float) -> list[str]:
    if glyph == "seen":
        return [draw_box(a, y - 2.5, max(b - a, 1.0), 5.0, fill(ROLES["edge"]))]
    if glyph == "kerb":
        box = draw_box(a, y - 2.5, max(b - a, 2.0), 5.0, fill(ROLES["kerb"], 0.18))
        hatch = [
            draw_line(x, y + 2.5, min(x + 4.0, b), y - 2.5, stroke(ROLES["kerb"], 0.7))
            for x in np.arange(a, b, 4.0)
        ]
        return [box, *hatch]
    style = stroke(ROLES["ink"], 1.0)
    return [
        draw_line(a + x1, y + y1, a + x2, y + y2, style)
        for x1, y1, x2, y2 in _SHAPES.get(glyph, ())
    ]
