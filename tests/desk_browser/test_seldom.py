"""Rare operations on a real desk: previews, pen change, drawing again; and a phone."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from desk_browser.conftest import SIZE, served
from desk_browser.test_whole_way import LONG_MS, drop, event, photograph

PHONE = {"width": 390, "height": 844}
TWO_INKS = """<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 40 20" fill="none">
<path d="M2 10H18" stroke="#1f3347"/><path d="M22 10H38" stroke="#d8622a"/></svg>"""


@pytest.fixture(scope="module")
def address(browser, tmp_path_factory):
    with served(tmp_path_factory.mktemp("desk"), "--phone") as found:
        yield found


@pytest.fixture
def step(page, address):
    """Press the next step on a desk with an empty A6 sheet."""
    page.goto(address)
    found = page.locator("button.step")
    expect(found).to_have_text("Add something", timeout=LONG_MS)
    event(page, do="sheet", sheet="A6")
    yield found
    event(page, do="clear")
    expect(found).to_have_text("Add something", timeout=LONG_MS)


@pytest.mark.slow
def test_another_way_is_taken_from_its_small_picture(page, step):
    drop(page, "disc.jpg", photograph())
    way = page.get_by_role("radio", name="Hatching").filter(has_text="of ink").first
    expect(way).to_be_enabled(timeout=LONG_MS)
    way.click()
    expect(way).to_have_attribute("aria-checked", "true")
    expect(step).to_be_enabled(timeout=LONG_MS)
    slider = page.get_by_role("slider", name=re.compile("Spacing|Pitch")).first
    before = page.locator("#next-about").inner_text()
    slider.focus()
    page.keyboard.press("PageUp")
    expect(page.locator("#next-about")).not_to_have_text(before, timeout=LONG_MS)
    expect(step).to_be_enabled(timeout=LONG_MS)


@pytest.mark.slow
def test_pens_are_changed_in_mid_drawing_and_it_is_drawn_again(page, step, tmp_path):
    (tmp_path / "two.svg").write_text(TWO_INKS)
    page.locator("#files").set_input_files(tmp_path / "two.svg")
    expect(step).to_be_enabled(timeout=LONG_MS)
    expect(step).to_have_text("Simulate")
    step.click()
    expect(step).to_have_text("Begin")
    step.click()
    expect(step).to_have_text("Pen is in", timeout=LONG_MS)
    expect(page.locator(".pen-change")).to_contain_text("Put the pen")
    step.click()
    expect(step).to_have_text(re.compile("Pen is in|Done"), timeout=LONG_MS)
    if step.inner_text() == "Pen is in":
        step.click()
    expect(step).to_have_text("Done", timeout=LONG_MS)
    step.click()
    event(page, do="clear")
    expect(step).to_have_text("Add something")
    page.get_by_role("button", name="Looking back").click()
    page.get_by_role("button", name="Draw two.svg again").first.click()
    expect(page.locator(".grip")).to_be_attached(timeout=LONG_MS)
    expect(step).to_have_text("Simulate")
    expect(step).to_be_enabled(timeout=LONG_MS)


@pytest.mark.slow
def test_a_phone_that_scans_the_code_watches_holds_and_sends(page, browser, step, tmp_path):
    event(page, do="connect", port="virtual", real_time=True)
    page.get_by_role("button", name="Machine", exact=True).click()
    page.locator("summary", has_text="By phone").click()
    page.get_by_role("button", name="Let a phone in").click()
    code = page.get_by_role("img", name=re.compile("The code of"))
    refused = page.get_by_role("alert")
    expect(code.or_(refused).first).to_be_visible()
    if refused.count():
        pytest.skip(refused.inner_text())
    inside = code.get_attribute("alt").removeprefix("The code of ")
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True, reduced_motion="reduce")
    try:
        phone = context.new_page()
        phone.goto(inside)
        expect(phone.get_by_role("status").first).to_have_text("Nothing is being drawn.")
        assert urlsplit(phone.url).query == ""  # the key is removed from the address
        event(page, do="put", words="Quay")
        expect(step).to_be_enabled(timeout=LONG_MS)
        step.click()
        step.click()
        hold = phone.get_by_role("button", name="Hold")
        expect(hold).to_be_visible(timeout=LONG_MS)
        box = hold.bounding_box()
        assert box["y"] + box["height"] <= PHONE["height"]
        expect(phone.get_by_text(re.compile("Drawing stroke"))).to_be_visible(timeout=LONG_MS)
        hold.tap()
        expect(step).to_have_text("Carry on", timeout=LONG_MS)
        expect(phone.get_by_text("Carry on at the desk")).to_be_visible(timeout=LONG_MS)
        (tmp_path / "IMG_1.png").write_bytes(page.screenshot())
        phone.get_by_label("Photograph", exact=True).set_input_files(tmp_path / "IMG_1.png")
        expect(phone.get_by_text("IMG_1.png lies on the desk now.")).to_be_visible(timeout=LONG_MS)
        page.get_by_role("button", name="Machine", exact=True).click()
        expect(page.get_by_role("button", name="Add IMG_1.png")).to_be_visible()
        page.get_by_role("button", name="Switch this off").click()
        expect(phone.get_by_role("status").first).to_have_text("The desk does not answer.", timeout=LONG_MS)
        page.set_viewport_size(PHONE)  # the desk itself in a window of that size
        event(page, do="abandon")
        expect(step).to_have_text(re.compile("Carry on|Done"), timeout=LONG_MS)
    finally:
        context.close()
        page.set_viewport_size(SIZE)
        event(page, do="put_away")
        for one in page.evaluate("async () => (await import('/page/desk.js')).state.broken_off.map((one) => one.id)"):
            event(page, do="forget", drawing=one)
        event(page, do="connect", port="virtual", real_time=False)
