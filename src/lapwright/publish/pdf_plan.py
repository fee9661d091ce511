"""The circuit, or one corner of it, from above, as a picture for paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lapwright.publish.roles import ROLES
from lapwright.publish.svg import draw_dot, draw_path, fill, make_svg, stroke, write_label

Array = NDArray[np.float64]
View = Mapping[str, Any]

_MARGIN: Final = 16.0
#: Of a corner so much is shown before and after it, m.
_AROUND_M: Final = 45.0


def draw_plan(view: View, width: float, highest: float) -> tuple[str, str]:
    """Draw the circuit from above with its corners' numbers; say what it shows.

    The width of a corner's line shows what it is worth. The picture is no higher than the
    circuit needs.
    """
    road = {k: np.asarray(view["pictures"]["road"][k], float) for k in ("x", "y")}
    shape = np.nanmax(road["y"]) - np.nanmin(road["y"])
    shape /= max(float(np.nanmax(road["x"]) - np.nanmin(road["x"])), 1.0)
    height = min((width - 2 * _MARGIN) * float(shape) + 2 * _MARGIN, highest)
    place = _fit(road["x"], road["y"], width, height)
    x, y = place(road["x"], road["y"])
    marks = [
        draw_path(x, y, stroke(ROLES["edge"], 3.2), close=True),
        draw_path(x, y, stroke(ROLES["ground"], 1.8), close=True),
    ]
    numbers = []
    for corner in view["guide"]["corners"]:
        index = _find_index(view, corner["start_m"], corner["end_m"])
        worth = corner.get("worth_s") or 0.0
        wide = 1.6 + min(max(worth, 0.0), 0.3) * 20.0
        marks.append(draw_path(x[index], y[index], stroke(ROLES["loss" if worth else "ink"], wide)))
        numbers.append(_number(view, corner, x, y))
    marks.append(draw_dot(float(x[0]), float(y[0]), 3.0, fill(ROLES["this"])))
    marks.append(write_label(float(x[0]) + 5, float(y[0]) - 5, "start", ROLES["this"], 8.0))
    alt = (
        f"The circuit from above, driven {view['guide']['circuit']['turns']}, with the numbers "
        "of its corners; the thicker a corner's line, the more time it is worth."
    )
    return make_svg(width, height, [*marks, *numbers]), alt


def draw_inset(view: View, corner: View, width: float, height: float) -> tuple[str, str]:
    """Draw a corner from above, entry to the right, with the chosen lap's line."""
    pictures, road = view["pictures"], view["pictures"]["road"]
    index = _find_index(view, corner["start_m"] - _AROUND_M, corner["end_m"] + _AROUND_M)
    x, y = (np.asarray(road[k], float)[index] for k in ("x", "y"))
    heading = np.arctan2(np.gradient(y), np.gradient(x))
    turned = -np.arctan2(y[min(8, y.size - 1)] - y[0], x[min(8, x.size - 1)] - x[0])
    n = np.asarray(pictures["laps"][pictures["chosen_lap"]]["n"], float)[index]
    left = np.asarray(road["left"], float)[index]
    right = np.asarray(road["right"], float)[index]
    lines = [_turn(x - o * np.sin(heading), y + o * np.cos(heading), turned)
             for o in (left, -right, n)]  # fmt: skip
    around = [np.concatenate([a, b]) for a, b in zip(lines[0], lines[1], strict=True)]
    place = _fit(around[0], around[1], width, height, margin=6.0)
    (lx, ly), (rx, ry), (cx, cy) = (place(*line) for line in lines)
    apex = int(np.argmin(np.abs(_from(view, corner["start_m"] - _AROUND_M, index)
                                - (corner["apex_m"] - corner["start_m"] + _AROUND_M)
                                % view["guide"]["circuit"]["length_m"])))  # fmt: skip
    marks = [
        draw_path(np.concatenate([lx, rx[::-1]]), np.concatenate([ly, ry[::-1]]),
                  fill(ROLES["road"]), close=True),
        draw_path(lx, ly, stroke(ROLES["edge"], 1.0)),
        draw_path(rx, ry, stroke(ROLES["edge"], 1.0)),
        draw_path(cx, cy, stroke(ROLES["this"], 1.5)),
    ]  # fmt: skip
    if np.isfinite(cx[apex]) and np.isfinite(cy[apex]):
        dot = f"fill:{ROLES['ground']};stroke:{ROLES['this']}"
        marks.append(draw_dot(float(cx[apex]), float(cy[apex]), 2.2, dot))
    alt = f"Corner {corner['id']} from above, to the {corner['direction']}, entered to the right."
    return make_svg(width, height, marks), alt


def _find_index(view: View, start_m: float, end_m: float) -> NDArray[np.int64]:
    """Return the samples of the road from one place to another, over the start line too."""
    step, points = view["pictures"]["step_m"], view["pictures"]["points"]
    count = int(((end_m - start_m) % (step * points)) / step) + 1
    return np.asarray((round(start_m / step) + np.arange(max(count, 3))) % points)


def _from(view: View, start_m: float, index: NDArray[np.int64]) -> Array:
    length = view["guide"]["circuit"]["length_m"]
    return np.asarray((index * view["pictures"]["step_m"] - start_m) % length)


def _turn(x: Array, y: Array, by: float) -> tuple[Array, Array]:
    cos, sin = np.cos(by), np.sin(by)
    return x * cos - y * sin, x * sin + y * cos


def _fit(x: Array, y: Array, width: float, height: float, margin: float = _MARGIN) -> Any:
    """Return what puts points into a picture, north up, one scale for both axes."""
    known = np.isfinite(x) & np.isfinite(y)
    low = np.array([x[known].min(), y[known].min()])
    high = np.array([x[known].max(), y[known].max()])
    scale = min((width - 2 * margin) / max(high[0] - low[0], 1.0),
                (height - 2 * margin) / max(high[1] - low[1], 1.0))  # fmt: skip
    middle = (low + high) / 2

    def place(px: Array, py: Array) -> tuple[Array, Array]:
        return width / 2 + (px - middle[0]) * scale, height / 2 - (py - middle[1]) * scale

    return place


def _number(view: View, corner: View, x: Array, y: Array) -> str:
    """Write a corner's number on the outside of its apex."""
    points = x.size
    at = round(corner["apex_m"] / view["pictures"]["step_m"]) % points
    ahead, behind = (at + 4) % points, (at - 4) % points
    along = np.array([x[ahead] - x[behind], y[ahead] - y[behind]])
    along /= max(float(np.hypot(*along)), 1e-9)
    side = 1.0 if corner["direction"] == "left" else -1.0
    out = np.array([-along[1], along[0]]) * side * 10.0
    text = str(corner["id"])[:8]
    return write_label(float(x[at] + out[0]), float(y[at] + out[1]) + 3.0, text, ROLES["ink"],
                       9.0, "middle", bold=True)  # fmt: skip
