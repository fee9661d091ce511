"""A video from the reader's own disk: it and the cursor follow each other, with the captions on.

The video is a made one without pictures: sound that is silence, which a browser can seek exactly.
"""

from __future__ import annotations

import wave
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lapwright.publish.html import render_html

OFFSET_S, LENGTH_S = 5.0, 150  # the first as in the captioned view
NEAR_S = 0.05
TIME = "document.querySelector('.player video').currentTime"


@pytest.fixture(scope="module")
def page_file(captioned: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("video") / "guide.html"
    path.write_bytes(render_html(captioned))
    return path


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("film") / "lap.wav"
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(1)
        out.setframerate(8000)
        out.writeframes(b"\x80" * (8000 * LENGTH_S))
    return path


def time_at(captioned: dict[str, Any], place: float) -> float:
    """Seconds from the line to a place on the lap that the guide follows."""
    pictures = captioned["pictures"]
    clock = np.asarray(pictures["laps"][pictures["chosen_lap"]]["time"], dtype=float)
    return float(np.interp(place / pictures["step_m"], np.arange(clock.size), clock))


def watch(open_guide: Any, page_file: Path, film: Path, **how: Any) -> Any:
    opened = open_guide(page_file, **how)
    opened.page.set_input_files(".watch input[type=file]", str(film))
    opened.until("document.querySelector('.player video')?.readyState >= 1")
    return opened


def settle(opened: Any) -> float:
    """Wait until the video has arrived, and tell where."""
    opened.page.wait_for_timeout(150)
    opened.until("!document.querySelector('.player video').seeking")
    return float(opened.page.evaluate(TIME))


def test_the_video_follows_the_cursor_and_the_cursor_the_video(
    open_guide: Any, page_file: Path, film: Path, captioned: dict[str, Any]
) -> None:
    opened = watch(open_guide, page_file, film)
    page = opened.page
    page.locator("h1").first.focus()
    page.keyboard.press("ArrowRight")  # puts the cursor at the first corner's apex
    apex = captioned["guide"]["corners"][0]["apex_m"]
    assert settle(opened) == pytest.approx(OFFSET_S + time_at(captioned, apex), abs=NEAR_S)
    for place in (apex + 60.0, apex + 250.0):
        page.evaluate(
            "t => { document.querySelector('.player video').currentTime = t }",
            OFFSET_S + time_at(captioned, place),
        )
        settle(opened)
        page.keyboard.press("ArrowRight")  # a metre on from where the video had taken the cursor
        there = OFFSET_S + time_at(captioned, place + 1.0)
        assert settle(opened) == pytest.approx(there, abs=NEAR_S)
    assert opened.complaints == []
    assert [url for url in opened.requests if not url.startswith(("file:", "blob:"))] == []


def test_the_lap_may_begin_elsewhere_in_the_video(
    open_guide: Any, page_file: Path, film: Path, captioned: dict[str, Any]
) -> None:
    opened = watch(open_guide, page_file, film)
    page = opened.page
    cues = "[...document.querySelector('.player video').textTracks[0].cues].map(c => c.startTime)"
    before = page.evaluate(cues)
    box = page.get_by_label("The lap begins at")
    assert float(box.input_value()) == OFFSET_S
    box.fill("7.5")
    page.wait_for_timeout(50)
    after = page.evaluate(cues)
    assert len(before) == len(after) > 3
    assert np.subtract(after, before)[1:] == pytest.approx(2.5, abs=1e-6)
    page.locator("h1").first.focus()
    page.keyboard.press("ArrowRight")
    apex = captioned["guide"]["corners"][0]["apex_m"]
    assert settle(opened) == pytest.approx(7.5 + time_at(captioned, apex), abs=NEAR_S)
    page.evaluate("document.querySelector('.player video').currentTime = 30")
    settle(opened)


def test_the_moment_at_the_start_line_is_where_the_lap_begins(
    open_guide: Any, page_file: Path, film: Path, captioned: dict[str, Any]
) -> None:
    opened = watch(open_guide, page_file, film)
    page = opened.page
    page.evaluate("document.querySelector('.player video').currentTime = 11.96")
    settle(opened)
    for label, there in (("a frame on", 12.0), ("a frame on", 12.04), ("a frame back", 12.0)):
        page.get_by_role("button", name=label).click()
        assert settle(opened) == pytest.approx(there, abs=0.005)
    page.get_by_role("button", name="The car crosses the start line now").click()
    box = page.get_by_label("The lap begins at")
    assert float(box.input_value()) == pytest.approx(12.0, abs=0.011)
    opened.until("document.querySelector('.player [role=status]').textContent.includes('12.00')")
    assert settle(opened) == pytest.approx(12.0, abs=0.011)  # it stays where it was marked
    page.locator("h1").first.focus()
    for _ in range(5):
        page.keyboard.press("Shift+ArrowRight")  # 10 m each, from the line
    assert settle(opened) == pytest.approx(12.0 + time_at(captioned, 50.0), abs=NEAR_S)
    assert opened.complaints == []


def test_without_a_script_and_on_paper_there_is_nothing_to_play(
    open_guide: Any, page_file: Path, film: Path
) -> None:
    plain = open_guide(page_file, script=False).page
    assert plain.locator("video, input, button, .watch, .reader").count() == 0
    page = watch(open_guide, page_file, film).page
    assert page.locator(".watch video").is_visible()
    page.emulate_media(media="print")
    for part in (".watch", ".watch video", ".watch input", ".watch button"):
        assert not page.locator(part).first.is_visible()


def test_the_guides_captions_are_switched_on(
    open_guide: Any, page_file: Path, film: Path, captioned: dict[str, Any]
) -> None:
    page = watch(open_guide, page_file, film).page
    track = "document.querySelector('.player video').textTracks[0]"
    assert page.evaluate(f"{track}.mode") == "showing"
    texts = page.evaluate(f"[...{track}.cues].map(c => c.text)")
    assert len(texts) > 3
    assert all(text in captioned["captions"]["vtt"] for text in texts)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_beside_a_video(
    open_guide: Any, page_file: Path, film: Path, root: Path, scheme: str
) -> None:
    page = watch(open_guide, page_file, film, width=390, scheme=scheme).page
    axe = root / "web" / "node_modules" / "axe-core" / "axe.min.js"
    page.evaluate(f"() => {{ {axe.read_text('utf-8')} }}")
    assert page.evaluate("async () => (await axe.run()).violations.map(v => v.id)") == []


def test_what_is_no_video_is_said(open_guide: Any, page_file: Path, tmp_path: Path) -> None:
    wrong = tmp_path / "lap.mp4"
    wrong.write_bytes(b"no video at all")
    opened = open_guide(page_file)
    opened.page.set_input_files(".watch input[type=file]", str(wrong))
    opened.until("document.querySelector('.player [role=status]')?.textContent")
    assert "cannot play" in opened.page.locator(".player [role=status]").inner_text()


def test_a_guide_without_captions_asks_for_no_video(open_guide: Any, guide: Path) -> None:
    assert open_guide(guide).page.locator(".watch").count() == 0
