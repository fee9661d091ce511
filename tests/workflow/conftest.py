"""The invented road and cars, and a way to run the command line."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import pytest

from lapwright.cli import run


@dataclass(frozen=True)
class Ran:
    """How a command ended and what it said where."""

    code: int
    out: str
    err: str


def run_command(*arguments: object) -> Ran:
    """Run one command of the command line in this process."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run([str(a) for a in arguments])
    return Ran(code, out.getvalue(), err.getvalue())


@pytest.fixture(scope="session")
def command() -> Callable[..., Ran]:
    return run_command


@pytest.fixture(scope="session")
def invented() -> ModuleType:
    path = Path(__file__).parent / "invented.py"
    spec = importlib.util.spec_from_file_location("invented_drives", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # where its records look for their annotations
    spec.loader.exec_module(module)
    return module
