"""The page on a real desk, from the address to a finished drawing, by pointer and by keyboard alone."""

from __future__ import annotations

import base64
import io
import re

import numpy as np
from PIL import Image
from playwright.sync_api import Page, expect

LONG_MS = 300_000
"""Time limit of planning and drawing, ms: seconds on an idle computer, a minute before anything is compiled."""


def photograph() -> str:
    """A shaded bright disc on a dark ground, as a JPEG in base64."""
    y, x = np.mgrid[-1:1:60j, -1:1:80j]
    tone = (90 + 110 * (x**2 + y**2 < 0.4) + 45 * x * np.cos(9 * y)).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(tone).save(file, "JPEG")
    return base64.b64encode(file.getvalue()).decode()


def drop(page: Page, name: str, content: str) -> None:
    page.evaluate(
        """([name, content]) => {
          const bytes = Uint8Array.from(atob(content), (one) => one.charCodeAt(0));
          const dataTransfer = new DataTransfer();
          dataTransfer.items.add(new File([bytes], name, { type: "image/jpeg" }));
          for (const kind of ["dragenter", "dragover", "drop"]) {
            window.dispatchEvent(new DragEvent(kind, { dataTransfer, bubbles: true, cancelable: true }));
          }
        }""",
        [name, content],
    )


def event(page: Page, **what: object) -> None:
    """Run a setup command."""
    page.evaluate("async (what) => (await import('/page/desk.js')).act(what)", what)


def test_a_dropped_photograph_is_drawn_in_five_clicks_without_typing(page, address):
    page.goto(address)
    step = page.locator("button.step")
    expect(step).to_have_text("Add something")
    event(page, do="sheet", sheet="A6")
    clicks = 0
    drop(page, "disc.jpg", photograph())
    expect(page.get_by_role("button", name=re.compile(r"^disc\.jpg, \d+ by"))).to_be_attached(timeout=LONG_MS)
    expect(step).to_be_enabled(timeout=LONG_MS)
    expect(step).to_have_text("Simulate")
    expect(page.locator(".mind")).to_have_count(0)  # the desk's own choices cause no warnings
    step.click()
    clicks += 1
    expect(step).to_have_text("Begin")
    step.click()
    clicks += 1
    expect(step).to_have_text("Hold", timeout=LONG_MS)
    expect(page.get_by_role("progressbar", name="How far the drawing is")).to_be_attached()
    # The page is reloaded during a drawing: nothing is lost, and this window still controls the machine.
    page.reload()
    expect(step).to_have_text(re.compile("Hold|Done"), timeout=LONG_MS)
    expect(step).to_have_text("Done", timeout=LONG_MS)
    step.click()
    clicks += 1
    expect(step).to_have_text("Simulate")
    assert clicks <= 5
    page.get_by_role("button", name="Looking back").click()
    expect(page.locator(".drawn li").first).to_contain_text("Finished.")
    event(page, do="clear")
    expect(step).to_have_text("Add something")


def press_until(page: Page, key: str, locator) -> None:
    """Press a key until an element has the focus."""
    for _ in range(80):
        if locator.count() and locator.first.evaluate("(one) => one === document.activeElement"):
            return
        page.keyboard.press(key)
    raise AssertionError(f"{locator} is not reached with {key}")


def test_the_keyboard_alone_goes_all_the_way(page, address):
    page.goto(address)
    step = page.locator("button.step")
    expect(step).to_have_text("Add something")
    event(page, do="sheet", sheet="A6")
    press_until(page, "Tab", page.get_by_role("button", name="Words"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("textbox", name="Words on the sheet")).to_be_focused()
    page.keyboard.type("Quay")
    page.keyboard.press("Enter")
    grip = page.locator(".grip")
    expect(grip).to_be_attached(timeout=LONG_MS)
    expect(step).to_be_enabled(timeout=LONG_MS)
    before = grip.get_attribute("aria-label")
    press_until(page, "Shift+Tab", grip)
    page.keyboard.press("Shift+ArrowDown")
    expect(grip).not_to_have_attribute("aria-label", before)
    expect(step).to_have_text("Simulate")
    expect(step).to_be_enabled(timeout=LONG_MS)
    press_until(page, "Tab", step)
    page.keyboard.press("Enter")
    # The focus stays on the next step's button; it is disabled for a moment after each change.
    for word in ("Begin", "Done"):
        expect(step).to_have_text(word, timeout=LONG_MS)
        expect(step).to_be_focused()
        expect(step).to_be_enabled()
        page.keyboard.press("Enter")
    expect(step).to_have_text("Simulate")
    page.keyboard.press("Control+z")
    expect(grip).to_have_attribute("aria-label", before)
    event(page, do="clear")
    expect(step).to_have_text("Add something")
