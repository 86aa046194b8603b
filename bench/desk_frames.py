"""Frames of the desk's page while the sheet is moved and zoomed: 10^4, 10^5 and 10^6 vertices against an empty sheet.

    .venv/bin/python bench/desk_frames.py

The page runs in Debian's Chromium without a screen, so it is rendered by the processors alone. For each drawing the
view moves and zooms for some seconds; printed are the time between frames, median and 95th percentile, and the time
until the sheet is sharp again after the view has stopped. Exit status 1: fewer than 60 frames a second at 10^5
vertices, or 30 at 10^6, by the median, and slower than the empty sheet by more than a tenth.
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

import numpy as np
from playwright.sync_api import sync_playwright

from desk_browser.pretended import Pretended, empty_plan, geometry, state
from get_chromium import installed

SECONDS = 4
BARS_MS = {100_000: 1000 / 60, 1_000_000: 1000 / 30}
JITTER = 1.1
"""Frames wait for the next refresh of the screen, so medians are slightly above a multiple of its period."""

MOVE = """
(seconds) => new Promise((done) => {
  const table = document.querySelector("desk-table");
  const frames = [];
  const began = performance.now();
  let last = began;
  const turn = (now) => {
    frames.push(now - last);
    last = now;
    const t = (now - began) / 1000;
    if (t < seconds) {
      table.pan(6 * Math.cos(2 * t), 4 * Math.sin(3 * t));
      table.zoom(1 + 0.02 * Math.sin(1.7 * t), 500, 350);
      requestAnimationFrame(turn);
      return;
    }
    const still = performance.now();
    const sharp = () => {
      if (table.hasAttribute("data-sharp")) done({ frames: frames.slice(2), sharp_ms: performance.now() - still });
      else requestAnimationFrame(sharp);
    };
    requestAnimationFrame(() => requestAnimationFrame(sharp));
  };
  requestAnimationFrame(turn);
})
"""


def tangle(vertices: int) -> bytes:
    """Strokes of 200 vertices that wander over A4, as hatching and contours do."""
    rng = np.random.default_rng(1)
    count = max(1, vertices // 200)
    begins = rng.uniform((15, 15), (282, 195), (count, 1, 2))
    turns = np.cumsum(rng.normal(0, 0.25, (count, 200)), axis=1) + rng.uniform(0, 6.3, (count, 1))
    steps = 0.25 * np.stack((np.cos(turns), np.sin(turns)), axis=2)
    return geometry(list(np.clip(begins + np.cumsum(steps, axis=1), 11, 286)), speed=60.0)


def main() -> int:
    """Print one line for each drawing; see the top of the file."""
    path = installed()
    if not path:
        print("not run: there is no Chromium; see `make chromium`")
        return 0
    missed = False
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        print(f"{'vertices':>10} {'frame':>9} {'1 in 20':>9} {'sharp after':>12}")
        nothing_ms = 0.0
        for vertices in (0, 10_000, 100_000, 1_000_000):
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            pen = {"name": "black", "colour": "#000000", "width_mm": 0.3, "predicted_s": 60.0, "begins_s": 0.0}
            plan = empty_plan(state="ready", n=1, geometry="g" if vertices else None, predicted_s=60.0, pens=[pen])
            desk = Pretended(page, state(plan=plan), {"g": tangle(vertices)} if vertices else {})
            desk.open()
            page.wait_for_selector("desk-table[data-sharp]", timeout=60_000)
            found = page.evaluate(MOVE, SECONDS)
            frames = np.array(found["frames"])
            median_ms = float(np.median(frames))
            print(f"{vertices:10} {median_ms:6.1f} ms {np.percentile(frames, 95):6.1f} ms {found['sharp_ms']:9.0f} ms")
            nothing_ms = nothing_ms or median_ms
            bar_ms = BARS_MS.get(vertices)
            if bar_ms and median_ms > JITTER * max(bar_ms, nothing_ms):
                missed = True
                print(f"           over the bar of {bar_ms:.1f} ms")
            page.close()
        browser.close()
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
