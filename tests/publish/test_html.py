"""The file is whole, small, closed to the world, and harmless whatever the names say."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from html.parser import HTMLParser
from typing import Any

import pytest

from lapwright.guide.sentences import chosen_system, write_text
from lapwright.publish.html import render_html

HOSTILE = "</script><img src=x onerror=alert(1)>&\u2028\"'"


class Reader(HTMLParser):
    """Reads a page as a browser without a script would: elements and their text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.inside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in {"meta", "img", "link"}:
            self.inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.inside.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.inside and self.inside[-1] not in {"script", "style"}:
            self.text.append(data)


def read(page: bytes) -> Reader:
    reader = Reader()
    reader.feed(page.decode())
    reader.close()
    return reader


@pytest.fixture(scope="module")
def view(make_view: Any) -> Any:
    return make_view()


@pytest.fixture(scope="module")
def page(view: Any) -> bytes:
    return render_html(view)


def test_policy_knows_only_the_page_s_own_script_and_style(page: bytes):
    text = page.decode()
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', text)
    assert policy is not None
    rules = dict(rule.strip().split(" ", 1) for rule in policy[1].split(";"))
    assert rules["default-src"] == "'none'"
    (script,) = re.findall(r"<script>(.*?)</script>", text, re.S)
    (style,) = re.findall(r"<style>(.*?)</style>", text, re.S)
    for rule, source in (("script-src", script), ("style-src", style)):
        digest = base64.b64encode(hashlib.sha256(source.encode()).digest()).decode()
        assert rules[rule] == f"'sha256-{digest}'"


def test_plain_form_says_facts_laps_actions_and_cautions(page: bytes, view: Any):
    said = "\n".join(read(page).text)
    system = chosen_system(view["units"])
    expected = [write_text(fact["text"], system) for fact in view["words"]["facts"]]
    expected += view["guide"]["cautions"]
    expected += [f"set aside: {lap['why_not']}" for lap in view["guide"]["laps"] if lap["why_not"]]
    expected += [write_text(text, system) for text in view["words"]["missing"]]
    for corner in view["guide"]["corners"]:
        expected.append(write_text(view["words"]["corners"][corner["id"]]["title"], system))
    assert [text for text in expected if text not in said] == []
    assert said.count("brake start") >= len(view["guide"]["corners"])


def test_hostile_names_are_text_and_nothing_else(make_view: Any):
    page = render_html(make_view(laps=3, hostile=HOSTILE))
    reader = read(page)
    assert reader.inside == []
    assert not [tag for tag, _ in reader.tags if tag == "img"]
    assert HOSTILE in "".join(reader.text)
    tree = re.search(r'id="view">(.*?)</script>', page.decode(), re.S)
    assert tree is not None
    assert not set("<>&\u2028") & set(tree[1])
    assert json.loads(tree[1])["guide"]["circuit"]["name"].endswith(HOSTILE)


def test_thirty_laps_stay_within_three_megabytes(make_view: Any):
    view = make_view(laps=30, step_m=0.833)
    assert view["pictures"]["points"] >= 4000
    assert len(render_html(view)) <= 3_000_000


def test_numbers_that_are_not_finite_become_gaps(make_view: Any):
    view = make_view(laps=3)
    view["guide"]["laps"][1]["time_s"] = float("nan")
    tree = re.search(r'id="view">(.*?)</script>', render_html(view).decode(), re.S)
    assert tree is not None
    assert json.loads(tree[1])["guide"]["laps"][1]["time_s"] is None


def test_the_same_view_gives_the_same_bytes(page: bytes, view: Any):
    assert render_html(view) == page
