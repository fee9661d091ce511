"""The road of one corner unrolled, as a picture for paper."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lapwright.guide.figures import from_apex
from lapwright.guide.sentences import chosen_system, write_value
from lapwright.publish.pdf_frame import WIDTH, Frame
from lapwright.publish.pdf_marks import draw_lines, draw_on_road
from lapwright.publish.roles import ROLES
from lapwright.publish.svg import (
    LETTER,
    draw_box,
    draw_dot,
    draw_line,
    draw_path,
    fill,
    make_svg,
    stroke,
    write_label,
)

Array = NDArray[np.float64]
View = Mapping[str, Any]

_ROAD: Final = 80.0
_ROW: Final = 10.5
_SIZE: Final = 8.0
_MARGIN_M: Final = 25.0
#: A picture of more road than this would be too small to read, m.
_MOST_M: Final = 650.0
#: What is written on the road, in driving order; a lift only where there is no braking.
_WRITTEN: Final = (
    "off_throttle_m", "brake_start_m", "turn_in_m", "brake_end_m", "throttle_first_m",
    "full_throttle_m",
)  # fmt: skip
_STRIPS: Final = (("speed", 36.0), ("throttle", 13.0), ("brake", 13.0), ("steering", 18.0))


@dataclass(frozen=True, slots=True)
class Flag:
    """A short label on the road: what, and metres after the apex."""

    text: str
    place: float
    spread: float


def draw_ribbon(view: View, corner: View) -> tuple[str, str]:
    """Draw the road of a corner with its laps and what is done where.

    Returns
    -------
    tuple of str
        The picture as SVG and a text that stands for it.
    """
    flags = find_flags(view, corner)
    first, last = _find_range(view, corner, flags)
    left, right = _split_rows(flags, first, last)
    frame = _make_frame(view, corner, (first, last), 8.0 + _ROW * len(left))
    bottom = frame.middle + _ROAD / 2 + 8.0
    marks = [*_draw_road(view, frame), *draw_on_road(view, corner, frame), *_draw_laps(view, frame)]
    marks += _draw_flags(view, frame, left, 8.0, 1.0)
    marks += _draw_flags(view, frame, right, bottom + _ROW * len(right), -1.0)
    below = bottom + _ROW * len(right) + (14.0 if right else 8.0)
    marks += _draw_scale(view, frame, below)
    lines, below = draw_lines(view, corner, frame, below + 6.0)
    marks += lines
    strips, end = _draw_strips(view, frame, below + 8.0)
    return make_svg(WIDTH, end, [*marks, *strips]), _tell(view, corner, flags, first, last)


def find_flags(view: View, corner: View) -> list[Flag]:
    """Find what is written on the road of a corner: the middle of all laps."""
    system, length = chosen_system(view["units"]), view["guide"]["circuit"]["length_m"]
    flags = []
    for name in _WRITTEN:
        action, said = corner["actions"].get(name), view["words"]["actions"].get(name)
        if not action or not said or action["median"] is None or not said.get("before"):
            continue
        if name == "off_throttle_m" and corner["actions"]["brake_start_m"]["median"] is not None:
            continue
        place = from_apex(action["median"], corner["apex_m"], length)
        template = said["before" if place < 0 else "after"]
        text = template.replace("{0}", write_value(abs(place), said["quantity"], system))
        flags.append(Flag(text, place, action["spread"] or 0.0))
    return sorted(flags, key=lambda flag: flag.place)


def _find_range(view: View, corner: View, flags: list[Flag]) -> tuple[float, float]:
    length = view["guide"]["circuit"]["length_m"]
    ends = [from_apex(corner[key], corner["apex_m"], length) for key in ("start_m", "end_m")]
    places = [flag.place for flag in flags]
    first = min([ends[0], *places]) - _MARGIN_M
    last = max([ends[1], *places]) + _MARGIN_M
    most = min(_MOST_M, 0.9 * length)
    first = max(first, min(ends[0], last - most), -0.45 * length)
    return first, min(last, first + most, 0.45 * length)


def _split_rows(flags: list[Flag], first: float, last: float) -> tuple[list[Flag], list[Flag]]:
    """Set labels above the road to the right of their place; below it what has no room there."""
    shown = [flag for flag in flags if first <= flag.place <= last]
    left: list[Flag] = []
    right: list[Flag] = []
    for flag in shown:
        x = (flag.place - first) / (last - first) * WIDTH
        (left if x + _width(flag.text) <= WIDTH else right).append(flag)
    return left, right[::-1]


def _width(text: str) -> float:
    return LETTER * _SIZE * len(text) + 6.0


def _make_frame(view: View, corner: View, ends: tuple[float, float], top: float) -> Frame:
    pictures = view["pictures"]
    step, points, road = pictures["step_m"], pictures["points"], pictures["road"]
    count = max(int((ends[1] - ends[0]) / step), 2)
    begin = round((corner["apex_m"] + ends[0]) / step)
    index = (begin + np.arange(count + 1)) % points
    place = begin * step - corner["apex_m"] + np.arange(count + 1) * step
    kerbs = [s for s in pictures.get("spans") or () if _is_inside(view, s, index).any()]
    left = max([np.asarray(road["left"], float)[index].max(), *(s["left_m"] for s in kerbs)])
    right = max([np.asarray(road["right"], float)[index].max(), *(-s["right_m"] for s in kerbs)])
    scale = _ROAD / float(left + right)
    return Frame(index, place, top, top + float(left) * scale, scale)


def _draw_road(view: View, frame: Frame) -> list[str]:
    road, x = view["pictures"]["road"], frame.x(frame.place)
    left = frame.y(np.asarray(road["left"], float)[frame.index])
    right = frame.y(-np.asarray(road["right"], float)[frame.index])
    around = np.concatenate([x, x[::-1]]), np.concatenate([left, right[::-1]])
    marks = [draw_path(*around, fill(ROLES["road"]), close=True)]
    for span in view["pictures"].get("spans") or ():
        marks += _draw_span(view, frame, span)
    edge = stroke(ROLES["edge"], 1.2)
    apex = draw_line(frame.x(0.0), left.min(), frame.x(0.0), right.max(),
                     stroke(ROLES["soft"], 0.6, "1.5 2.5"))  # fmt: skip
    return [*marks, apex, draw_path(x, left, edge), draw_path(x, right, edge)]


def _draw_span(view: View, frame: Frame, span: View) -> list[str]:
    """Tint a patch; hatch a kerb."""
    places = frame.place[_is_inside(view, span, frame.index)]
    if places.size < 2:
        return []
    first, last = float(frame.x(places[0])), float(frame.x(places[-1]))
    top, bottom = float(frame.y(span["left_m"])), float(frame.y(span["right_m"]))
    kerb = span["kind"] == "kerb"
    box = draw_box(first, top, last - first, bottom - top,
                   fill(ROLES["kerb" if kerb else "patch"], 0.18 if kerb else 0.8))  # fmt: skip
    step = 5.0
    hatch = [
        draw_line(x, bottom, min(x + step, last), top, stroke(ROLES["kerb"], 0.8))
        for x in np.arange(first, last, step)
        if kerb
    ]
    return [box, *hatch]


def _is_inside(view: View, span: View, index: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell which samples of the road lie along a span, over the start line too."""
    length = view["guide"]["circuit"]["length_m"]
    at = index * view["pictures"]["step_m"]
    along = (at - span["start_m"]) % length <= (span["end_m"] - span["start_m"]) % length
    return np.asarray(along)


def _draw_laps(view: View, frame: Frame) -> list[str]:
    """Draw the other laps thin, the lap beside dashed, the chosen lap last and strong."""
    pictures, x = view["pictures"], frame.x(frame.place)
    chosen, beside = pictures["chosen_lap"], pictures["compare_lap"]
    used = [lap["id"] for lap in view["guide"]["laps"] if lap["used"]]
    others = [i for i in used if i in pictures["laps"] and i not in (chosen, beside)]
    styles = [(i, stroke(ROLES["other"], 0.5, opacity=0.55)) for i in others]
    if beside in pictures["laps"]:
        styles.append((beside, stroke(ROLES["against"], 1.0, "4 2.5")))
    styles.append((chosen, stroke(ROLES["this"], 1.8)))
    return [
        draw_path(x, frame.y(np.asarray(pictures["laps"][i]["n"], float)[frame.index]), style)
        for i, style in styles
    ]


def _draw_flags(view: View, frame: Frame, flags: list[Flag], y: float, way: float) -> list[str]:
    """Write labels as stairs, so that no leader crosses another label's words."""
    pictures, colour = view["pictures"], ROLES["ink"]
    n = np.asarray(pictures["laps"][pictures["chosen_lap"]]["n"], float)[frame.index]
    there = np.isfinite(n)
    marks = []
    for row, flag in enumerate(flags):
        base = y + way * row * _ROW
        x = float(frame.x(flag.place))
        line = np.interp(flag.place, frame.place[there], n[there]) if there.any() else 0.0
        at = float(frame.y(line))
        marks.append(draw_line(x, base, x, at, stroke(ROLES["soft"], 0.6)))
        marks.append(draw_dot(x, at, 2.2, f"fill:{ROLES['ground']};stroke:{ROLES['this']}"))
        wide = [float(frame.x(flag.place + side * flag.spread)) for side in (-1, 1)]
        if wide[1] - wide[0] > 4.4:
            marks.append(draw_line(wide[0], at, wide[1], at, stroke(ROLES["ink"], 1.0)))
        side, anchor = (3.0, "start") if way > 0 else (-3.0, "end")
        marks.append(write_label(x + side, base + 2.5, flag.text, colour, _SIZE, anchor))
    return marks


def _draw_scale(view: View, frame: Frame, y: float) -> list[str]:
    """Write distances before and after the apex under the road."""
    system = chosen_system(view["units"])
    unit = (system["quantities"].get("distance") or {"factor": 1.0})["factor"]
    wide = (frame.place[-1] - frame.place[0]) * unit
    step = next(s for s in (10, 20, 50, 100, 200, 500, 1000) if wide / s <= 9)
    marks = []
    for tick in range(int(frame.place[0] * unit) // step, int(frame.place[-1] * unit) // step + 1):
        at = tick * step / unit
        x = float(frame.x(at))
        if not 12.0 <= x <= WIDTH - 12.0:
            continue
        text = "apex" if tick == 0 else write_value(abs(at), "distance", system)
        marks.append(write_label(x, y, text, ROLES["soft"], 7.0, "middle"))
    return marks


def _draw_strips(view: View, frame: Frame, y: float) -> tuple[list[str], float]:
    """Draw speed, pedals and steering of the chosen lap and the lap beside under the road."""
    marks: list[str] = []
    for name, height in _STRIPS:
        strip = _draw_strip(view, frame, name, y + 9.0, height)
        if strip:
            marks += strip
            y += height + 12.0
    return marks, y


def _draw_strip(view: View, frame: Frame, name: str, y: float, height: float) -> list[str]:
    pictures = view["pictures"]
    lines = {}
    for lap in (pictures["compare_lap"], pictures["chosen_lap"]):
        values = (pictures["laps"].get(lap) or {}).get(name)
        if values is not None:
            lines[lap] = np.asarray(values, float)[frame.index]
    known = [v[np.isfinite(v)] for v in lines.values() if np.isfinite(v).any()]
    if not known:
        return []
    low, high = (0.0, 1.0) if name in ("throttle", "brake") else _find_limits(known, name)
    scale = height / (high - low)
    title = write_label(0.0, y - 2.0, _name_strip(view, name, low, high), ROLES["soft"], 7.0)
    marks = [title, draw_box(0.0, y, WIDTH, height, f"fill:{ROLES['band']};fill-opacity:0.5")]
    for lap, values in lines.items():
        chosen = lap == pictures["chosen_lap"]
        style = stroke(ROLES["this"], 1.3) if chosen else stroke(ROLES["against"], 0.8, "4 2.5")
        drawn = y + height - (np.clip(values, low, high) - low) * scale
        marks.append(draw_path(frame.x(frame.place), drawn, style))
    return marks


def _find_limits(known: list[Array], name: str) -> tuple[float, float]:
    low, high = min(v.min() for v in known), max(v.max() for v in known)
    if name == "steering":
        return min(float(low), -0.1), max(float(high), 0.1)
    return float(low) - 1.0, float(high) + 1.0


def _name_strip(view: View, name: str, low: float, high: float) -> str:
    system = chosen_system(view["units"])
    if name == "speed":
        ends = [write_value(v, "speed", system) for v in (low, high)]
        return f"speed, {ends[0]} to {ends[1]}"
    if name == "steering":
        ends = [write_value(v, "angle", system) for v in (low, high)]
        return f"steering, {ends[0]} to {ends[1]}, left up"
    return f"{name}, none to full"


def _tell(view: View, corner: View, flags: list[Flag], first: float, last: float) -> str:
    """Say in words what the picture shows."""
    system = chosen_system(view["units"])
    before, after = (write_value(abs(v), "distance", system) for v in (first, last))
    told = "; ".join(flag.text for flag in flags) or "no action is marked"
    return (
        f"The road of corner {corner['id']} unrolled from {before} before the apex to {after} "
        f"after it, driven to the right, left edge above: {told}. Below it speed, throttle, "
        "brake and steering as far as they were logged."
    )
