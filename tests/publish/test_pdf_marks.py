"""Marks of the road on paper, read back out of the picture. All data is invented."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from lapwright.publish.pdf_ribbon import draw_ribbon

AHEAD_M, LEFT_M, PLACE_M = 70.0, 2.0, -20.0
LINE = re.compile(
    r'<line x1="([\d.-]+)" y1="([\d.-]+)" x2="([\d.-]+)" y2="([\d.-]+)" style="(.*?)"'
)
TEXT = re.compile(r'<text x="([\d.-]+)" y="([\d.-]+)".*?text-anchor="(\w+)".*?>(.*?)</text>')


@pytest.fixture(scope="module")
def view(make_view: Callable[..., dict[str, Any]]) -> dict[str, Any]:
    view = make_view()
    pictures, corner = view["pictures"], view["guide"]["corners"][3]
    length, apex = view["guide"]["circuit"]["length_m"], corner["apex_m"]
    pictures["sight"] = {"ahead_m": np.full(pictures["points"], AHEAD_M), "reach_m": 600.0}
    pictures["references"] = [
        {"corner": corner["id"], "action": "brake_end_m", "at_m": (apex + PLACE_M) % length,
         "kind": "place", "landmarks": [], "text": {"t": "the {0} <board", "v": [[3.0, "count"]]}},
    ]  # fmt: skip
    corner["road_use"] = {
        "entry": None, "exit": None,
        "apex": {"left_m": LEFT_M, "side": "inside", "verdict": "leave it"},
    }  # fmt: skip
    corner["kerbs"] = [{"name": "gone", "effects": [], "uses": []}]
    return view


@pytest.fixture(scope="module")
def drawn(view: dict[str, Any]) -> str:
    return draw_ribbon(view, view["guide"]["corners"][3])[0]


def lines(svg: str, style: str) -> list[tuple[float, ...]]:
    return [tuple(float(v) for v in found[:4]) for found in LINE.findall(svg) if style in found[4]]


def scale(svg: str) -> tuple[float, float]:
    """Where the apex is drawn, and points for each metre, by the distances under the road."""
    labels = [(float(x), text) for x, _, _, text in TEXT.findall(svg)]
    apex = next(x for x, text in labels if text == "apex")
    far = [(x, float(text.split("\u00a0")[0])) for x, text in labels
           if re.fullmatch(r"\d+\u00a0m", text) and x > apex]  # fmt: skip
    x, metres = far[-1]
    return apex, (x - apex) / metres


def test_hidden_road_begins_where_the_view_ends(view: dict[str, Any], drawn: str):
    corner = view["guide"]["corners"][3]
    apex, per_metre = scale(drawn)
    brake = corner["actions"]["brake_start_m"]["median"]
    wanted = apex + (brake - corner["apex_m"] + AHEAD_M) * per_metre
    (horizon,) = lines(drawn, "stroke-dasharray:1.5 2")[-1:]
    assert horizon[0] == horizon[2] == pytest.approx(wanted, abs=2.0)
    said = [text for _, _, _, text in TEXT.findall(drawn)]
    assert "70\u00a0m of road in view from the brake point" in said


def test_road_left_reaches_from_its_edge_as_far_as_it_is_wide(view: dict[str, Any], drawn: str):
    road = view["pictures"]["road"]
    upright, across = lines(drawn, "stroke-dasharray:2 2")
    at = round(view["guide"]["corners"][3]["actions"]["apex_m"]["median"])
    at = round(at / view["pictures"]["step_m"])
    width = float(road["left"][at] + road["right"][at])
    edge = upright[1]
    assert across[1] == across[3] == upright[3]
    per_metre = abs(upright[3] - upright[1]) / LEFT_M
    tops = lines(drawn, "stroke-dasharray:1.5 2.5")[0]  # the apex's own line spans the road
    assert per_metre * width == pytest.approx(abs(tops[3] - tops[1]), rel=0.1)
    assert min(abs(edge - tops[1]), abs(edge - tops[3])) < 4.0


def test_a_reference_stands_at_its_place_with_its_words(drawn: str):
    apex, per_metre = scale(drawn)
    said = {text: (float(x), float(y), anchor) for x, y, anchor, text in TEXT.findall(drawn)}
    x, y, anchor = next(v for k, v in said.items() if k.endswith("the 3 &lt;board"))
    stakes = [one for one in lines(drawn, "stroke-width:1;") if one[0] == one[2]
              and abs((one[1] + one[3]) / 2 - y) < 4.0]  # fmt: skip
    (stake,) = stakes
    assert stake[0] == pytest.approx(apex + PLACE_M * per_metre, abs=1.0)
    assert (x > stake[0]) is (anchor == "start")


def test_without_sight_and_references_there_are_no_such_marks(make_view: Any):
    view = make_view()
    svg = draw_ribbon(view, view["guide"]["corners"][3])[0]
    assert "in view" not in svg
    assert lines(svg, "stroke-dasharray:2 2") == []
