"""What a video shows and where the cursor stands are the same moment of the lap, within 0.05 s.

Every frame of the video is a bar code of its own number, so that the picture can be read off the
page instead of believing the player's clock. The frames are stills that the browser's canvas has
coded; they are put in a row as a WebM file (a Matroska file, RFC 9559, of VP8 key frames,
RFC 6386; the numbers of the elements are from memory). Picture and laps are invented.
"""

from __future__ import annotations

import base64
import re
import struct
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from lapwright.publish.html import render_html

OFFSET_S = 5.0  # as in the captioned view
NEAR_S = 0.05
RATE_HZ = 20
BITS = 12
#: Pixels a bit: more than the blocks that VP8 codes, so that black stays black.
WIDE = 16

DRAW = """([count, bits, wide]) => {
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [bits * wide, wide];
  const pen = canvas.getContext("2d");
  return Array.from({ length: count }, (_, frame) => {
    for (let bit = 0; bit < bits; bit++) {
      pen.fillStyle = frame >> bit & 1 ? "#fff" : "#000";
      pen.fillRect(bit * wide, 0, wide, wide);
    }
    return canvas.toDataURL("image/webp", 0.5).split(",")[1];
  });
}"""

READ = """([bits, wide]) => {
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [bits * wide, wide];
  const pen = canvas.getContext("2d", { willReadFrequently: true });
  pen.drawImage(document.querySelector("video"), 0, 0);
  let frame = 0;
  for (let bit = 0; bit < bits; bit++) {
    if (pen.getImageData(bit * wide + wide / 2, wide / 2, 1, 1).data[0] > 127) frame += 1 << bit;
  }
  return frame;
}"""


def make_video(page: Any, seconds: float) -> bytes:
    """Make a video of so many seconds."""
    stills = page.evaluate(DRAW, [round(seconds * RATE_HZ), BITS, WIDE])
    return _file([_vp8(base64.b64decode(still)) for still in stills])


def read_frame(page: Any) -> float:
    """Read the second at which the shown frame begins from its bar code."""
    return float(page.evaluate(READ, [BITS, WIDE])) / RATE_HZ


def _vp8(webp: bytes) -> bytes:
    """Take the key frame out of a still."""
    at = webp.index(b"VP8 ")
    (size,) = struct.unpack("<I", webp[at + 4 : at + 8])
    return webp[at + 8 : at + 8 + size]


def _element(code: int, content: bytes) -> bytes:
    name = code.to_bytes((code.bit_length() + 7) // 8, "big")
    return name + (len(content) | 1 << 56).to_bytes(8, "big") + content


def _number(code: int, value: int) -> bytes:
    return _element(code, value.to_bytes(8, "big"))


def _file(frames: Sequence[bytes]) -> bytes:
    milliseconds = 1000 // RATE_HZ
    kind = b"".join(
        (_number(0x4286, 1), _number(0x42F7, 1), _number(0x42F2, 4), _number(0x42F3, 8),
         _element(0x4282, b"webm"), _number(0x4287, 2), _number(0x4285, 2))
    )  # fmt: skip
    info = b"".join(
        (_number(0x2AD7B1, 1_000_000), _element(0x4D80, b"invented"), _element(0x5741, b"invented"),
         _element(0x4489, struct.pack(">d", float(len(frames) * milliseconds))))
    )  # fmt: skip
    picture = _element(0xE0, _number(0xB0, BITS * WIDE) + _number(0xBA, WIDE))
    track = b"".join(
        (_number(0xD7, 1), _number(0x73C5, 1), _number(0x83, 1), _element(0x86, b"V_VP8"), picture)
    )
    head = _element(0x1549A966, info) + _element(0x1654AE6B, _element(0xAE, track))
    clusters, starts = [], []
    for first in range(0, len(frames), RATE_HZ):
        blocks = b"".join(
            _element(0xA3, b"\x81" + struct.pack(">h", i * milliseconds) + b"\x80" + frame)
            for i, frame in enumerate(frames[first : first + RATE_HZ])
        )
        clusters.append(_element(0x1F43B675, _number(0xE7, first * milliseconds) + blocks))
        starts.append(first * milliseconds)
    return _element(0x1A45DFA3, kind) + _element(
        0x18538067, head + _cues(starts, clusters, len(head)) + b"".join(clusters)
    )


def _cues(starts: Sequence[int], clusters: Sequence[bytes], head: int) -> bytes:
    """Say where in the file each second begins; numbers take eight bytes, so the size is known."""

    def write(offset: int) -> bytes:
        points = []
        for start, cluster in zip(starts, clusters, strict=True):
            place = _element(0xB7, _number(0xF7, 1) + _number(0xF1, offset))
            points.append(_element(0xBB, _number(0xB3, start) + place))
            offset += len(cluster)
        return _element(0x1C53BB6B, b"".join(points))

    return write(head + len(write(0)))


@pytest.fixture(scope="module")
def clock(captioned: dict[str, Any]) -> Any:
    """Seconds of the followed lap at each sample of the road, the line at both ends."""
    pictures = captioned["pictures"]
    return np.asarray(pictures["laps"][pictures["chosen_lap"]]["time"], dtype=float)


@pytest.fixture(scope="module")
def opened(open_guide: Any, captioned: dict[str, Any], clock: Any, tmp_path_factory: Any) -> Any:
    path = tmp_path_factory.mktemp("frames") / "guide.html"
    path.write_bytes(render_html(captioned))
    opened = open_guide(path)
    film = make_video(opened.page, OFFSET_S + clock[-1] + 2.0)
    opened.page.set_input_files(
        ".watch input[type=file]", {"name": "lap.webm", "mimeType": "video/webm", "buffer": film}
    )
    opened.until("document.querySelector('video')?.readyState >= 2")
    return opened


def settle(opened: Any) -> None:
    opened.page.wait_for_timeout(200)
    opened.until("!document.querySelector('video').seeking")
    opened.page.wait_for_timeout(100)


def shown_place(opened: Any, captioned: dict[str, Any], index: int) -> float:
    """Read the cursor's place off a sheet, to the metre."""
    corner = captioned["guide"]["corners"][index]
    place = f"#corner-{corner['id']} .ribbon .cursor [data-part=place]"
    text = opened.page.locator(place).text_content()
    if text == "at the apex":
        return float(corner["apex_m"])
    read = re.fullmatch(r"(\d+)\u00a0m (before|after) the apex", text)
    assert read is not None, text
    return float(corner["apex_m"]) + int(read[1]) * (-1 if read[2] == "before" else 1)


def time_at(captioned: dict[str, Any], clock: Any, place: float) -> float:
    return float(np.interp(place / captioned["pictures"]["step_m"], np.arange(clock.size), clock))


def test_the_bar_code_tells_the_frame(opened: Any):
    for second in (0.0, 20.0, 41.35):
        opened.page.evaluate(
            "t => { document.querySelector('video').currentTime = t + 0.02 }", second
        )
        settle(opened)
        assert read_frame(opened.page) == pytest.approx(second, abs=1e-6)
    assert opened.page.evaluate("document.querySelector('video').videoWidth") == BITS * WIDE


@pytest.mark.parametrize("index", [1, 4, 9])
def test_the_picture_shows_the_cursor_s_moment(opened: Any, captioned: Any, clock: Any, index: int):
    corner = captioned["guide"]["corners"][index]
    slider = opened.page.locator(f"#corner-{corner['id']} .slider")
    slider.scroll_into_view_if_needed()
    for x in (300, 620):
        slider.hover(position={"x": x, "y": 200})
        settle(opened)
        due = OFFSET_S + time_at(captioned, clock, shown_place(opened, captioned, index))
        # A frame stands for as long as it is shown, and the place is written to the metre.
        assert read_frame(opened.page) + 0.5 / RATE_HZ == pytest.approx(due, abs=NEAR_S + 0.02)
        clock_s = opened.page.evaluate("document.querySelector('video').currentTime")
        assert clock_s == pytest.approx(due, abs=NEAR_S)


@pytest.mark.parametrize("index", [2, 6, 10])
def test_the_cursor_stands_where_the_picture_is(
    opened: Any, captioned: Any, clock: Any, index: int
):
    corner = captioned["guide"]["corners"][index]
    opened.page.locator("h1").first.hover()
    for ahead in (-20.0, 15.0):
        second = OFFSET_S + time_at(captioned, clock, corner["apex_m"] + ahead)
        opened.page.evaluate("t => { document.querySelector('video').currentTime = t }", second)
        settle(opened)
        there = OFFSET_S + time_at(captioned, clock, shown_place(opened, captioned, index))
        assert there == pytest.approx(second, abs=NEAR_S)
        assert (
            read_frame(opened.page) <= second + 1e-3 < read_frame(opened.page) + 1 / RATE_HZ + 2e-3
        )


def test_a_video_that_plays_takes_the_cursor_along(opened: Any, captioned: Any, clock: Any):
    apex = captioned["guide"]["corners"][3]["apex_m"]
    start = OFFSET_S + time_at(captioned, clock, apex)
    opened.page.evaluate("t => { document.querySelector('video').currentTime = t }", start)
    opened.page.evaluate("document.querySelector('video').play()")
    opened.until(f"document.querySelector('video').currentTime > {start} + 0.5")
    opened.page.evaluate("document.querySelector('video').pause()")
    settle(opened)
    second = opened.page.evaluate("document.querySelector('video').currentTime")
    there = OFFSET_S + time_at(captioned, clock, shown_place(opened, captioned, 3))
    assert there == pytest.approx(second, abs=NEAR_S)
    assert opened.complaints == []
