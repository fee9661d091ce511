"""The demo makes the truth that the analysis is held to, so the two share no code."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2] / "src" / "lapwright"
ALLOWED = {"numpy", "scipy", "numba", "polars", "lapwright.demo"}
STANDARD = {
    "__future__",
    "collections",
    "concurrent",
    "contextlib",
    "dataclasses",
    "functools",
    "importlib",
    "io",
    "math",
    "pathlib",
    "threading",
    "types",
    "typing",
}


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            names.add(node.module or "")
    return names


def test_demo_imports_nothing_of_the_analysis() -> None:
    files = sorted((ROOT / "demo").glob("*.py"))
    assert len(files) > 5
    for path in files:
        for name in imported(path):
            top = name.split(".")[0]
            own = name == "lapwright.demo" or name.startswith("lapwright.demo.")
            assert own or top in ALLOWED | STANDARD, f"{path.name} imports {name}"


def test_no_analysis_package_imports_the_demo() -> None:
    layers = ("numerics", "physics", "model", "driving", "possible", "guide", "readers", "publish")
    for layer in layers:
        for path in sorted((ROOT / layer).rglob("*.py")):
            for name in imported(path):
                assert not name.startswith("lapwright.demo"), f"{path} imports {name}"
