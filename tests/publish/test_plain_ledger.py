"""The ledger without a script: what each table says adds up to what stands at its foot."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest

from lapwright.publish.hundredths import print_account
from lapwright.publish.plain_ledger import render_ledger, render_words, render_work


@pytest.fixture(scope="module")
def view(make_view: Any) -> Any:
    return make_view(laps=5)


def read_tables(page: str) -> list[list[list[str]]]:
    """Read every table's rows back as texts."""
    tables = re.findall(r"<tbody>(.*?)</tbody>", page, re.S)
    rows = [re.findall(r"<tr>(.*?)</tr>", table, re.S) for table in tables]
    return [
        [[unescape(c) for c in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", r, re.S)] for r in table]
        for table in rows
    ]


def read_hundredths(text: str) -> int:
    read = re.fullmatch(r"(\u2212?)(\d+)\.(\d\d)( gained)?", text)
    assert read is not None, text
    return int(read[2] + read[3]) * (-1 if read[1] else 1)


def test_every_table_adds_up_to_its_foot(view: Any):
    page = render_ledger(view)
    assert page is not None
    chosen = view["pictures"]["chosen_lap"]
    tables = read_tables(page)
    kept = [a for a in view["ledger"]["accounts"] if a["lap"] == chosen]
    assert len(tables) == len(kept) >= 3
    for table in tables:
        together = [read_hundredths(r[2]) for r in table[:-2] if r[1] == "together"]
        parts: dict[str, int] = {}
        for row in table[:-2]:
            if row[1] != "together":
                parts[row[0]] = parts.get(row[0], 0) + read_hundredths(row[2])
        sums = {r[0]: read_hundredths(r[2]) for r in table[:-2] if r[1] == "together"}
        assert {corner: sums[corner] for corner in parts} == parts
        straight, difference = (read_hundredths(r[2]) for r in table[-2:])
        assert sum(together) + straight == difference
    feet = {read_hundredths(table[-1][2]) for table in tables}
    assert feet == {print_account(a).difference for a in kept}


def test_a_guide_without_a_ledger_has_no_such_part(make_view: Any):
    bare = make_view(laps=3, worth=False)
    assert render_ledger(bare) is None
    assert render_work(bare) is None
    assert render_words(bare, "possible") is None


def test_the_reason_stands_where_the_ledger_would(make_view: Any):
    view = make_view(laps=3)
    view["ledger"] = {
        "against": [], "causes": {}, "accounts": [], "habits": None,
        "why_null": {"t": "One lap counts: it is held against nothing.", "v": []},
    }  # fmt: skip
    assert "One lap counts" in (render_ledger(view) or "")


def test_work_says_evidence_first_and_seconds_last(view: Any):
    items = re.findall(r"<li>(.*?)</li>", render_work(view) or "")
    assert len(items) == 3
    for item in items:
        assert 0 < item.index("Done on laps") < item.index("Goal:") < item.index("Worth about")
