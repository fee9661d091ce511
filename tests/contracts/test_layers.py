"""Imports point down the layers of ARCHITECTURE.md, and never at the package's root."""

import ast
from pathlib import Path

import pytest
from importlinter.cli import lint_imports


def test_layers(root: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    monkeypatch.chdir(root)
    code = lint_imports(config_filename=str(root / "pyproject.toml"), no_cache=True)
    assert code == 0, capsys.readouterr().out


def test_no_module_imports_the_root_of_the_package(root: Path):
    found = []
    for path in sorted((root / "src/lapwright").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module] if isinstance(node, ast.ImportFrom) else []
            if "lapwright" in names:
                found.append(f"{path.relative_to(root)}:{node.lineno}")
    assert not found
