"""States of the page; each function sets one up in a browser page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from desk_browser.pretended import Pretended, empty_plan, geometry, machine, rings, state, thing

BOX_HERON = [30.0, 40.0, 130.0, 180.0]
BOX_WORDS = [150.0, 90.0, 280.0, 115.0]
PENS = [
    {"name": "black", "colour": "#1b1b1f", "width_mm": 0.5, "strokes": 40, "predicted_s": 160.0, "ink_mm": 9200.0, "travel_mm": 900.0, "begins_s": 0.0},
    {"name": "sea", "colour": "#1f6f8b", "width_mm": 0.8, "strokes": 12, "predicted_s": 72.0, "ink_mm": 2100.0, "travel_mm": 300.0, "begins_s": 160.0},
]  # fmt: skip


def sheet_strokes() -> tuple[list[Any], list[int], list[int]]:
    """Strokes, pens and items of the sheet in most scenes."""
    heron, words = rings(80, 110, 48, 40), rings(215, 102, 12, 12, 40)
    return heron + words, [0] * 40 + [1] * 12, [0] * 40 + [1] * 12


def strokes() -> dict[str, bytes]:
    lines, pen, items = sheet_strokes()
    small = {f"v-{n}": geometry(rings(50, 70, 45, 6 + 4 * n)) for n in range(6)}
    return {"sketch": geometry(lines, pen=pen, items=items), "plan": geometry(lines, pen=pen, speed=50.0), **small}


def laid() -> dict[str, Any]:
    items = [
        thing("heron", "heron.jpg", BOX_HERON),
        thing("words", "Marrow Quay", BOX_WORDS, kind="words", source=None, text="Marrow Quay", strokes=12),
    ]
    plan = empty_plan(
        state="ready", n=4, sketch="sketch", geometry="plan", strokes=52, vertices=4080, predicted_s=232.0, ink_mm=11300.0, travel_mm=1200.0,
        pens=PENS, warnings=[{"text": "capitals 1.5 mm high run together with a 0.8 mm pen; from 2 mm up they stay clear", "item": "words"}],
    )  # fmt: skip
    return {"items": items, "plan": plan, "history": {"undo": "put heron.jpg down", "redo": None}}


def previews() -> dict[str, Any]:
    ways = ["streamlines", "hatching", "waves", "stippling", "one-line", "outline"]
    return {"item": "heron", "list": [
        {"method": way, "pick": n == 0, "state": "ready" if n < 4 else "making" if n == 4 else "waiting", "own": False, "geometry": f"v-{n}" if n < 4 else None,
         "width_mm": 100, "height_mm": 140, "predicted_s": 100 + 170 * n, "ink_mm": 3000 + 2500 * n, "strokes": 10, "error": None}
        for n, way in enumerate(ways)]}  # fmt: skip


def drawing(name: str, words: str, **changed: Any) -> dict[str, Any]:
    return {"id": "d1", "name": "heron and words", "state": name, "of": "sheet", "geometry": "plan", "pens": PENS, "ask": None, "strokes": 52, "predicted_s": 232.0, "pace": 1.0,
            "words": words, "error": None, "can_carry_on": False, "result": None} | changed  # fmt: skip


PROGRESS = {"stroke": 31, "strokes": 52, "done_s": 96.0, "left_s": 136.0, "played_s": 98.0, "times": 19.6, "predicted_s": 232.0, "pace": 1.0, "at_mm": [110.0, 92.0],
            "pen_up": False, "state": "drawing"}  # fmt: skip
LOG = [
    {"id": "l1", "began": "2026-11-29T21:04:00", "picture": "heron.jpg", "sheet": "A4", "rig": "the virtual rig", "rehearsal": True, "outcome": "finished",
     "fault": None, "predicted_s": 232.0, "played_s": 234.1, "drift_mm": [0.01, 0.0], "strokes": 52, "ink_mm": 11300.0,
     "settings": {"method": "streamlines", "spacing_mm": 1.2}, "geometry": "plan", "again": True},
    {"id": "l2", "began": "2026-11-29T20:31:00", "picture": "Marrow Quay", "sheet": "A6", "rig": "the virtual rig", "rehearsal": True, "outcome": "stopped",
     "fault": None, "predicted_s": 61.0, "played_s": 20.0, "drift_mm": None, "strokes": 12, "ink_mm": 2100.0, "settings": None, "geometry": "v-1", "again": True},
]  # fmt: skip
BROKEN = [{"id": "b1", "picture": "heron.jpg", "sheet": "A4", "strokes_done": 31, "strokes": 52, "when": "2026-11-29T21:04:00", "why": "the power went",
           "geometry": "plan", "confirm": [{"key": "sheet", "text": "the sheet lies as it lay"}]}]  # fmt: skip
TRIAL = {
    "name": "scale", "title": "Scale, by lengths", "state": "ready", "how": ["measure from the middle of one cross to the middle of the other", "a steel rule, to 0.1 mm"], "picture": None,
    "geometry": "plan", "pens": PENS[:1], "number": 3, "entries": [
        {"name": "across", "ask": "from A to B", "unit": "mm", "expected": "150.0", "needed": True, "at_mm": None},
        {"name": "down", "ask": "from A to C", "unit": "mm", "expected": "100.0", "needed": True, "at_mm": None}],
    "drawn": True, "photograph": True, "finding": {
        "rows": [{"name": "length across", "before": 1.0, "after": 1.0041, "stated": 0.0004, "unit": ""},
                 {"name": "angle of the axes", "before": 0.0, "after": 0.12, "stated": None, "unit": "deg"}],
        "residuals": [{"name": "A to B", "measured": 150.6, "off": 0.02, "unit": "mm"}], "notes": ["lines come out 0.4 % too long across"],
        "changes": [{"key": "x.steps_per_mm", "new": 79.67}], "picture": None, "written": False},
    "error": None}  # fmt: skip

HEIGHTS = TRIAL | {
    "name": "heights", "title": "Pen heights", "drawn": False, "predicted_s": 180.0, "photograph": False, "finding": None, "entries": [
        {"name": f"{column}{row}", "ask": f"place {column}{row}: number of the first unbroken dash from the left (1..11; 12 if none is)",
         "unit": "dash", "expected": "6", "needed": False, "at_mm": None} for row in range(1, 7) for column in "ABCD"] + [
        {"name": "wait", "ask": "number of the first group of upright lines without hooks at their ends (1..7; 8 if none is)",
         "unit": "group", "expected": None, "needed": False, "at_mm": None}]}  # fmt: skip


def opened(page: Any, slip: str | None = None, **keys: Any) -> Pretended:
    desk = Pretended(page, state(**keys), strokes())
    desk.open()
    page.wait_for_selector(".step")
    if slip:
        page.get_by_role("navigation").get_by_role("button", name=slip).click()
    return desk


def chosen(page: Any) -> Pretended:
    desk = opened(page, **laid(), previews=previews(), pens=PENS)
    page.locator(".grip").first.focus()
    page.keyboard.press("Enter")
    return desk


FRAMES = [
    {"frame": "whole", "box": [0, 0, 1, 1], "crop": ""},
    {"frame": "head", "box": [0.1, 0.2, 0.9, 0.8], "crop": "10/20/80/60"},
    {"frame": "face:1", "box": [0.1, 0.2, 0.5, 0.8], "crop": "10/20/40/60"},
    {"frame": "face:2", "box": [0.5, 0.2, 0.9, 0.8], "crop": "50/20/40/60"},
]


def faces(page: Any) -> Pretended:
    """A photograph of two people, while the values of its previews are computed again."""
    heron, words = laid()["items"]
    people = heron | {"label": "friends.jpg", "frame": "head", "frames": FRAMES}
    renewed = previews()
    renewed["list"] = [
        one | {"state": "waiting", "predicted_s": None, "ink_mm": None} if n else one | {"method": "portrait"}
        for n, one in enumerate(renewed["list"])
    ]
    desk = opened(page, **laid() | {"items": [people, words]}, previews=renewed)
    page.locator(".grip").first.focus()
    page.keyboard.press("Enter")
    return desk


def asked(page: Any) -> Pretended:
    desk = opened(
        page,
        **laid(),
        desk={"version": "0.1.0", "window": "w1", "virtual": False, "rehearsal": ""},
        machine=machine("ready", "Homed and ready.", name="Quayside", port="serial"),
    )
    page.locator(".step").click()
    return desk


def looked_at(page: Any) -> Pretended:
    desk = opened(page, **laid())
    page.get_by_role("slider", name="Look at the sheet").focus()
    for _ in range(4):
        page.keyboard.press("PageDown")
    return desk


def lost(page: Any) -> Pretended:
    desk = opened(page, **laid())
    desk.sockets[-1].close()
    page.get_by_text("The link to the desk is lost").first.wait_for()
    return desk


SCENES: dict[str, Callable[[Any], Pretended]] = {
    "empty": opened,
    "put": lambda page: opened(page, "Add", **laid()),
    "chosen": chosen,
    "faces": faces,
    "pens": lambda page: opened(page, "Pens", **laid(), pens=PENS),
    "known": lambda page: opened(page, "Time and ink", **laid()),
    "looked-at": looked_at,
    "asked": asked,
    "planning": lambda page: opened(page, **laid() | {"plan": laid()["plan"] | {"state": "planning", "doing": "ordering strokes", "stale": True}}),
    "refused": lambda page: opened(page, "Time and ink", **laid() | {"plan": empty_plan(
        state="refused", n=5, error={"text": "nothing of it lies within reach", "hint": "move it onto the sheet", "item": "heron"})}),
    "drawing": lambda page: opened(page, **laid(), drawing=drawing("drawing", "Drawing stroke 31 of 52, 2 min 16 s left."), progress=PROGRESS),
    "holding": lambda page: opened(page, **laid(), drawing=drawing("holding", "Held at stroke 31 of 52, pen raised."), progress=PROGRESS | {"pen_up": True}),
    "pen-change": lambda page: opened(page, **laid(), drawing=drawing("pen", "Waits for the pen sea.", ask={"pen": {"name": "sea", "colour": "#1f6f8b", "width_mm": 0.8}}), progress=PROGRESS),
    "finished": lambda page: opened(page, **laid(), drawing=drawing("finished", "Finished: 52 strokes in 3 min 54 s.", result={"played_s": 234.1, "drift_mm": 0.01, "trace_ok": True}), progress=PROGRESS | {"done_s": 232.0}),
    "broken": lambda page: opened(page, "Time and ink", broken_off=BROKEN),
    "machine": lambda page: opened(page, "Machine", **laid()),
    "unhomed": lambda page: opened(page, "Machine", machine=machine("unhomed", "It does not know yet where the pen is: home it.", position_mm=None)),
    "faulted": lambda page: opened(page, "Machine", **laid(), machine=machine("faulted", "It has stopped: the switch of X was pressed in mid-drawing.", fault="the switch of X was pressed", hint="look what it hit, then home it")),
    "asleep": lambda page: opened(page, "Machine", machine=machine("asleep", "The board sleeps: its motors are off.", motors_on=False)),
    "off": lambda page: opened(page, "Machine", machine=machine("off", "No machine is connected.", ports=[{"port": "serial-3", "about": "a board answers", "board": "rp2040", "version": "0.1.0", "rig": "Quayside"}])),
    "trial": lambda page: opened(page, "Machine", trial=TRIAL, machine=machine("ready", "Ready.", rig="r-1")),
    "trial-heights": lambda page: opened(page, "Machine", **laid(), trial=HEIGHTS, machine=machine("ready", "Ready.", rig="r-1")),
    "tuned": lambda page: opened(page, "Machine", **laid(), machine=machine("ready", "Homed and ready.", rig="r-1"), task={"name": "tune", "doing": "", "done": 1.0, "steps": [], "step": None, "error": None, "written": False, "rows": [
        {"name": "as it is", "predicted_s": 232.0, "wobble_mm": 0.21, "rms_mm": 0.04, "best": False, "now": True},
        {"name": "smooth, 40 ms", "predicted_s": 240.0, "wobble_mm": 0.08, "rms_mm": 0.02, "best": True, "now": False}]}),
    "exercised": lambda page: opened(page, "Machine", task={"name": "exercise", "doing": "", "done": 1.0, "steps": [], "step": None, "error": None, "words": "no step was lost",
        "rows": [{"n": n, "axis": "x", "sense": "+", "share": 0.8, "way_mm": 412.0, "lost_steps": 0} for n in (1, 2)]}),
    "checked": lambda page: opened(page, "Machine", task={"name": "check", "doing": "", "done": 1.0, "steps": [], "step": None, "error": None,
        "rows": [{"name": "code", "outcome": "passed", "words": "it is the newest", "hint": ""}, {"name": "supply", "outcome": "not run", "words": "it has no sense of power", "hint": "see docs"}]}),
    "question": lambda page: opened(page, "Machine", task={"name": "bring-up", "doing": "", "done": None, "rows": [], "steps": [
        {"name": "link", "title": "The link", "state": "done"}, {"name": "motor_x", "title": "Motor X", "state": "doing"}, {"name": "pen", "title": "The pen", "state": "todo"}], "step": "motor_x", "error": None,
        "lines": [{"kind": "title", "text": "step 2 of 3: Motor X"}, {"kind": "caution", "text": "keep fingers clear"}, {"kind": "plain", "text": "it moves 5 mm"}]},
        questions=[{"id": "q1", "kind": "choose", "where": "Step 2 of 3: Motor X", "passed": "The board has answered.", "text": "Which way did the carriage go?", "about": "It moved 5 mm.", "choices": [{"word": "left", "meaning": "to the left"}, {"word": "right", "meaning": "to the right"}], "low": None, "high": None, "unit": None, "default": None}]),
    "log": lambda page: opened(page, "Looking back", log=LOG),
    "onlooker": lambda page: opened(page, **laid(), holder={"window": "w0", "you": False}),
    "lost": lost,
    "phone": lambda page: opened(page, "Machine", phone={"address": "http://192.0.2.7:8099/?key=x", "code": "qr", "received": [{"upload": "u-9", "name": "IMG_1.jpg"}]}),
}  # fmt: skip
