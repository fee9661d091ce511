"""The invented findings that the guide's tests compose."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def invented() -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "invented_findings", Path(__file__).parent / "invented.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
