"""Opens guides from a file, with the network off, and keeps account of what they do."""

from __future__ import annotations

import importlib.util
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from lapwright.guide.captions import CaptionRules
from lapwright.publish.html import render_html
from lapwright.workflow.hand_over import compose_video_captions


@dataclass
class Opened:
    """A page, and everything it asked for or complained about."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def until(self, question: str, seconds: float = 15.0) -> Any:
        """Ask until the answer is true; the page's policy forbids waiting inside it."""
        end = time.monotonic() + seconds
        while not (answer := self.page.evaluate(question)):
            assert time.monotonic() < end, f"still not so: {question}"
            time.sleep(0.02)
        return answer


Opener = Callable[..., Opened]


@pytest.fixture(scope="session")
def make_view() -> Callable[..., dict[str, Any]]:
    """Make an invented view."""
    path = Path(__file__).resolve().parents[1] / "publish" / "sample_view.py"
    spec = importlib.util.spec_from_file_location("sample_view", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    maker: Callable[..., dict[str, Any]] = module.make_view
    return maker


@pytest.fixture(scope="session")
def captioned(make_view: Any) -> dict[str, Any]:
    """Make an invented view of three laps with captions for a video that begins 5 s early."""
    view: dict[str, Any] = make_view(laps=3)
    rules = CaptionRules(video_offset_s=5.0)
    return {**view, "captions": compose_video_captions(view, rules)}


@pytest.fixture(scope="session")
def guide(make_view: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the invented guide."""
    path = tmp_path_factory.mktemp("guide") / "guide.html"
    path.write_bytes(render_html(make_view()))
    return path


@pytest.fixture(scope="module")
def open_guide(browser: Browser) -> Iterator[Opener]:
    """Open a guide at a width and in a colour scheme, fully drawn."""
    contexts = []

    def opener(path: Path, width: int = 1440, scheme: str = "light", script: bool = True) -> Opened:
        context = browser.new_context(
            viewport={"width": width, "height": 900},
            color_scheme=scheme,  # type: ignore[arg-type]
            java_script_enabled=script,
            reduced_motion="reduce",
            offline=True,
        )
        contexts.append(context)
        opened = Opened(context.new_page())
        page = opened.page
        page.on("request", lambda request: opened.requests.append(request.url))
        page.on("console", lambda message: opened.complaints.append(message.text))
        page.on("pageerror", lambda error: opened.complaints.append(str(error)))
        page.goto(path.as_uri())
        if script:
            opened.until("document.documentElement.dataset.drawn === 'all'")
        return opened

    yield opener
    for context in contexts:
        context.close()
