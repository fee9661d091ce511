"""ARCHITECTURE.md lists every module with the line that its docstring begins with.

``python tests/contracts/test_architecture.py`` writes the lists anew.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "lapwright"
DOCUMENT = ROOT / "ARCHITECTURE.md"
START, END = "<!-- modules: begin -->\n", "<!-- modules: end -->\n"
#: Packages in the order of the layers, from the vocabulary up.
ORDER = [
    ".",
    "numerics",
    "physics",
    "model",
    "possible",
    "driving",
    "guide",
    "readers",
    "publish",
    "library",
    "workflow",
    "desk",
    "demo",
]


def read_summary(path: Path) -> str:
    """Read the first paragraph of a module's docstring as one line."""
    text = ast.get_docstring(ast.parse(path.read_text("utf-8"))) or ""
    return " ".join(text.split("\n\n")[0].split())


def list_folders() -> list[str]:
    """List the package and its sub-packages in reading order."""
    found = {path.parent.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py")}
    return sorted(found, key=lambda f: (ORDER.index(f.split("/")[0]), f))


def compose_tables() -> str:
    """Compose one table of modules for each package."""
    parts = []
    for folder in list_folders():
        place = PACKAGE / folder
        parts.append(f"### `{'lapwright' if folder == '.' else folder}`\n\n")
        parts.append(
            f"{read_summary(place / '__init__.py')}\n\n| module | holds |\n| --- | --- |\n"
        )
        modules = [path for path in sorted(place.glob("*.py")) if path.stem != "__init__"]
        parts += [f"| `{path.stem}` | {read_summary(path)} |\n" for path in modules]
        parts.append("\n")
    return "".join(parts)


def split_document() -> tuple[str, str, str]:
    """Split the document into what stands before, in and after the lists."""
    before, rest = DOCUMENT.read_text("utf-8").split(START)
    inside, after = rest.split(END)
    return before, inside, after


def test_the_document_lists_the_modules_that_there_are():
    rows = set(re.findall(r"^\| `.*", split_document()[1], flags=re.M))
    there = set(re.findall(r"^\| `.*", compose_tables(), flags=re.M))
    assert len(there) > 50
    advice = "write the lists anew: python tests/contracts/test_architecture.py"
    assert sorted(rows ^ there) == [], advice


def test_every_package_has_its_place_in_the_order():
    assert {folder.split("/")[0] for folder in list_folders()} <= set(ORDER)


if __name__ == "__main__":
    first, _, last = split_document()
    DOCUMENT.write_text(f"{first}{START}{compose_tables()}{END}{last}", "utf-8")
