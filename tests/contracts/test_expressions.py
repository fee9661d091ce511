"""Every regular expression of the package is measured by ``bench/bench_expressions.py``."""

from __future__ import annotations

import importlib.util
import sys
from types import ModuleType

import pytest

pytest.importorskip("polars")


@pytest.fixture(scope="module")
def bench(root) -> ModuleType:
    path = root / "bench" / "bench_expressions.py"
    spec = importlib.util.spec_from_file_location("bench_expressions", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_every_expression_is_measured(bench):
    found = bench.find_patterns()
    unmeasured = [f for f in found if f.pattern is not None and f.pattern not in bench.all_cases()]
    assert unmeasured == []
    made = {(f.module, f.written) for f in found if f.pattern is None}
    assert made == set(bench.BUILT)


def test_nothing_is_measured_that_is_not_there(bench):
    held = {f.pattern for f in bench.find_patterns()}
    assert [p for p in bench.CASES if p not in held] == []
    assert len(held) > 30


def test_an_expression_that_is_slower_than_linear_is_seen(bench):
    """Runs of blanks before an end that never comes: each is tried from every place in it."""
    _, ratio = bench.judge(r" +$", "search", bench.times(" ", "", "a"))
    assert ratio > bench.MOST_RATIO
