"""Corners read aloud by the browser's own speech, which the tests stand in for."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

#: Keeps what is said; nothing is ever finished but by `finish`.
STUB = """
  window.said = []; window.ended = 0; window.calls = [];
  class Part { constructor(text) { this.text = text } }
  Object.defineProperty(window, 'SpeechSynthesisUtterance', { value: Part });
  Object.defineProperty(window, 'speechSynthesis', { value: {
    speak: part => said.push(part), cancel: () => { ended += 1 },
    pause: () => calls.push('pause'), resume: () => calls.push('resume'),
    getVoices: () => VOICES, addEventListener() {}, removeEventListener() {},
  } });
"""
OWN = {"lang": "en-GB", "localService": True, "default": False, "name": "invented"}


def stub(*voices: dict[str, Any]) -> str:
    return STUB.replace("VOICES", json.dumps(voices))


@pytest.fixture
def page(browser: Browser, guide: Path) -> Any:
    context = browser.new_context(offline=True, reduced_motion="reduce")
    context.add_init_script(stub(OWN))
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


def test_a_reading_can_wait_and_go_on_by_keys(page: Any) -> None:
    page.locator(".sheet .aloud").nth(1).press("Enter")
    page.locator(".reader button", has_text="pause").wait_for()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.locator(".reader button", has_text="go on").wait_for()
    assert page.evaluate("calls.at(-1)") == "pause"
    page.keyboard.press("Enter")
    page.locator(".reader button", has_text="pause").wait_for()
    assert page.evaluate("calls.at(-1)") == "resume"
    assert page.evaluate("said[0].voice.name") == OWN["name"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_while_a_corner_is_read(
    browser: Browser, guide: Path, root: Path, scheme: Any
) -> None:
    context = browser.new_context(offline=True, color_scheme=scheme)
    context.add_init_script(stub(OWN))
    page = context.new_page()
    page.goto(guide.as_uri())
    page.locator(".sheet .aloud").nth(1).click()
    axe = root / "web" / "node_modules" / "axe-core" / "axe.min.js"
    page.evaluate(f"() => {{ {axe.read_text('utf-8')} }}")
    found = page.evaluate("async () => (await axe.run()).violations.map(v => v.id)")
    context.close()
    assert found == []


@pytest.mark.parametrize(
    "voices", [[], [{**OWN, "lang": "de-DE"}], [{**OWN, "localService": False}]], ids=str
)
def test_no_button_without_a_voice_of_this_machine_and_language(
    browser: Browser, guide: Path, voices: list[dict[str, Any]]
) -> None:
    context = browser.new_context(offline=True)
    context.add_init_script(stub(*voices))
    page = context.new_page()
    page.goto(guide.as_uri())
    page.locator(".sheet h2").first.wait_for()
    buttons = page.locator(".aloud").count()
    context.close()
    assert buttons == 0


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


def test_paper_and_plain_form_offer_no_reading(page: Any, browser: Browser, guide: Path) -> None:
    assert page.locator(".reader").first.is_visible()
    page.emulate_media(media="print")
    assert not any(one.is_visible() for one in page.locator(".reader, .aloud").all())
    context = browser.new_context(offline=True, java_script_enabled=False)
    plain = context.new_page()
    plain.goto(guide.as_uri())
    assert plain.locator("main.plain").count() == 1
    assert plain.locator(".reader, .aloud, button").count() == 0
    context.close()
