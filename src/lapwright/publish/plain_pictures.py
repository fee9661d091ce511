"""Pictures of the plain form: those of the paper, as the page's policy allows them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from lapwright.publish.markup import Markup, element
from lapwright.publish.pdf_plan import draw_inset, draw_plan

View = Mapping[str, Any]

_STYLE = re.compile(r'style="([^"]*)"')


def render_plan(view: View) -> Markup:
    """Render the circuit from above."""
    return _render(*draw_plan(view, 480.0, 360.0))


def render_corner(view: View, corner: View) -> Markup:
    """Render a corner from above."""
    return _render(*draw_inset(view, corner, 240.0, 160.0))


def _render(svg: str, alt: str) -> Markup:
    """Put a picture into the page; it forbids styles within elements, so they become attributes."""
    bare = _STYLE.sub(_as_attributes, svg).replace(' font-family="Source Sans Pro"', "")
    named = element("svg", role="img", **{"aria-label": alt}).removesuffix("></svg>")
    return element("figure", Markup(bare.replace("<svg", named, 1)), class_="onpaper")


def _as_attributes(style: re.Match[str]) -> str:
    pairs = (part.partition(":") for part in style.group(1).split(";") if part)
    return " ".join(f'{name}="{value}"' for name, _, value in pairs)
