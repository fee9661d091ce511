"""Corners read aloud by the browser's own speech, which the tests stand in for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

#: Keeps what is said; nothing is ever finished but by `finish`.
STUB = """
  window.said = []; window.ended = 0;
  class Part { constructor(text) { this.text = text } }
  Object.defineProperty(window, 'SpeechSynthesisUtterance', { value: Part });
  Object.defineProperty(window, 'speechSynthesis', { value: {
    speak: part => said.push(part), cancel: () => { ended += 1 },
  } });
"""


@pytest.fixture
def page(browser: Browser, guide: Path) -> Any:
    context = browser.new_context(offline=True, reduced_motion="reduce")
    context.add_init_script(STUB)
    page = context.new_page()
    page.goto(guide.as_uri())
    page.locator(".sheet .aloud").first.wait_for()
    yield page
    context.close()


def test_a_corner_is_read_with_its_title_and_all_it_tells_to_do(page: Any) -> None:
    sheet = page.locator(".sheet").first
    sheet.locator(".aloud").click()
    said = page.evaluate("said.map(part => part.text)")
    assert said[0] == sheet.locator("h2").inner_text()
    assert said[-1] == sheet.locator(".orders li").last.inner_text()
    assert page.evaluate("said.every(part => part.lang === 'en')")
    assert sheet.locator(".aloud").get_attribute("aria-pressed") == "true"
    page.evaluate("said.at(-1).onend()")
    sheet.locator(".aloud[aria-pressed=false]").wait_for()


def test_another_corner_or_the_button_ends_the_reading(page: Any) -> None:
    first, second = (page.locator(".sheet .aloud").nth(i) for i in (0, 1))
    first.click()
    second.click()
    page.locator(".sheet .aloud[aria-pressed=true]").wait_for()
    assert page.evaluate("ended") == 1
    assert first.get_attribute("aria-pressed") == "false"
    assert second.get_attribute("aria-pressed") == "true"
    second.press("Enter")
    page.wait_for_timeout(50)
    assert second.get_attribute("aria-pressed") == "false"
    assert page.evaluate("ended") == 2


def test_without_speech_there_is_no_button(browser: Browser, guide: Path) -> None:
    context = browser.new_context(offline=True)
    context.add_init_script(
        "delete window.speechSynthesis; delete Window.prototype.speechSynthesis"
    )
    page = context.new_page()
    page.goto(guide.as_uri())
    page.locator(".sheet h2").first.wait_for()
    has = page.evaluate("'speechSynthesis' in window")
    buttons = page.locator(".aloud").count()
    context.close()
    assert not has
    assert buttons == 0
