"""Every test can fail: it asserts something, and not a constant."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[1]
FILES = sorted(TESTS.rglob("test_*.py"))
#: Calls that check by raising.
CHECKING = re.compile(r"(^|[._])(assert|benchmark|check|expect|fail|raises|verify|warns)")


def name_of_call(node: ast.Call) -> str:
    """Give the dotted name that is called."""
    return ast.unparse(node.func)


def checks_something(function: ast.AST, local: dict[str, ast.AST], depth: int = 2) -> bool:
    """Tell whether a function, or one of its own file that it calls, can fail by checking."""
    for node in ast.walk(function):
        if isinstance(node, ast.Assert) and not isinstance(node.test, ast.Constant):
            return True
        if isinstance(node, ast.Call):
            name = name_of_call(node)
            if CHECKING.search(name):
                return True
            if depth and name in local and checks_something(local[name], local, depth - 1):
                return True
    return False


def list_idle_tests(text: str) -> list[str]:
    """List the tests of a file that check nothing."""
    functions = [n for n in ast.walk(ast.parse(text)) if isinstance(n, ast.FunctionDef)]
    local: dict[str, ast.AST] = {f.name: f for f in functions}
    tests = [f for f in functions if f.name.startswith("test_")]
    return [f.name for f in tests if not checks_something(f, local)]


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.relative_to(TESTS).as_posix())
def test_every_test_checks_something(path: Path):
    assert list_idle_tests(path.read_text("utf-8")) == []


def test_an_idle_test_is_found():
    text = (
        "def test_a():\n    assert True\n\ndef test_b():\n    f()\n\ndef f():\n    assert x == 1\n"
    )
    assert list_idle_tests(text) == ["test_a"]
