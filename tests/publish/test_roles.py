"""Colour roles keep the contrast that WCAG 2.2 asks for, on light and on dark ground.

Text needs 4.5:1 (success criterion 1.4.3), marks 3:1 (1.4.11).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

TEXT = [
    ("ink", "ground"), ("soft", "ground"), ("this", "ground"), ("against", "ground"),
    ("ink", "road"), ("soft", "road"), ("ink", "band"), ("soft", "band"), ("ink", "patch"),
    ("soft", "patch"), ("ground", "edge"), ("loss", "ground"), ("possible", "ground"),
    ("kerb", "ground"), ("possible", "road"),
]  # fmt: skip
MARKS = [
    (mark, ground)
    for mark in ("this", "against", "other", "edge", "loss", "possible", "kerb", "ink", "soft")
    for ground in ("ground", "road", "band", "patch")
] + [("focus", "ground")]


def relative_luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    digits = colour.lstrip("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    shares = (int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4))
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in shares)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""
    low, high = sorted((relative_luminance(one), relative_luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.fixture(scope="module")
def roles(root: Path) -> dict[str, tuple[str, str]]:
    text = (root / "web" / "src" / "roles.css").read_text("utf-8")
    pattern = r"--(\w+): light-dark\((#\w+), (#\w+)\)"
    return {name: (light, dark) for name, light, dark in re.findall(pattern, text)}


# Worked values: #767676 on white passes at 4.542, #777777 fails at 4.478 (WCAG 2.2's formula).
@pytest.mark.parametrize(("grey", "ratio"), [("#767676", 4.542), ("#777777", 4.478)])
def test_contrast_agrees_with_worked_values(grey: str, ratio: float):
    assert contrast(grey, "#ffffff") == pytest.approx(ratio, abs=5e-4)


def test_contrast_of_black_on_white_is_the_greatest():
    assert contrast("#000", "#fff") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(("pairs", "least"), [(TEXT, 4.5), (MARKS, 3.0)], ids=["text", "marks"])
def test_every_pair_of_roles_stands_out(
    roles: dict[str, tuple[str, str]], pairs: list[tuple[str, str]], least: float, scheme: int
):
    ratios = {pair: contrast(*(roles[name][scheme] for name in pair)) for pair in pairs}
    assert {pair: round(r, 2) for pair, r in ratios.items() if r < least} == {}


def test_no_other_file_of_the_page_names_a_colour(root: Path):
    colour = re.compile(r"#[0-9a-f]{3}(?:[0-9a-f]{3})?\b(?!\")|\brgba?\(|\bhsla?\(", re.I)
    found = {
        path.name: colour.findall(path.read_text("utf-8"))
        for path in (root / "web" / "src").glob("*.css")
        if path.name != "roles.css"
    }
    assert len(found) >= 3
    assert {name: hits for name, hits in found.items() if hits} == {}
