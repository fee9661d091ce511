"""Nothing runs over the page's edge and no label lies on another, wide or narrow."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from lapwright.publish.html import render_html

BOXES = """sheet => [...sheet.querySelectorAll('svg.ribbon text')]
  .filter(e => !e.closest('.cursor') && e.textContent.trim())
  .map(e => { const b = e.getBoundingClientRect();
              return [e.textContent, b.left, b.top, b.right, b.bottom]; })"""
POLES = """sheet => [...sheet.querySelectorAll('svg.ribbon .pole')]
  .map(e => { const b = e.getBoundingClientRect(); return [b.left, b.top, b.bottom]; })"""
NUMBERS = """() => [...document.querySelectorAll('.plan text, .plan .landmark')]
  .map(e => { const b = e.getBoundingClientRect();
              return [e.textContent, b.left, b.top, b.right, b.bottom]; })"""
SLACK = 1.0  # px; a text's box is taller than its letters


def list_collisions(boxes: list[list[Any]]) -> list[tuple[str, str]]:
    """List pairs of texts whose boxes overlap by more than the slack."""
    found = []
    for i, (one, l1, t1, r1, b1) in enumerate(boxes):
        for other, l2, t2, r2, b2 in boxes[:i]:
            wide, tall = min(r1, r2) - max(l1, l2), min(b1, b2) - max(t1, t2)
            if wide > SLACK and tall > 2 * SLACK:
                found.append((one, other))
    return found


def list_struck_out(boxes: list[list[Any]], poles: list[list[float]]) -> list[str]:
    """List texts that a label's pole runs through."""
    return [
        text
        for text, left, top, right, bottom in boxes
        for x, start, end in poles
        if left + SLACK < x < right - SLACK and start < bottom - 3 and end > top + 3
    ]


@pytest.fixture(scope="module", params=[1440, 768, 390])
def opened(request: pytest.FixtureRequest, open_guide: Any, guide: Path) -> Any:
    return open_guide(guide, width=request.param)


def check_labels(opened: Any) -> int:
    """Check every sheet's labels; return how many there were."""
    count = 0
    for sheet in opened.page.locator(".sheet").all():
        boxes, poles = sheet.evaluate(BOXES), sheet.evaluate(POLES)
        count += len(boxes)
        assert list_collisions(boxes) == []
        assert list_struck_out(boxes, poles) == []
        area = sheet.locator(".ribbon").bounding_box()
        outside = [
            b[0] for b in boxes if b[1] < area["x"] - 1 or b[3] > area["x"] + area["width"] + 1
        ]
        assert outside == []
    return count


def test_no_label_lies_on_another_or_on_a_pole(opened: Any):
    assert check_labels(opened) > 200


def test_labels_stay_apart_in_other_units(opened: Any):
    opened.page.get_by_label("units").select_option("imperial")
    assert check_labels(opened) > 200
    opened.page.get_by_label("units").select_option("metric")


def test_numbers_of_the_plan_stay_apart(opened: Any):
    boxes = opened.page.evaluate(NUMBERS)
    assert len(boxes) >= 14
    assert list_collisions(boxes) == []


def test_nothing_runs_over_the_edge(opened: Any):
    page = opened.page
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    over = page.evaluate(
        """() => [...document.querySelectorAll('main *, .bar *')]
          .filter(e => !e.closest('svg') && e.getBoundingClientRect().right > innerWidth + 0.5)
          .map(e => e.tagName + ' ' + e.className)"""
    )
    assert over == []


@pytest.mark.parametrize("width", [1440, 390])
def test_actions_at_one_place_and_many_landmarks_stay_apart(
    open_guide: Any, make_view: Any, tmp_path: Path, width: int
):
    view = make_view(laps=3)
    length = view["guide"]["circuit"]["length_m"]
    for corner in view["guide"]["corners"]:
        # Everything happens within a few metres, at the apex and at both ends of the picture.
        for row in view["guide"]["corner_laps"]:
            if row["corner"] == corner["id"]:
                for i, name in enumerate(a for a in row["actions"] if a.endswith("_m")):
                    if "inside" not in name and "edge" not in name:
                        row["actions"][name] = (corner["apex_m"] + i % 3) % length
        view["pictures"]["landmarks"] += [
            {"name": "a very long name of a thing " * 2 + str(i), "at_m": corner["apex_m"] + at,
             "off_m": (-1) ** i * 8.0, "height_m": 1.0}
            for i, at in enumerate((-58, -57, -1, 1, 56, 58))
        ]  # fmt: skip
    path = tmp_path / "crowded.html"
    path.write_bytes(render_html(view))
    assert check_labels(open_guide(path, width=width)) > 200
