"""The wheel contains the page; a fresh bundle is not built again; the locks are read whole."""

from __future__ import annotations

import importlib.util
import zipfile
from pathlib import Path
from types import ModuleType

import hatchling.build
import pytest


def load(path: Path) -> ModuleType:
    """Load a script of the repository as a module."""
    spec = importlib.util.spec_from_file_location(f"script_{path.stem}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def hook(root: Path) -> ModuleType:
    return load(root / "hatch_build.py")


@pytest.fixture
def tree(tmp_path: Path, hook: ModuleType) -> Path:
    """An invented front end with a bundle that fits it."""
    (tmp_path / "web/src").mkdir(parents=True)
    (tmp_path / "web/package.json").write_text("{}")
    (tmp_path / "web/src/main.ts").write_text("let a = 1;\n")
    bundle = tmp_path / hook.BUNDLE
    bundle.mkdir(parents=True)
    for name in hook.OUTPUTS:
        (bundle / name).write_text("built")
    (bundle / "sources.sha256").write_text(hook.hash_sources(tmp_path))
    return tmp_path


def test_a_bundle_that_fits_its_sources_is_fresh(tree: Path, hook: ModuleType):
    (tree / "web/node_modules").mkdir()
    (tree / "web/node_modules/any.js").write_text("fetched, no source")
    (tree / "web/src/main.ts").write_bytes(b"let a = 1;\r\n")
    assert hook.is_fresh(tree)


@pytest.mark.parametrize("what", ["changed", "added", "renamed", "output lost"])
def test_a_bundle_that_does_not_fit_is_built_again(tree: Path, hook: ModuleType, what: str):
    source = tree / "web/src/main.ts"
    if what == "changed":
        source.write_text("let a = 2;\n")
    elif what == "added":
        (tree / "web/src/more.ts").write_text("")
    elif what == "renamed":
        source.rename(source.with_name("other.ts"))
    else:
        (tree / hook.BUNDLE / hook.OUTPUTS[0]).unlink()
    assert not hook.is_fresh(tree)


def test_node_is_asked_for_only_where_it_is_needed(
    tree: Path, hook: ModuleType, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("PATH", str(tree))
    asked = hook.PageHook.dependencies
    self = hook.PageHook(str(tree), {}, None, None, str(tree), "wheel")
    assert asked(self) == []
    (tree / "web/src/main.ts").write_text("let a = 2;\n")
    assert asked(self) == [hook.NODE_PACKAGE]


def test_the_wheel_is_for_every_platform_and_contains_the_page(
    root: Path, hook: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    if not hook.is_fresh(root):
        pytest.skip("the page is not built from the sources that are there; do.py builds it")
    monkeypatch.chdir(root)
    name = hatchling.build.build_wheel(str(tmp_path))
    assert name.endswith("-py3-none-any.whl")
    with zipfile.ZipFile(tmp_path / name) as wheel:
        inside = set(wheel.namelist())
    assert {f"lapwright/publish/bundle/{output}" for output in hook.OUTPUTS} <= inside
    assert "lapwright/py.typed" in inside
    assert not [n for n in inside if n.endswith((".sha256", ".ts", ".tsx", ".nbi", ".nbc"))]


def test_a_lock_is_read_whole(root: Path):
    script = load(root / "do.py")
    for path in (script.LOCK, script.DEV_LOCK):
        text = path.read_text("utf-8")
        blocks = script.read_lock(path)
        assert text.endswith("".join(blocks.values()))
        assert set(script.TOOLS) <= set(blocks)
        assert all("--hash=sha256:" in block for block in blocks.values())
