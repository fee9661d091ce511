"""What all tests share: outside data, the system's browser, no silent skips on CI."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest

ROOT = Path(__file__).resolve().parents[1]
SHARED = ROOT.parent / "shared" / "data"
ON_CI = os.environ.get("CI") == "true"

hypothesis.settings.register_profile("default", deadline=None)
hypothesis.settings.register_profile("ci", deadline=None, derandomize=True, database=None)
hypothesis.settings.load_profile("ci" if ON_CI else "default")


@pytest.fixture(scope="session")
def root() -> Path:
    """The repository."""
    return ROOT


@pytest.fixture(scope="session")
def shared_data() -> Callable[[str], Path]:
    """Give the path of real open data, which is kept outside the repository."""

    def find(name: str) -> Path:
        path = SHARED / name
        if not path.exists():
            pytest.skip(f"{name} is kept outside the repository")
        return path

    return find


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    """Fail on the build machine what skips for want of data or programs that belong there.

    What a ``skipif`` mark or an expected failure says in the open stays as it is.
    """
    report: Any = yield
    marked = item.get_closest_marker("skipif") or hasattr(report, "wasxfail")
    if ON_CI and report.skipped and not marked:
        report.outcome = "failed"
        report.longrepr = f"must not be skipped where CI=true: {report.longrepr[2]}"
    return report


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """Start the system's Chromium, and keep it from calling anywhere by itself."""
    found = os.environ.get("CHROMIUM") or next(
        filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
    )
    if found is None:
        pytest.skip("no Chromium on this machine (set CHROMIUM to its path)")
    quiet = ["quic", "background-networking", "component-update", "sync", "dev-shm-usage"]
    return {
        **browser_type_launch_args,
        "executable_path": found,
        "args": ["--no-first-run", *(f"--disable-{name}" for name in quiet)],
    }
