"""The machine panel on a real desk with a rig file: trial sheet, fit and undo, tuning, exercise, bring-up."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest
from playwright.sync_api import expect

from desk_browser.conftest import served

LONG_MS = 300_000


@pytest.fixture(scope="module")
def rig_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("rig") / "quayside.toml"
    text = (files("linewright") / "data" / "rig.toml").read_text()
    path.write_text(text.replace("x_hz = 0.0", "x_hz = 14.0").replace("y_hz = 0.0", "y_hz = 16.0"))
    return path


@pytest.fixture(scope="module")
def address(browser, tmp_path_factory, rig_file):
    with served(tmp_path_factory.mktemp("desk"), "--rig", str(rig_file)) as found:
        yield found


@pytest.fixture
def slip(page, address):
    """The machine's slip, with the machine at rest."""
    page.goto(address)
    page.get_by_role("button", name="Machine", exact=True).click()
    expect(page.locator(".slip.machine .big").first).to_have_text(re.compile("Not homed|Ready|free"), timeout=LONG_MS)
    return page.locator(".slip.machine")


def unfolded(slip, name):
    slip.locator("summary", has_text=name).click()


@pytest.mark.slow
def test_a_trial_sheet_is_drawn_measured_fitted_written_and_taken_back(page, slip, rig_file):
    before = rig_file.read_text()
    unfolded(slip, "Trial sheets")
    slip.get_by_role("button", name="Open the trial sheet squareness").click()
    slip.get_by_role("button", name="Draw this sheet").click(timeout=LONG_MS)
    step = page.locator("button.step")
    expect(step).to_have_text("Begin")
    step.click()
    expect(step).to_have_text("Done", timeout=LONG_MS)
    step.click()
    expect(step).not_to_have_text("Done")
    if not slip.is_visible():
        page.get_by_role("button", name="Machine", exact=True).click()
    expect(slip.get_by_role("button", name="Draw it again")).to_be_visible()
    fields = slip.locator("form.measures input")
    for n in range(fields.count()):
        field = fields.nth(n)
        field.fill(str(round(float(field.get_attribute("placeholder")) * (1.002 if n == 0 else 1.0), 2)))
    slip.get_by_role("button", name="Work it out").click()
    finding = slip.locator(".finding")
    expect(finding.get_by_role("columnheader", name="After")).to_be_visible(timeout=LONG_MS)
    assert rig_file.read_text() == before
    finding.get_by_role("button", name="Correct the machine by it").click()
    expect(finding).to_contain_text(re.compile("Written into the machine.s file"), timeout=LONG_MS)
    assert rig_file.read_text() != before
    slip.get_by_role("button", name="Close this sheet").click()
    unfolded(slip, "Trial sheets")
    slip.get_by_role("button", name="Undo the last fit").click()
    expect(page.locator(".notes summary")).to_contain_text("is taken back", timeout=LONG_MS)
    assert rig_file.read_text() == before


@pytest.mark.slow
def test_it_is_tuned_exercised_and_checked(page, slip):
    page.evaluate("async () => (await import('/page/desk.js')).act({do: 'put', words: 'Quay', width_mm: 60})")
    expect(page.locator("button.step")).to_be_enabled(timeout=LONG_MS)
    unfolded(slip, "Tune and exercise")
    expect(page.locator("button.step")).to_have_text("Simulate")
    slip.get_by_role("button", name="Tune", exact=True).click(timeout=LONG_MS)
    task = slip.locator(".task")
    expect(task.get_by_role("columnheader", name="Wobble")).to_be_visible(timeout=LONG_MS)
    expect(task).to_contain_text("best")
    task.get_by_role("button", name="Close this").click()
    expect(task).not_to_be_attached()
    slip.get_by_role("button", name="Check the board").click()
    expect(task).to_contain_text("passed", timeout=LONG_MS)
    task.get_by_role("button", name="Close this").click()
    slip.get_by_role("spinbutton", name="Exercise for").fill("1")
    slip.get_by_role("button", name="Exercise", exact=True).click()
    expect(task.get_by_role("columnheader", name="Steps lost")).to_be_visible(timeout=LONG_MS)
    task.get_by_role("button", name="Stop this").click()
    expect(task).to_contain_text(re.compile("step(s)? (was|were) lost"), timeout=LONG_MS)
    task.get_by_role("button", name="Close this").click()
    expect(task).not_to_be_attached()


def answered(question, raised):
    """Answer a question with the virtual rig's observation; returns the question."""
    asked = question.locator("h2").inner_text()
    seen = question.locator("p").first.inner_text().lower() if question.locator("p").count() else ""
    buttons = question.get_by_role("button")
    words = [one.lower() for one in buttons.all_inner_texts()]
    if "keep this" in words:
        raising = "raised height" in seen
        # Down to the paper, then up by 2 mm, about 100 us of the servo.
        seen = words[1] if raising and raised < 8 else "keep this" if raising or "at the paper" in seen else words[0]
    else:
        seen = seen.rpartition("on the virtual rig: ")[2]
    field = question.locator("input")
    if field.count() and (figure := re.search(r"\d+(\.\d+)?", seen)):
        field.first.fill(figure[0])
    fits = [n for n, word in enumerate(words) if re.search(rf"\b{re.escape(word)}\b", seen)]
    buttons.nth(fits[-1] if fits else 0).click()
    return asked


@pytest.mark.slow
def test_bring_up_goes_to_its_end(page, slip):
    unfolded(slip, "first day")
    slip.get_by_role("button", name="Begin bring-up", exact=True).click()
    task, question = slip.locator(".task"), page.locator(".question")
    over = task.get_by_role("button", name="Close this")
    asked, raised = [], 0
    while not over.is_visible() and len(asked) < 80:
        name = question.or_(over).first
        expect(name).to_be_visible(timeout=LONG_MS)
        if over.is_visible():
            break
        shown = question.inner_html()
        asked.append(answered(question, raised))
        raised += "raised height" in shown
        page.wait_for_function(
            "(shown) => document.querySelector('.question')?.innerHTML !== shown", arg=shown, timeout=LONG_MS
        )
    assert not [one for one in asked if "Enter" in one]
    assert task.locator(".steps li.done").count() == task.locator(".steps li").count(), task.inner_text()
    expect(task).to_contain_text("Every step is done.")
