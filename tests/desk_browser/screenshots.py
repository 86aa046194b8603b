#!/usr/bin/env python3
"""Make the screenshots of docs/DESK.md from a real desk on the virtual rig.

    PYTHONPATH=tests .venv/bin/python tests/desk_browser/screenshots.py        renews docs/pictures/desk-*.png

A card of the demo world is put on a sheet of A6 and drawn; some minutes.
"""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, expect, sync_playwright

from get_chromium import installed

ROOT = Path(__file__).resolve().parents[2]
PICTURES = ROOT / "docs" / "pictures"
LONG_MS = 600_000
ANY_STOP = re.compile("Pen is in|Done|Carry on")
COLOURS = 128
"""Colours of a picture's palette, enough for flat paper and thin lines."""


def take(page: Page, name: str) -> None:
    expect(page.locator("desk-table[data-sharp]")).to_be_attached(timeout=60_000)
    shot = Image.open(io.BytesIO(page.screenshot(animations="disabled"))).convert("RGB")
    shot.quantize(COLOURS, dither=Image.Dither.NONE).save(PICTURES / f"desk-{name}.png", optimize=True)
    print(f"docs/pictures/desk-{name}.png")


def do(page: Page, **what: object) -> None:
    page.evaluate("async (what) => (await import('/page/desk.js')).act(what)", what)


def walk(page: Page, address: str) -> None:
    page.goto(address)
    step = page.locator("button.step")
    expect(step).to_have_text("Add something", timeout=60_000)
    do(page, do="sheet", sheet="A6", landscape=True)
    expect(page.get_by_text("Not homed yet")).to_be_visible(timeout=60_000)
    take(page, "start")
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="A picture").first.click()
    chooser.value.set_files(ROOT / "demo" / "drifter.svg")
    expect(page.locator(".grip")).to_be_attached(timeout=LONG_MS)
    expect(step).to_have_text("Simulate")
    expect(step).to_be_enabled(timeout=LONG_MS)
    take(page, "lines")
    page.get_by_role("button", name="Time and ink").click()
    line = page.get_by_role("slider", name="Look at the sheet")
    line.focus()
    for _ in range(5):
        page.keyboard.press("PageDown")
    take(page, "time")
    page.get_by_role("button", name="Show all of it").click()
    step.click()
    page.get_by_role("button", name="Begin", exact=True).click()
    expect(page.locator("#next-about")).to_contain_text("Drawing stroke", timeout=LONG_MS)
    expect(page.locator("desk-timeline [role=progressbar]")).not_to_have_attribute(
        "aria-valuenow", "0", timeout=LONG_MS
    )
    take(page, "drawing")
    for _ in range(30):
        expect(step).to_have_text(ANY_STOP, timeout=LONG_MS)
        if step.inner_text() != "Pen is in":
            break
        step.click()
        expect(step).not_to_have_text("Pen is in", timeout=LONG_MS)
    step.click()
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    page.get_by_role("button", name="Machine", exact=True).click()
    take(page, "machine-dark")


def main() -> int:
    """Take all screenshots."""
    path = installed()
    if not path:
        print("screenshots: there is no Chromium; see `make chromium`", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory(prefix="desk-") as home, sync_playwright() as driver:
        settings = os.environ | {f"XDG_{kind}_HOME": f"{home}/{kind}" for kind in ("STATE", "CONFIG", "DATA")}
        program = Path(sys.executable).parent / "linewright"
        server = subprocess.Popen(
            [program, "desk", "--no-browser", "--json"], stdout=subprocess.PIPE, text=True, env=settings, cwd=home
        )
        try:
            assert server.stdout is not None
            address = json.loads(server.stdout.readline())["address"]
            browser = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 1280, "height": 800}, reduced_motion="reduce")
            walk(page, address)
            browser.close()
        finally:
            server.terminate()
            server.wait(30)
    return 0


if __name__ == "__main__":
    sys.exit(main())
