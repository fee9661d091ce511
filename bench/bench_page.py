"""Size of the guide's file, and time until it stands in a browser and its cursor moves.

The view is invented: 30 laps of 4000 places and 8 channels.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from lapwright.publish.html import render_html

ROOT = Path(__file__).resolve().parents[1]
LAPS, STEP_M = 30, 0.833
TARGET_BYTES, TARGET_OPEN_MS, RUNS = 3_000_000, 1000.0, 5

MARKS = "performance.getEntriesByType('mark').map(m => [m.name, m.startTime])"
CURSOR = """async () => {
  const slider = document.querySelector('#corner-4 .slider');
  slider.scrollIntoView();
  const box = slider.getBoundingClientRect(), next = window.requestAnimationFrame, spent = [];
  window.requestAnimationFrame = work => next(now => {
    const start = performance.now();
    work(now);
    document.body.getBoundingClientRect();
    spent.push(performance.now() - start);
  });
  for (let i = 0; i < 200; i++) {
    const clientX = box.left + 80 + 5 * i, clientY = box.top + 200;
    slider.dispatchEvent(new PointerEvent('pointermove', {clientX, clientY, bubbles: true}));
    await new Promise(done => next(() => next(done)));
  }
  spent.sort((a, b) => a - b);
  return [spent[Math.floor(spent.length / 2)], spent[Math.floor(spent.length * 0.95)]];
}"""


def load_view() -> dict[str, Any]:
    """Make the invented view that the tests use, larger."""
    path = ROOT / "tests" / "publish" / "sample_view.py"
    spec = importlib.util.spec_from_file_location("sample_view", path)
    if spec is None or spec.loader is None:
        raise FileNotFoundError(path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    view: dict[str, Any] = module.make_view(laps=LAPS, step_m=STEP_M)
    return view


def open_page(page: Page, address: str) -> dict[str, float]:
    """Open the guide; return milliseconds from the start of the navigation to each mark."""
    page.goto(address)
    while page.evaluate("document.documentElement.dataset.drawn") != "all":
        time.sleep(0.05)
    return dict(page.evaluate(MARKS))


def main() -> int:
    """Print size and times; fail when the size or the opening misses its target."""
    found = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if not found:
        print("page: no Chromium on this machine (set CHROMIUM to its path)")
        return 1
    start = time.perf_counter()
    view = load_view()
    made = time.perf_counter()
    content = render_html(view)
    print(
        f"page: rendered in {time.perf_counter() - made:.2f} s (view made in {made - start:.2f} s)"
    )
    print(f"page: {len(content):,} bytes, target {TARGET_BYTES:,}")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        path = Path(folder) / "guide.html"
        path.write_bytes(content)
        browser = play.chromium.launch(executable_path=found)
        runs = []
        for _ in range(RUNS):
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            runs.append(open_page(page, path.as_uri()))
            cursor = page.evaluate(CURSOR)
            page.close()
        browser.close()
    opened, drawn = (sorted(run[name] for run in runs)[RUNS // 2] for name in ("opened", "drawn"))
    print(f"page: opening stands after {opened:.0f} ms, target {TARGET_OPEN_MS:.0f} ms")
    print(f"page: all corner sheets drawn after {drawn:.0f} ms")
    print(f"page: cursor {cursor[0]:.2f} ms a frame, 95 % within {cursor[1]:.2f} ms")
    return int(len(content) > TARGET_BYTES or opened > TARGET_OPEN_MS)


if __name__ == "__main__":
    sys.exit(main())
