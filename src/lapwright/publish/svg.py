"""Marks of a picture as SVG: paths, lines, rectangles, text; every text is escaped."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

import numpy as np
from numpy.typing import NDArray

from lapwright.publish.printable import make_printable

Array = NDArray[np.float64]
#: A letter is about so wide, as a share of the size of type.
LETTER = 0.5
#: Points closer than this are one point on paper, pt.
_HAIR = 0.4


def make_svg(width: float, height: float, marks: Iterable[str]) -> str:
    """Put marks into a picture of a size in points."""
    size = f'viewBox="0 0 {width:g} {height:g}" width="{width:g}pt" height="{height:g}pt"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{"".join(marks)}</svg>'


def draw_path(x: Array, y: Array, style: str, close: bool = False) -> str:
    """Draw a line through points; where one is not finite the line is broken.

    Points that lie closer together than can be printed are left out, but for the last.
    """
    parts: list[str] = []
    pen, last = "M", (0.0, 0.0)
    for i, (px, py) in enumerate(zip(x, y, strict=True)):
        if not (np.isfinite(px) and np.isfinite(py)):
            pen = "M"
            continue
        if pen == "L" and i < len(x) - 1 and max(abs(px - last[0]), abs(py - last[1])) < _HAIR:
            continue
        parts.append(f"{pen}{px:.1f} {py:.1f}")
        pen, last = "L", (px, py)
    return f'<path d="{" ".join(parts)}{"Z" if close else ""}" style="{style}"/>' if parts else ""


def draw_line(x1: float, y1: float, x2: float, y2: float, style: str) -> str:
    """Draw a straight line."""
    place = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
    return f'<line {place} style="{style}"/>'


def draw_box(x: float, y: float, width: float, height: float, style: str) -> str:
    """Draw a rectangle."""
    place = f'x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"'
    return f'<rect {place} style="{style}"/>'


def draw_dot(x: float, y: float, radius: float, style: str) -> str:
    """Draw a disc."""
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" style="{style}"/>'


def write_label(
    x: float, y: float, text: str, colour: str, size: float = 8.0, anchor: str = "start",
    bold: bool = False,
) -> str:  # fmt: skip
    """Write a short text."""
    weight = 600 if bold else 400
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-family="Source Sans Pro" font-size="{size:g}" '
        f'font-weight="{weight}" text-anchor="{anchor}" fill="{colour}">'
        f"{escape(make_printable(text))}</text>"
    )


def stroke(colour: str, width: float, dash: str = "", opacity: float = 1.0) -> str:
    """Return the style of a line."""
    dashed = f";stroke-dasharray:{dash}" if dash else ""
    faint = f";stroke-opacity:{opacity:g}" if opacity < 1.0 else ""
    joins = "stroke-linejoin:round;stroke-linecap:round"
    return f"fill:none;stroke:{colour};stroke-width:{width:g};{joins}{dashed}{faint}"


def fill(colour: str, opacity: float = 1.0) -> str:
    """Return the style of an area."""
    return f"fill:{colour};stroke:none" + (f";fill-opacity:{opacity:g}" if opacity < 1.0 else "")
