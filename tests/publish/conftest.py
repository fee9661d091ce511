"""The invented view that the page's tests look at."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest


def load_maker(folder: Path) -> Callable[..., dict[str, Any]]:
    """Load the maker of invented views from its file."""
    spec = importlib.util.spec_from_file_location("sample_view", folder / "sample_view.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    maker: Callable[..., dict[str, Any]] = module.make_view
    return maker


@pytest.fixture(scope="session")
def make_view() -> Callable[..., dict[str, Any]]:
    return load_maker(Path(__file__).parent)
