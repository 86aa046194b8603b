"""Every state of the page passes axe-core, in light and dark mode, and fits a narrow window.

The rules are those of WCAG 2.2 A and AA and axe-core's best practices, as the package axe-playwright-python carries them.
"""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from desk_browser.pretended import Pretended, state
from desk_browser.scenes import PROGRESS, SCENES

OFTEN = ("empty", "chosen", "known", "asked", "drawing", "machine", "question")
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],
}
PHONE = {"width": 390, "height": 844}


def violations(page) -> list[str]:
    """What the rules find, each with the first place."""
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{one['id']}: {one['help']}: {one['nodes'][0]['html'][:160]}" for one in found]


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[] if name in OFTEN else [pytest.mark.slow]) for name in SCENES]
)
def test_no_rule_of_accessibility_is_broken(page, name):
    SCENES[name](page)
    expect(page.locator("desk-table[data-sharp]")).to_be_attached()
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        assert violations(page) == [], scheme


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.slow) for name in SCENES if name != "chosen"] + ["chosen"]
)
def test_a_narrow_window_holds_everything(page, name):
    page.set_viewport_size(PHONE)
    SCENES[name](page)
    expect(page.locator("desk-table[data-sharp]")).to_be_attached()
    wide = page.evaluate(
        """() => [...document.querySelectorAll(".slip *, .foot *, .plate *, .tabs *, .beginning *")]
          .filter((one) => one.checkVisibility() && !one.closest(".heard") && one.getBoundingClientRect().right > innerWidth + 1)
          .map((one) => one.outerHTML.slice(0, 120))"""
    )
    assert wide == []
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, select, input, summary")]
          .filter((one) => one.checkVisibility() && !one.closest(".heard, .things") && !one.matches(".heard"))
          .map((one) => [one.getBoundingClientRect(), one.outerHTML.slice(0, 120)])
          .filter(([box]) => box.width < 20 || box.height < 20).map(([, html]) => html)"""
    )
    assert small == []  # WCAG 2.2, 2.5.8 asks for 24 by 24 px or as much room around


@pytest.mark.parametrize("drawing", [pytest.param(None, id="idle", marks=pytest.mark.slow), "drawing"])
def test_the_phones_page_breaks_no_rule(page, drawing):
    page.set_viewport_size(PHONE)
    desk = Pretended(page, state())
    now = {"name": "heron", "state": drawing, "words": "Drawing stroke 31 of 52.", "ask": None}
    desk.beside = {
        "drawing": now if drawing else None,
        "progress": PROGRESS if drawing else None,
        "rehearsal": "A simulation",
    }
    desk.open("page/phone.html")
    expect(page.get_by_text("Asking the desk")).to_have_count(0)
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        assert violations(page) == [], scheme


def test_the_rules_find_what_is_wrong(page):
    page.set_content("<html lang=en><title>t</title><main><h1>h</h1><button></button></main>")
    assert [one.partition(":")[0] for one in violations(page)] == ["button-name"]
