"""The page on a fake desk: display of a state, and events sent on user actions."""

from __future__ import annotations

import re
import time
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from desk_browser import scenes
from desk_browser.pretended import Pretended, geometry, machine, rings, state
from linewright.desk import geometry as server_geometry
from linewright.desk import hand_letters
from linewright.drawing.strokes import Drawing, Pen

HERON = scenes.BOX_HERON


PHONE = {"width": 390, "height": 844}
WAIT_MS = 60_000


def step(page: Page) -> Any:
    return page.locator("button.step")


def scale(page: Page) -> float:
    return float(page.evaluate("document.querySelector('desk-table').view.scale"))


def said(desk: Any, do: str, times: int = 1) -> list[dict[str, Any]]:
    """Wait for this many events of this name, checked after each frame of the page; returns them."""
    last_s = time.monotonic() + WAIT_MS / 1000
    while True:
        found = [one for one in desk.said if one["do"] == do]
        if len(found) >= times:
            return found
        assert time.monotonic() < last_s, f"the page said {[one['do'] for one in desk.said]}, not {do} {times} times"
        desk.page.evaluate("() => new Promise((done) => requestAnimationFrame(done))")


# --- strokes ----------------------------------------------------------------------------------------------------------


def test_the_page_reads_what_the_server_writes(page, desk):
    drawing = Drawing.from_strokes([[(0, 1), (2, 3), (4, 5.5)], [(7, 8)]], pen=[1, 0], pens=(Pen("a"), Pen("b")))
    written = server_geometry.packed(drawing)
    desk({"real": written})
    read = page.evaluate(
        """async () => {
          const { Strokes } = await import("/page/strokes.js");
          const found = Strokes.read(await (await fetch("/geometry/real")).arrayBuffer());
          return { points: [...found.points], starts: [...found.starts], pen: [...found.pen] };
        }"""
    )
    assert read == {"points": [0, 1, 2, 3, 4, 5.5, 7, 8], "starts": [0, 3, 4], "pen": [1, 0]}


def test_a_coarser_copy_strays_less_than_it_says_and_keeps_every_end(page, desk):
    lines = rings(100, 100, 80, 10, 2000)
    desk({"many": geometry(lines)})
    at = page.evaluate(
        """async () => {
          const { Strokes } = await import("/page/strokes.js");
          const all = Strokes.read(await (await fetch("/geometry/many")).arrayBuffer());
          const { points, starts, source } = all.level(0.5);
          return { points: [...points], starts: [...starts], source: [...source] };
        }"""
    )
    points = np.array(at["points"]).reshape(-1, 2)
    assert len(points) < 0.6 * sum(map(len, lines))
    whole = np.concatenate(lines)
    np.testing.assert_allclose(points, whole[at["source"]], atol=1e-4)
    ends = np.cumsum([len(line) for line in lines]) - 1
    assert set(ends) <= set(at["source"])
    # Every vertex that was left out lies within 0.32 mm, the distance of this level, of one that was kept before it.
    kept = np.searchsorted(at["source"], np.arange(len(whole)), side="right") - 1
    assert np.hypot(*(whole - points[kept]).T).max() <= 0.32 + 1e-4


def test_the_place_after_some_time_is_where_the_pen_then_is(page, desk):
    desk({"line": geometry([[(0, 0), (10, 0)], [(10, 20), (30, 20)]], speed=10.0)})
    found = page.evaluate(
        """async () => {
          const { Strokes } = await import("/page/strokes.js");
          const all = Strokes.read(await (await fetch("/geometry/line")).arrayBuffer());
          return [0.5, 2, 4].map((s) => all.after(s)).map(({ vertex, stroke, x, y, down }) => [vertex, stroke, x, y, down]);
        }"""
    )
    # At 10 mm/s: at 0.5 s 5 mm along; at 2 s raised, half-way to the second stroke; at 4 s 10 mm along the second.
    assert found == [[0, 0, 5, 0, True], [1, 0, 10, 10, False], [2, 1, 20, 20, True]]


def test_a_colours_code_is_said_in_a_word(page, desk):
    desk()
    codes = ["#000000", "#2b2622", "#ffffff", "#808080", "#ff0000", "#1f6f8b", "#1f3347", "#8a5a00", "#d8622a", "sea"]
    words = page.evaluate(
        "async (codes) => { const { ink_word } = await import('/page/words.js'); return codes.map(ink_word); }", codes
    )
    assert words == [
        *("black", "black", "white", "grey", "red", "dark turquoise", "dark blue", "brown", "orange", "sea"),
    ]


def test_letters_are_those_of_the_machine():
    assert hand_letters.FILE.read_text(encoding="utf-8") == hand_letters.module()


def test_ink_appears_as_far_as_the_drawing_is(page, desk):
    """A line from left to right, half of it drawn: dark on the left, faint on the right."""
    line = {"plan": geometry([[(40 + x, 100) for x in range(0, 201, 5)]], speed=10.0)}
    plan = scenes.laid()["plan"] | {"pens": [scenes.PENS[0] | {"width_mm": 3.0, "pen": 0}]}
    half = scenes.PROGRESS | {"done_s": 10.0, "at_mm": [140.0, 100.0]}
    desk(line, plan=plan, drawing=scenes.drawing("drawing", "Half.", pens=plan["pens"]), progress=half)
    expect(page.locator("desk-table[data-sharp]")).to_be_attached()

    def darkness(x_mm: float) -> float:
        return float(
            page.evaluate(
                """(x_mm) => {
                  const table = document.querySelector("desk-table");
                  const { scale, x, y } = table.view;
                  const ratio = table.canvas.width / table.clientWidth;
                  const at = [(x_mm * scale + x) * ratio, (100 * scale + y) * ratio].map(Math.round);
                  return 255 - table.canvas.getContext("2d").getImageData(...at, 1, 1).data[0];
                }""",
                x_mm,
            )
        )

    assert darkness(60) > 200
    assert 10 < darkness(220) < 80


# --- putting down, moving ---------------------------------------------------------------------------------------------


def test_an_empty_sheet_offers_three_ways(page, desk):
    opened = desk()
    ways = page.get_by_role("region", name="Three ways to begin").get_by_role("button")
    assert [re.split(r"\n", text.strip())[0] for text in ways.all_inner_texts()] == ["A picture", "Words", "A surprise"]
    ways.nth(2).click()
    assert said(opened, "put")[0]["surprise"] is True


def test_a_chosen_file_is_taken_in_and_put_down(page, desk, tmp_path):
    opened = desk()
    opened.answers["put"] = {"ok": True, "item": "heron"}
    (tmp_path / "my heron.jpg").write_bytes(b"x")
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="A picture").first.click()
    chooser.value.set_files(tmp_path / "my heron.jpg")
    assert said(opened, "put")[0]["upload"] == "u-1"
    assert opened.uploads == ["my%20heron.jpg"]


def test_words_are_typed_on_the_sheet(page, desk):
    opened = desk()
    page.get_by_role("button", name="Words").first.click()
    expect(page.get_by_role("textbox", name="Words on the sheet")).to_be_focused()
    page.keyboard.type("Marrow Quay")
    page.keyboard.press("Enter")
    assert said(opened, "put")[0]["words"] == "Marrow Quay"
    expect(page.get_by_role("textbox", name="Words on the sheet")).to_have_count(0)


def test_a_sentence_and_a_pattern_are_put_down(page, desk):
    opened = desk(**scenes.laid())
    page.get_by_role("button", name="Add", exact=True).click()
    page.get_by_role("textbox", name="A sentence").fill("a heron on a boat")
    page.keyboard.press("Enter")
    assert said(opened, "put")[0]["sentence"] == "a heron on a boat"
    page.get_by_role("button", name="Dunes").click()
    assert said(opened, "put", 2)[1]["pattern"] == "dunes"


@pytest.fixture
def laid(page, desk) -> Any:
    return desk(scenes.strokes(), **scenes.laid(), previews=scenes.previews())


def test_dragging_a_thing_moves_it_and_its_handles_size_and_turn_it(page, laid):
    thing = page.locator(".thing").first
    box = thing.bounding_box()
    px = scale(page)
    page.mouse.move(box["x"] + 40, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 40 + 20 * px, box["y"] + 40 - 10 * px, steps=4)
    page.mouse.up()
    moved = said(laid, "set")[0]
    assert moved["item"] == "heron"
    assert moved["at_mm"] == pytest.approx([HERON[0] + 20, HERON[1] - 10], abs=0.6)

    laid.set(items=scenes.laid()["items"], plan=scenes.laid()["plan"] | {"n": 5})
    expect(page.locator(".thing.selected .se")).to_be_visible()
    px = scale(page)  # a slip has opened beside the sheet
    corner = page.locator(".se").bounding_box()
    x, y = corner["x"] + corner["width"] / 2, corner["y"] + corner["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 50 * px, y + 70 * px, steps=4)  # half as large again: the thing is 100 by 140 mm
    page.mouse.up()
    sized = said(laid, "set", 2)[1]
    assert sized["width_mm"] == pytest.approx(150, abs=2)
    assert sized["height_mm"] is None
    assert sized["at_mm"] == pytest.approx(HERON[:2], abs=0.6)  # the other corner stays

    laid.set(items=scenes.laid()["items"], plan=scenes.laid()["plan"] | {"n": 6})
    back = "(px) => Math.abs(document.querySelector('.thing.selected').offsetWidth - px) < 2"
    page.wait_for_function(back, arg=100 * px)  # shown at the desk's position before its handle is dragged
    handle = page.locator(".turner").bounding_box()
    middle = page.locator(".thing.selected").bounding_box()
    page.mouse.move(handle["x"] + 13, handle["y"] + 13)
    page.mouse.down()
    page.mouse.move(middle["x"] + middle["width"] + 60, middle["y"] + middle["height"] / 2, steps=4)
    page.mouse.up()
    turned = said(laid, "set", 3)[2]
    assert turned["turn_deg"] == pytest.approx(90, abs=2)


def test_arrow_keys_nudge_in_one_step_of_undo(page, laid):
    page.locator(".grip").first.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowDown")
    first, second = said(laid, "set", 2)
    assert first["at_mm"] == [HERON[0] + 1, HERON[1]]
    assert second["at_mm"] == [HERON[0], HERON[1] + 10]  # the state has not moved yet
    assert first["gesture"] == second["gesture"]
    page.keyboard.press("]")
    assert said(laid, "set", 3)[2]["turn_deg"] == 1
    page.keyboard.press("Delete")
    assert said(laid, "remove")[0]["items"] == ["heron"]
    page.keyboard.press("Control+z")
    page.keyboard.press("Control+Shift+Z")
    said(laid, "undo")
    said(laid, "redo")


def test_figures_and_sliders_say_millimetres(page, laid):
    page.locator(".grip").first.click()
    page.get_by_role("spinbutton", name="Width").fill("80")
    page.keyboard.press("Tab")
    assert said(laid, "set")[0]["width_mm"] == 80
    slider = page.get_by_role("slider", name="Spacing")
    slider.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    changes = [one for one in said(laid, "set", 3) if "method" in one]
    assert changes[0]["method"]["name"] == "streamlines"  # the recommended method, now with a changed setting
    assert changes[0]["method"]["settings"]["spacing_mm"] > 1.2
    assert changes[0]["gesture"] == changes[-1]["gesture"]


def test_what_is_drawn_first_is_changed_on_its_slip(page, laid):
    page.locator(".grip").first.click()
    expect(page.get_by_role("button", name="Sooner")).to_be_disabled()
    page.get_by_role("button", name="Later").click()
    assert (said(laid, "order")[0]["item"], said(laid, "order")[0]["place"]) == ("heron", 1)


def test_small_pictures_are_asked_for_once_and_one_is_taken(page, desk):
    opened = desk(scenes.strokes(), **scenes.laid())
    page.locator(".grip").first.click()
    assert said(opened, "previews")[0]["item"] == "heron"
    opened.set(previews=scenes.previews())
    hatching = page.get_by_role("radio", name="Hatching")
    expect(hatching).to_contain_text("4 min 30 s, 5.5 m of ink")
    hatching.click()
    assert said(opened, "set")[0]["method"] == {"name": "hatching", "settings": {}}
    # Selecting the current method sends nothing; arrow keys select the next (ARIA practices, radio group).
    taken = page.get_by_role("radio", name="Streamlines")
    expect(taken).to_have_attribute("tabindex", "0")
    taken.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowLeft")
    assert said(opened, "set", 2)[1]["method"] == {"name": "outline", "settings": {}}
    expect(page.get_by_role("radio", name="Outline")).to_be_focused()
    assert len(said(opened, "previews")) == 1


def test_a_drawing_that_was_stopped_can_be_carried_on_or_left(page, desk):
    left = scenes.BROKEN[0] | {"why": "abandoned"}
    stopped = scenes.drawing("abandoned", "Stopped, pen raised", can_carry_on=True, result={"played_s": 65.0})
    opened = desk(scenes.strokes(), **scenes.laid(), drawing=stopped, broken_off=[left])
    expect(page.get_by_role("heading", name="Stopped", exact=True)).to_be_visible()
    expect(page.get_by_role("heading", name="Stopped: heron.jpg")).to_be_visible()
    expect(page.locator(".slip dd").first).to_have_text("1 min 05 s")
    expect(step(page)).to_have_text("Carry on")
    page.locator(".next").get_by_role("button", name="Do not carry on").click()
    assert opened.last("forget")["drawing"] == left["id"]


def test_the_three_ways_to_begin_are_no_wider_than_the_sheet(page, desk):
    paper = state()["sheet"] | {"name": "A6", "width_mm": 148.0, "height_mm": 105.0, "room_mm": [10, 10, 138, 95]}
    desk(sheet=paper)
    page.wait_for_selector("desk-table[data-sharp]")
    wide_px, sheet_px = page.evaluate(
        """() => { const card = document.querySelector(".beginning");
          return [card.getBoundingClientRect().width, parseFloat(getComputedStyle(card).getPropertyValue("--sheet-w"))]; }"""
    )
    assert 0 < wide_px < sheet_px


def test_what_of_a_photograph_with_faces_is_drawn_is_chosen_beside_it(page, desk):
    laid = scenes.laid()
    heron = laid["items"][0] | {
        "frame": "head",
        "frames": scenes.FRAMES,
        "method": {"name": "portrait", "settings": {}},
    }
    opened = desk(scenes.strokes(), **laid | {"items": [heron, laid["items"][1]]})
    page.locator(".grip").first.click()
    expect(page.get_by_role("radio", name="All faces")).to_be_checked()
    for tile in page.locator(".frame").all():
        around, shown = tile.bounding_box(), tile.locator(".crop i").bounding_box()
        assert around["x"] <= shown["x"]
        assert shown["x"] + shown["width"] <= around["x"] + around["width"]
    page.get_by_role("radio", name="Whole picture").click()
    page.get_by_role("radio", name="All faces").click()
    page.get_by_role("radio", name="Face 2").click()
    first, second = (one["method"] for one in said(opened, "set", 2))
    assert (first, second) == (
        {"name": "portrait", "settings": {"frame": "whole"}}, {"name": "portrait", "settings": {"frame": "face:2"}},
    )  # fmt: skip
    # All other methods crop.
    opened.set(items=[heron | {"method": {"name": "waves", "settings": {"rows": 40}}}])
    expect(page.get_by_role("radio", name="Whole picture")).to_be_checked()
    page.get_by_role("radio", name="Face 2").click()
    assert said(opened, "set", 3)[2]["method"] == {"name": "waves", "settings": {"rows": 40, "crop": "50/20/40/60"}}


def test_a_drawing_file_keeps_its_lines_or_takes_a_method(page, desk):
    methods = [
        *state()["methods"],
        {"name": "areas", "about": "flat areas, hatched", "takes": "photograph, SVG", "settings": []},
    ]
    items = [scenes.thing("card", "card.svg", HERON, kind="drawing")]
    opened = desk(scenes.strokes(), **scenes.laid() | {"items": items}, methods=methods)
    page.locator(".grip").click()
    lines = page.get_by_role("combobox", name="Lines")
    expect(lines).to_have_value("")
    expect(lines.locator("option:checked")).to_have_text("as the file has them")
    lines.select_option("areas")
    assert said(opened, "set")[0]["method"] == {"name": "areas", "settings": {}}


def test_what_is_refused_is_said_where_it_was_asked(page, laid):
    laid.answers["set"] = {
        "ok": False,
        "error": {"text": "width_mm is 0.01, the limit is 0.1", "hint": "make it wider"},
    }
    page.locator(".grip").first.click()
    page.get_by_role("spinbutton", name="Width").fill("0.01")
    page.keyboard.press("Tab")
    expect(page.get_by_role("alert")).to_contain_text("Make it wider")
    page.get_by_role("button", name="Understood").click()
    expect(page.get_by_role("alert")).to_have_count(0)


# --- looking and drawing ----------------------------------------------------------------------------------------------


def test_the_time_line_shows_the_sheet_at_any_moment(page, laid):
    line = page.get_by_role("slider", name="Look at the sheet")
    line.focus()
    page.keyboard.press("Home")
    expect(line).to_have_attribute("aria-valuenow", "0")
    page.keyboard.press("PageUp")
    expect(line).to_have_attribute("aria-valuetext", re.compile(r"^after 23 s, stroke \d+ of 52$"))
    box = page.locator("desk-timeline").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + 10)
    expect(line).to_have_attribute("aria-valuenow", "116")
    page.get_by_role("button", name="Show all of it").click()
    expect(line).to_have_attribute("aria-valuenow", "232")


def test_a_real_machine_wants_every_tick_before_it_moves(page, desk):
    real = state()["desk"] | {"virtual": False}
    opened = desk(scenes.strokes(), **scenes.laid(), desk=real)
    step(page).click()
    expect(step(page)).to_have_text("Begin")
    expect(step(page)).to_be_disabled()
    expect(page.locator(".slip").get_by_text("capitals 1.5 mm high")).to_be_visible()  # the warnings again
    for tick in page.locator(".slip input[type=checkbox]").all():
        tick.check()
    expect(step(page)).to_be_enabled()
    step(page).click()
    assert said(opened, "draw")[0] | {"id": 0} == {
        "id": 0,
        "do": "draw",
        "n": 4,
        "confirmed": ["paper", "pen", "cautions"],
    }


def test_a_photograph_is_asked_for_in_minutes(page, desk):
    opened = desk(scenes.strokes(), **scenes.laid())
    page.get_by_role("button", name="Time and ink").click()
    page.get_by_label("Make it about").fill("10")
    page.get_by_role("button", name="Change", exact=True).click()
    assert {key: said(opened, "within")[0][key] for key in ("item", "time_s")} == {"item": "heron", "time_s": 600}
    opened.set(within={"item": "heron", "time_s": 600.0, "said": None})
    expect(page.get_by_text("that take about 10 min")).to_be_visible()
    opened.set(within={"item": "heron", "time_s": 600.0, "said": "drawn with 40% of its ink"})
    expect(page.get_by_text("About 10 min: drawn with 40% of its ink.")).to_be_visible()


def test_what_is_to_be_minded_is_read_where_it_is_marked(page, laid):
    mark = page.get_by_role("button", name="To mind: capitals 1.5 mm high")
    words, around = mark.bounding_box(), page.locator(".thing").nth(1).bounding_box()
    assert words["x"] >= around["x"] + around["width"]  # beside it, without covering it
    laid.state["items"][1]["warnings"] = ["capitals 1.5 mm high run together"]
    laid.set(items=laid.state["items"])
    mark.click()
    expect(page.locator(".slip.thing .warnings")).to_be_focused()


def test_one_key_stops_what_moves_wherever_the_focus_is(page, desk):
    opened = desk(scenes.strokes(), **scenes.laid())
    opened.set(drawing=scenes.drawing("drawing", "Drawing."), progress=scenes.PROGRESS)
    expect(page.locator(".slip.drawing")).to_be_visible()
    expect(page.get_by_text("Or the Esc key")).to_be_visible()
    expect(page.locator(".when")).to_contain_text("20 times as fast as a real clock")
    for n, (role, name) in enumerate((("slider", "Pace"), ("button", "Pens"))):
        page.get_by_role(role, name=name, exact=True).focus()
        page.keyboard.press("Escape")
        assert len(said(opened, "hold", n + 1)) == n + 1
    expect(page.locator(".slip.drawing")).to_be_visible()
    opened.set(drawing=scenes.drawing("holding", "Held."), progress=scenes.PROGRESS | {"state": "holding"})
    expect(step(page)).to_have_text("Carry on")
    page.keyboard.press("Escape")
    expect(page.locator(".slip")).to_have_count(0)  # nothing moves, so it closes the open slip
    assert len(said(opened, "hold")) == 2


def test_a_press_that_comes_late_does_not_press_what_has_taken_the_place(page, desk):
    opened = desk(scenes.strokes(), **scenes.laid(), drawing=scenes.drawing("drawing", "Drawing."))
    expect(step(page)).to_have_text("Hold")
    page.evaluate("""() => {
        const step = document.querySelector("button.step");
        new MutationObserver(() => step.click()).observe(step, { attributeFilter: ["data-do"] });
    }""")
    opened.set(drawing=scenes.drawing("finished", "Finished."))
    expect(step(page)).to_have_text("Done")
    expect(step(page)).to_be_enabled()
    assert [one["do"] for one in opened.said if one["do"] in ("hold", "put_away")] == []
    step(page).click()
    said(opened, "put_away")


def test_everything_on_the_sheet_is_taken_and_sized_together_and_no_text_is_marked(page, laid):
    page.locator(".ground").focus()
    page.keyboard.press("Control+a")
    expect(page.locator(".thing.selected")).to_have_count(2)
    assert page.evaluate("getSelection().toString()") == ""
    corner = page.locator(".thing").first.locator(".corner.se").bounding_box()
    x, y = corner["x"] + corner["width"] / 2, corner["y"] + corner["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 20, y - 28, steps=3)
    page.mouse.up()
    sizes = [one["width_mm"] for one in said(laid, "set", 2)]
    assert 0.5 < sizes[0] / 100 < 0.95
    assert sizes[1] / 130 == pytest.approx(sizes[0] / 100, rel=1e-3)


def test_a_second_click_does_not_answer_the_question_that_comes_next(page, desk):
    asked = {
        "id": "q1",
        "kind": "choose",
        "text": "are you ready?",
        "about": "",
        "choices": [{"word": "go", "meaning": "go on"}],
    }
    opened = desk(questions=[asked])
    page.locator(".question").get_by_role("button", name="Go on").hover()
    page.evaluate("""() => {
        const once = new MutationObserver(() => {
            const yes = document.querySelector("button[data-do=yes]");
            if (yes) once.disconnect(), yes.click();
        });
        once.observe(document.body, { childList: true, subtree: true });
    }""")
    opened.set(questions=[{"id": "q2", "kind": "yes", "text": "did it move?", "about": "", "choices": []}])
    yes = page.get_by_role("button", name="Yes")
    expect(yes).to_be_enabled()
    assert [one for one in opened.said if one["do"] == "answer"] == []
    yes.click()
    assert said(opened, "answer")[0]["value"] is True


def test_a_step_of_bring_up_is_named_goes_on_by_the_large_button_and_can_be_stopped(page, desk):
    asked = {"id": "q1", "kind": "choose", "where": "Step 1 of 9: The board answers", "text": "Ready?", "about": "", "passed": "",
             "choices": [{"word": "go", "meaning": ""}]}  # fmt: skip
    opened = desk(questions=[asked])
    expect(page.locator(".question")).to_contain_text("Step 1 of 9: The board answers")
    expect(step(page)).to_have_text("Go on")
    step(page).click()
    motor = {
        "id": "q2",
        "kind": "number",
        "where": "Step 2 of 9: Motor A",
        "text": "how far did it go?",
        "unit": "mm",
        "about": "",
        "choices": [],
    }
    opened.set(questions=[motor | {"passed": "the board has answered."}])
    expect(page.locator(".passed")).to_have_text("The board has answered.")
    page.get_by_role("button", name="Stop bring-up here").click()
    assert [one["value"] for one in said(opened, "answer", 2)] == ["go", "stop"]
    step(page).click()
    expect(page.locator(".question.pointed")).to_be_visible()


def test_a_trial_sheet_of_many_places_is_a_grid_and_the_large_button_draws_it(page, desk):
    opened = desk(scenes.strokes(), **scenes.laid(), trial=scenes.HEIGHTS)
    page.get_by_role("button", name="Machine", exact=True).click()
    expect(page.locator(".measures .grid label")).to_have_count(24)
    expect(page.get_by_text("Place …: number of the first unbroken dash")).to_have_count(1)
    expect(page.get_by_label("D6")).to_be_attached()
    expect(page.locator("#next-about")).to_contain_text("The trial sheet heights, 3 min")
    step(page).click()
    # Nothing moves before the user has confirmed all points; "Not yet" returns to the sheet.
    expect(step(page)).to_have_text("Begin")
    expect(page.locator("#before-heading")).to_be_visible()
    page.get_by_role("button", name="Not yet").click()
    expect(page.locator(".measures .grid label")).to_have_count(24)
    assert not [one for one in opened.said if one["do"] == "trial_draw"]
    step(page).click()
    expect(step(page)).to_have_text("Begin")
    step(page).click()
    assert said(opened, "trial_draw")[0]["confirmed"] == ["paper", "pen", "cautions"]


REAL = {"version": "0.1.0", "window": "w1", "virtual": False, "rehearsal": ""}


def test_a_height_of_the_pen_that_was_tried_is_kept(page, desk):
    opened = desk(desk=REAL, machine=machine("ready", "Ready."))
    page.get_by_role("button", name="Machine", exact=True).click()
    page.locator("summary", has_text="Pen heights").click()
    # A rig file to store them is offered first.
    opened.answers["rig_new"] = {"ok": True, "rig": "r-1"}
    page.locator("details", has_text="Pen heights").get_by_role("button", name="Make a rig file for it").click()
    assert said(opened, "connect")[0]["rig"] == "r-1"
    opened.set(machine=machine("ready", "Ready.", rig="r-1"))
    expect(page.get_by_role("button", name="Make a rig file for it")).to_have_count(0)
    expect(page.get_by_text("Less raises the pen.")).to_be_visible()
    page.get_by_label("Try").fill("1620")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Tried: 1620 µs.")).to_be_visible()
    page.get_by_role("button", name="Keep as lowered").click()
    assert said(opened, "pen")[0]["height"] == 1620
    assert {key: said(opened, "pen_keep")[0][key] for key in ("height", "us")} == {"height": "down", "us": 1620}


STEPS = {
    "empty": (scenes.state(), "Add something"),
    "planning": (scenes.state(**scenes.laid() | {"plan": scenes.laid()["plan"] | {"state": "planning"}}), "Simulate"),
    "drawing": (scenes.state(**scenes.laid(), drawing=scenes.drawing("drawing", "Drawing stroke 31 of 52.")), "Hold"),
    "holding": (scenes.state(**scenes.laid(), drawing=scenes.drawing("holding", "Held.")), "Carry on"),
    "pen": (scenes.state(**scenes.laid(), drawing=scenes.drawing("pen", "Waits for a pen.")), "Pen is in"),
    "finished": (scenes.state(**scenes.laid(), drawing=scenes.drawing("finished", "Finished.")), "Done"),
    "faulted": (scenes.state(**scenes.laid(), machine=machine("faulted", "It has stopped.")), "What is wrong?"),
    "broken": (scenes.state(broken_off=scenes.BROKEN), "Carry on?"),
    "exercise": (
        scenes.state(
            **scenes.laid(), task={"name": "exercise", "doing": "X to and fro", "done": 0.3, "rows": [], "steps": []}
        ),
        "Stop",
    ),
    "asked": (
        scenes.state(questions=[{"id": "q1", "kind": "yes", "text": "did it move?", "about": "", "choices": []}]),
        "Answer",
    ),
}


def test_every_state_has_one_next_step_and_a_sentence(page, desk):
    opened = desk()
    for name, (whole, word) in STEPS.items():
        opened.set(**whole)
        expect(step(page), name).to_have_text(word)
        expect(page.locator("#next-about"), name).to_have_text(re.compile(r"[.?!…]( ?Or the Esc key, at any time\.)?$"))
        expect(page.get_by_role("status").first, name).to_have_text(re.compile(r"[.?!…]$"))
        largest = page.evaluate(
            "Math.max(...[...document.querySelectorAll('button.plain, button.main')].map((b) => b.offsetHeight), 0)"
        )
        assert step(page).bounding_box()["height"] > largest, name
    step(page).click()
    expect(page.locator("#question-heading")).to_be_focused()
    opened.set(**STEPS["exercise"][0])
    expect(step(page)).to_have_text("Stop")
    step(page).click()
    said(opened, "stop")
    opened.set(**STEPS["drawing"][0])
    expect(step(page)).to_have_text("Hold")
    step(page).click()
    said(opened, "hold")
    opened.set(**STEPS["pen"][0])
    expect(step(page)).to_have_text("Pen is in")
    step(page).click()
    said(opened, "pen_in")


def test_a_simulation_is_told_from_the_machine_at_a_glance(page, desk):
    opened = desk()
    framed = "getComputedStyle(document.body, '::after').borderTopWidth"
    expect(page.get_by_text("Nothing real moves.")).to_be_visible()
    assert page.evaluate(framed) == "9px"
    opened.set(desk=state()["desk"] | {"virtual": False}, machine=machine("ready", "Ready.", name="Quayside"))
    expect(page.get_by_text("A real machine.")).to_be_visible()
    expect(page.locator(".who")).to_have_text("Quayside")
    assert page.evaluate(framed) != "9px"


def test_a_window_that_looks_on_changes_nothing_and_can_take_over(page, desk):
    opened = desk(scenes.strokes(), **scenes.laid(), holder={"window": "w0", "you": False})
    expect(step(page)).to_be_disabled()
    page.locator(".grip").first.focus()
    expect(page.locator(".corner")).to_have_count(0)
    page.get_by_role("button", name="Take over").click()
    said(opened, "take_over")
    opened.set(drawing=scenes.drawing("drawing", "Drawing."))
    expect(step(page)).to_have_text("Hold")
    expect(step(page)).to_be_enabled()  # every window may hold


def test_a_lost_link_is_said_and_found_again(page, desk):
    opened = desk(scenes.strokes(), **scenes.laid())
    opened.state["machine"] = machine("ready", "Here again.")
    opened.sockets[-1].close()
    expect(page.get_by_role("status").first).to_contain_text("The link to the desk is lost")
    expect(page.get_by_text("Here again.")).to_be_visible()
    expect(step(page)).to_have_text("Simulate")
    assert len(opened.sockets) == 2


# --- the machine ------------------------------------------------------------------------------------------------------


def test_the_machine_is_moved_by_keys_and_by_dragging_the_pen(page, desk):
    opened = desk()
    page.get_by_role("button", name="Machine", exact=True).click()
    page.get_by_role("button", name="Move right by 10 mm").click()
    assert said(opened, "jog")[0]["by_mm"] == [10, 0]
    pen = page.get_by_role("button", name="The pen.")
    pen.focus()
    page.keyboard.press("ArrowDown")
    assert said(opened, "jog", 2)[1]["by_mm"] == [0, 10]
    box, px = pen.bounding_box(), scale(page)
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 40 * px, y + 30 * px, steps=3)
    page.mouse.up()
    said(opened, "jog", 3)
    assert said(opened, "jog", 3)[-1]["to_mm"] == pytest.approx([40, 30], abs=1)
    page.get_by_role("button", name="Motors off").click()
    said(opened, "motors_off")


def test_a_question_takes_the_focus_and_is_answered(page, desk):
    opened = desk()
    asked = {
        "id": "q1",
        "kind": "number",
        "text": "how far did it go?",
        "about": "With a rule.",
        "choices": [],
        "low": 0,
        "high": 50,
        "unit": "mm",
        "default": None,
    }
    opened.set(questions=[asked])
    expect(page.get_by_role("dialog", name="How far did it go?")).to_be_visible()
    expect(page.locator("#question-heading")).to_be_focused()
    page.get_by_role("spinbutton", name="Answer").fill("4.8")
    page.keyboard.press("Enter")
    assert said(opened, "answer")[0]["value"] == 4.8


def test_a_trial_sheet_is_measured_and_only_then_written(page, desk):
    opened = desk(scenes.strokes(), trial=scenes.TRIAL, machine=machine("ready", "Ready", rig="r-1"))
    page.get_by_role("button", name="Machine", exact=True).click()
    page.get_by_role("textbox", name="From A to B").fill("150.6")
    page.get_by_role("textbox", name="From A to C").fill("100.0")
    page.get_by_role("button", name="Work it out").click()
    looked = said(opened, "fit")[0]
    assert (looked["answers"], looked["write"]) == ({"across": "150.6", "down": "100.0"}, False)
    finding = page.locator(".finding")
    expect(finding).to_contain_text("1.0041 ± 0.0004")
    expect(finding).to_contain_text("Lines come out 0.4 % too long across")
    finding.get_by_role("button", name="Correct the machine by it").click()
    written = said(opened, "fit", 2)[1]
    assert (written["answers"], written["write"]) == (looked["answers"], True)


def test_a_drawing_that_was_broken_off_is_carried_on(page, desk):
    opened = desk(scenes.strokes(), broken_off=scenes.BROKEN)
    step(page).click()
    page.get_by_role("button", name="It is so: carry on").click()
    assert said(opened, "resume")[0]["confirmed"] == ["sheet"]
    assert said(opened, "resume")[0]["drawing"] == "b1"


def test_the_log_draws_again(page, desk):
    opened = desk(scenes.strokes(), log=scenes.LOG)
    page.get_by_role("button", name="Looking back").click()
    expect(page.locator(".drawn")).to_contain_text("took 3 min 54 s, planned 3 min 52 s")
    page.get_by_role("button", name="Draw heron.jpg again").click()
    assert said(opened, "again")[0]["drawing"] == "l1"


def test_a_finished_drawing_is_drawn_again_from_where_it_is_put_away(page, desk):
    opened = desk(scenes.strokes(), **scenes.laid(), drawing=scenes.drawing("finished", "Finished."))
    opened.answers["put_away"] = {"ok": True, "set": {"drawing": None}}
    page.get_by_role("button", name="Draw it again").click()
    assert said(opened, "put_away")
    expect(page.locator("#before-heading")).to_be_visible()
    expect(step(page)).to_have_text("Begin")


def test_the_sheet_stays_where_it_is_whatever_slip_lies_open(page, desk):
    opened = desk(scenes.strokes(), **scenes.laid())
    place = "JSON.stringify(document.querySelector('desk-table').view)"
    before = page.evaluate(place)
    for name in ("Add", "Lines", "Pens", "Time and ink", "Machine", "Looking back"):
        page.get_by_role("navigation").get_by_role("button", name=name, exact=True).click()
        expect(page.locator(".slip")).to_be_visible()
        assert page.evaluate(place) == before, name
    opened.set(machine=machine("faulted", "It has stopped: the switch of X was pressed in mid-drawing, and not by us."))
    expect(page.locator(".plate .wrong")).to_be_visible()
    assert page.evaluate(place) == before


@pytest.mark.parametrize("total_s", [47.0, 232.0, 3670.0, 40_000.0])
def test_words_along_the_time_line_lie_apart(page, desk, total_s):
    pens = [
        one | {"begins_s": 0.97 * total_s * n, "predicted_s": (0.97, 0.03)[n] * total_s}
        for n, one in enumerate(scenes.PENS)
    ]
    plan = scenes.laid()["plan"] | {"predicted_s": total_s, "pens": pens}
    desk(scenes.strokes(), **scenes.laid() | {"plan": plan})
    boxes = """(what) => [...document.querySelectorAll(`desk-timeline ${what}`)].map((one) => one.getBoundingClientRect())
               .map(({ left, right }) => [left, right]).sort((a, b) => a[0] - b[0])"""
    for what, least in ((".names .tick", 2), (".part b", 1)):
        found = page.evaluate(boxes, what)
        assert len(found) >= least
        assert all(one[1] + 4 < two[0] for one, two in pairwise(found))
        assert found[-1][1] <= page.evaluate("innerWidth")


def test_pens_are_changed_in_their_box(page, desk):
    opened = desk(
        pens=[
            {"name": "black", "colour": "#000000", "width_mm": None, "speed_mm_s": None, "up_us": None, "down_us": None}
        ]
    )
    page.get_by_role("button", name="Pens", exact=True).click()
    page.get_by_role("spinbutton", name="Line").fill("0.8")
    page.keyboard.press("Tab")
    assert said(opened, "pens")[0]["pens"][0]["width_mm"] == 0.8
    page.get_by_role("button", name="Add a pen").click()
    assert len(said(opened, "pens", 2)[1]["pens"]) == 2


def test_nothing_is_asked_of_other_addresses(page, desk):
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    desk(scenes.strokes(), **scenes.laid())
    expect(page.locator("desk-table[data-sharp]")).to_be_attached()
    assert asked
    assert {url for url in asked if not url.startswith(("http://127.0.0.1:1/", "ws://127.0.0.1:1/"))} == set()


def test_on_a_phone_a_slip_comes_into_sight_with_half_of_the_sheet(page, desk):
    page.set_viewport_size(PHONE)
    desk(scenes.strokes(), **scenes.laid(), pens=scenes.PENS)
    for name, heading in (("Pens", "Pens"), ("Machine", "Machine"), ("Add", "Add to the sheet")):
        page.get_by_role("navigation").get_by_role("button", name=name).click()
        slip = page.get_by_role("region", name=heading)
        expect(slip.get_by_role("heading", name=heading)).to_be_focused()
        top = slip.bounding_box()["y"]
        assert 0 < top < 844 / 2, (name, top)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, name


def in_sight(page: Page, what: Any) -> bool:
    """Whether all of it is seen without scrolling."""
    box = what.bounding_box()
    return bool(box["y"] >= 0 and box["y"] + box["height"] <= page.viewport_size["height"])


def test_on_a_phone_a_drawing_is_watched_and_held_without_scrolling(page, desk):
    page.set_viewport_size(PHONE)
    drawn = scenes.laid() | {"drawing": scenes.drawing("drawing", "Drawing stroke 31 of 52, 2 min 16 s left.")}
    opened = desk(scenes.strokes(), **drawn, progress=scenes.PROGRESS)
    bar = page.get_by_role("progressbar", name="How far the drawing is")
    expect(bar).to_have_attribute("aria-valuenow", "96")
    for what in (step(page), bar, page.get_by_text("Drawing stroke 31 of 52")):
        assert in_sight(page, what)
    foot = page.locator(".foot").bounding_box()["y"]
    left = page.get_by_role("region", name="Drawing").get_by_text("2 min 16 s").bounding_box()
    assert left["y"] + left["height"] <= foot  # the figures lie above what is fixed there
    knob = bar.bounding_box()
    words = page.locator("desk-timeline .tick").all()
    assert words
    for word in words:
        box = word.bounding_box()
        assert box["x"] > knob["x"] + knob["width"] / 2 or box["x"] + box["width"] < knob["x"] + knob["width"] / 2
    assert step(page).bounding_box()["height"] >= 48
    page.mouse.wheel(0, 2000)  # at every scroll position the button stays at the same place
    assert in_sight(page, step(page))
    step(page).click()
    said(opened, "hold")
    opened.set(drawing=scenes.drawing("holding", "Held at stroke 31 of 52, pen raised."))
    expect(step(page)).to_have_text("Carry on")
    step(page).click()
    said(opened, "carry_on")
    opened.set(questions=[{"id": "q1", "kind": "yes", "text": "is the pen in?", "about": "", "choices": []}])
    expect(page.locator("#question-heading")).to_be_focused()
    assert in_sight(page, page.locator(".question"))


BESIDE = {
    "drawing": {"name": "heron", "state": "drawing", "words": "Drawing stroke 31 of 52, 2 min left.", "ask": None},
    "progress": scenes.PROGRESS,
    "rehearsal": "",
}


def test_the_page_that_a_phone_scans_shows_progress_holds_and_sends(page, tmp_path):
    page.set_viewport_size(PHONE)
    opened = Pretended(page, state())
    opened.beside = BESIDE
    opened.open("page/phone.html")
    expect(page.get_by_role("status").first).to_have_text("Drawing stroke 31 of 52, 2 min left.")
    expect(page.get_by_role("progressbar")).to_have_attribute("value", "96")
    hold = page.get_by_role("button", name="Hold")
    assert in_sight(page, hold)
    assert hold.bounding_box()["height"] >= 48
    hold.click()
    said(opened, "hold")
    opened.beside = BESIDE | {"drawing": BESIDE["drawing"] | {"state": "holding", "words": "Held, pen raised."}}
    expect(page.get_by_text("Carry on at the desk")).to_be_visible()
    expect(hold).to_have_count(0)
    (tmp_path / "sheet 1.jpg").write_bytes(b"x")
    page.get_by_label("Photograph", exact=True).set_input_files(tmp_path / "sheet 1.jpg")
    expect(page.get_by_text("sheet 1.jpg lies on the desk now.")).to_be_visible()
    assert opened.uploads == ["sheet%201.jpg"]
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    opened.beside = None
    expect(page.get_by_role("status").first).to_have_text("The desk does not answer.")


def test_each_colour_of_a_drawing_gets_a_pen_of_the_box(page, desk):
    inks = [{"name": "#1f3347", "colour": "#1f3347"}, {"name": "#d8622a", "colour": "#d8622a"}]
    drawing = scenes.thing(
        "heron", "heron.svg", scenes.BOX_HERON, kind="drawing", inks=inks, pen_for={"#1f3347": "black"}
    )
    opened = desk(scenes.strokes(), **scenes.laid() | {"items": [drawing]}, pens=scenes.PENS)
    page.get_by_role("navigation").get_by_role("button", name="Lines").click()
    expect(page.get_by_label("Pen for #1f3347")).to_have_value("black")
    page.get_by_label("Pen for #d8622a").select_option("sea")
    changed = said(opened, "set")[0]
    assert (changed["pen_for"], changed["pens"]) == ({"#1f3347": "black", "#d8622a": "sea"}, ["black", "sea"])
    page.get_by_label("Pen for #1f3347").select_option("as it comes")
    changed = said(opened, "set", 2)[1]
    assert (changed["pen_for"], changed["pens"]) == ({}, None)


def test_the_first_stroke_that_is_missing_is_clicked_or_stepped_to(page, desk):
    opened = desk(scenes.strokes(), broken_off=scenes.BROKEN)
    opened.answers["left"] = {"ok": True, "geometry": "plan", "stroke": 32, "pens": scenes.PENS, "asks": True}
    step(page).click()
    field = page.get_by_role("spinbutton", name="First missing")
    expect(field).to_have_value("32")
    page.get_by_role("button", name="One back").click()
    expect(field).to_have_value("31")
    expect(page.locator(".broken")).to_contain_text("1 stroke that the board has counted is drawn again")
    field.fill("99")
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="One on")).to_be_disabled()  # the remaining item stays
    expect(page.locator("desk-table[data-sharp]")).to_be_attached()
    ground, px = page.locator("desk-table").bounding_box(), scale(page)
    view = page.evaluate("(({ x, y }) => [x, y])(document.querySelector('desk-table').view)")
    lowest_mm = 110 + 48 * (0.08 + 0.92 * 20 / 39)  # a point of the 21st of the heron's nested rings
    page.mouse.click(ground["x"] + view[0] + 80 * px, ground["y"] + view[1] + lowest_mm * px)
    expect(field).to_have_value("21")
    page.get_by_role("button", name="It is so: carry on").click()
    assert said(opened, "resume")[0]["from_stroke"] == 21
