"""Colour roles on paper: the light ones of the page (``web/src/roles.css``)."""

from __future__ import annotations

from typing import Final

ROLES: Final = {
    "ground": "#ffffff", "ink": "#1b1d1f", "soft": "#555c62", "rule": "#d9dcd8",
    "road": "#e9eae6", "edge": "#60676d", "this": "#0068a3", "against": "#1b1d1f",
    "other": "#6f767c", "band": "#e3e6e8", "possible": "#00734f", "loss": "#b14700",
    "kerb": "#a3487a", "patch": "#e2d8bf",
}  # fmt: skip
