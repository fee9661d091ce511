"""axe-core (Deque's rules for WCAG 2) finds nothing, in light and in dark, wide and narrow."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

FINDINGS = """async () => (await axe.run(document, {
    runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
  })).violations.map(v => [v.id, v.nodes.length, v.nodes[0].html.slice(0, 160),
                           v.nodes[0].failureSummary])"""


@pytest.mark.parametrize(
    ("width", "scheme"), [(1440, "light"), (1440, "dark"), (390, "light")], ids=str
)
def test_axe_finds_nothing(open_guide: Any, guide: Path, root: Path, width: int, scheme: str):
    axe = root / "web" / "node_modules" / "axe-core" / "axe.min.js"
    assert axe.exists(), "build the front end first: its packages bring axe-core"
    page = open_guide(guide, width=width, scheme=scheme).page
    # What is folded away is read too.
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    # The text is a function's body: the page's policy allows no other way in.
    page.evaluate(f"() => {{ {axe.read_text('utf-8')} }}")
    assert page.evaluate("axe.version").startswith("4.")
    assert page.evaluate(FINDINGS) == []


def test_axe_would_find_something(open_guide: Any, guide: Path, root: Path):
    page = open_guide(guide).page
    page.evaluate("document.querySelector('.bar select').removeAttribute('aria-label')")
    axe = root / "web" / "node_modules" / "axe-core" / "axe.min.js"
    page.evaluate(f"() => {{ {axe.read_text('utf-8')} }}")
    assert "select-name" in [
        found[0] for found in page.evaluate(FINDINGS.replace("document,", "'.bar',"))
    ]
