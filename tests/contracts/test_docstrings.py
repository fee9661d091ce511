"""What is public says what it is; the examples in it are right."""

from __future__ import annotations

import ast
import doctest
import importlib
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "src" / "lapwright"
FILES = sorted(PACKAGE.rglob("*.py"))
WITH_EXAMPLES = [path for path in FILES if ">>>" in path.read_text("utf-8")]

Documented = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef


def list_public(node: Documented) -> Iterator[Documented]:
    """Yield a module or class and what is public in it, functions' insides left out."""
    yield node
    for child in node.body:
        inside = isinstance(child, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        if inside and not child.name.startswith("_"):
            yield from list_public(child) if isinstance(child, ast.ClassDef) else [child]


def count_parameters(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Count what a caller passes."""
    given = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return len([a for a in given if a.arg not in ("self", "cls")])


def test_files_were_found():
    assert len(FILES) > 50
    assert WITH_EXAMPLES


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_everything_public_is_described(path: Path):
    missing = [
        f"line {getattr(node, 'lineno', 1)}: {getattr(node, 'name', 'the module')}"
        for node in list_public(ast.parse(path.read_text("utf-8")))
        if not ast.get_docstring(node)
    ]
    assert not missing


@pytest.mark.parametrize("path", WITH_EXAMPLES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_examples_give_what_they_say(path: Path):
    name = ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)
    result = doctest.testmod(importlib.import_module(name))
    assert result.attempted > 0
    assert result.failed == 0
