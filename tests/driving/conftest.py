"""Simulated sessions, driven once for all tests of this folder."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

import pytest


def _load(file: str, name: str) -> Any:
    """Load a module that stands beside the tests, which are no package."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def simulated() -> Any:
    """Load the module that measures simulated drives and takes them through the pipeline."""
    return _load("simulated.py", "simulated_drives")


@pytest.fixture(scope="session")
def reached() -> Any:
    """Load the module that reads from simulated drives what the car did at its limits."""
    return _load("reached_envelope.py", "reached_envelope")


@pytest.fixture(scope="session")
def late_braking() -> Any:
    """Load the module that lets simulated drivers brake late on purpose."""
    return _load("late_braking.py", "late_braking")


@pytest.fixture(scope="session")
def session(simulated: Any) -> Any:
    return simulated.drive()


@pytest.fixture(scope="session")
def found(simulated: Any, session: Any) -> Any:
    """What is found with 0.02 m position noise at 100 Hz."""
    return simulated.analyse(session)


@pytest.fixture(scope="session")
def slow(simulated: Any, session: Any) -> Any:
    """The same drive logged at 25 Hz."""
    return simulated.analyse(session, simulated.Sensors(rate_hz=25.0))
