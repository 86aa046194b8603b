"""`SheetDesk`: the sheet with its plan and previews, for the page."""

from __future__ import annotations

import random
import threading
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from linewright import wording
from linewright.desk import catalogue, edits, workers
from linewright.desk.events import ItemEvent
from linewright.desk.geometry import GeometryShelf
from linewright.desk.history import History
from linewright.desk.making import (
    CatalogueWish,
    DeskPlan,
    PlanWish,
    Refusal,
    Sketch,
    WarmWish,
    WithinWish,
)
from linewright.desk.penbox import PenBox
from linewright.desk.previews import OnSheet, Previews
from linewright.desk.uploads import Uploads
from linewright.desk.workers import Worker
from linewright.errors import InputError, LinewrightError
from linewright.planning.arrangement import Arrangement, Item, free_id
from linewright.rig.sheet_place import room_on, sheet_on
from linewright.sheet.sizes import NAMED_MM, Sheet
from linewright.tasks.subject import SEEDS

if TYPE_CHECKING:
    from pathlib import Path

    from linewright.desk import events
    from linewright.desk.archive import Archive
    from linewright.desk.questions import DeskNotes
    from linewright.desk.screen import Screen
    from linewright.rig.rig import Rig


class SheetDesk:
    """The sheet.

    Parameters
    ----------
    folder : of the sheet's files.
    rig : of the machine that will draw; see `lies_on`.
    """

    def __init__(self, folder: Path, rig: Rig, screen: Screen, notes: DeskNotes, archive: Archive) -> None:
        self.history = History(folder)
        self.uploads = Uploads(folder)
        self.pens = PenBox(folder)
        self.shelf = GeometryShelf()
        self.plan: DeskPlan | None = None
        self._rig = rig
        self._screen = screen
        self._notes = notes
        self._archive = archive
        self._lock = threading.RLock()
        self._laid: dict[str, dict[str, Any]] = {}
        self._frames: dict[str, dict[str, Any]] = {}  # what can be shown of each photograph with faces
        self._blame: dict[str, dict[str, str]] = {}
        self._planner = Worker(self._heard_plan)
        self._second = Worker(self._heard_second)
        self._wished = 0
        self._shown_plan: dict[str, Any] = {}
        self._previews = Previews(screen, self.shelf, notes, self._second.wish)
        self._within: tuple[int, Item, float] | None = None  # number of the wish, item as it was, seconds
        self._catalogue_wish = 0
        for trouble in (self.history.trouble, self.pens.trouble):
            if trouble:
                notes.add("note", trouble)
        screen.put("within", None)
        for key in ("methods", "patterns", "letterings"):
            screen.put(key, [])
        self._show_all()

    def start(self) -> None:
        """Start the workers."""
        self._catalogue_wish = self._second.wish(CatalogueWish())
        self._replan()
        if not self.history.now.items:
            self._planner.wish(WarmWish(self._rig))

    def close(self) -> None:
        """End the workers."""
        self._planner.close()
        self._second.close()
        self.history.close()

    def lies_on(self, rig: Rig) -> None:
        """Use another rig, or a changed one."""
        with self._lock:
            if rig != self._rig:
                self._rig = rig
                self._show_all()
                self._replan()

    @property
    def sheet(self) -> Sheet:
        """The present sheet of paper."""
        now = self.history.now
        return sheet_on(self._rig, now.sheet, margin_mm=now.margin_mm)

    # Events

    def handle(self, name: str, event: Any) -> dict[str, Any]:
        """Carry out an event of `events.SHEET_EVENTS`; returns the fields of its answer besides "ok"."""
        with self._lock:
            found: dict[str, Any] = getattr(self, f"_on_{name}")(event) or {}
            return found

    def _change(self, new: Arrangement, what: str, gesture: str = "") -> None:
        before = self.history.now
        self.history.change(new, what, gesture)
        if self.history.now != before:
            self._show_all()
            self._replan()

    def _on_put(self, event: events.PutEvent) -> dict[str, Any]:
        given = [event.upload, event.words, event.sentence, event.pattern, event.surprise or None]
        if sum(one is not None for one in given) != 1:
            raise InputError("put one thing: upload, words, sentence, pattern or surprise")
        if event.upload is not None:
            upload = self.uploads.get(event.upload)
            if upload.kind == "rig":
                raise InputError(f"{upload.name} is a rig file and no picture", hint="take it as the machine's file")
            name = free_id(Item(source=upload.name), {one.id for one in self.history.now.items})
            item, what = Item(name, source=upload.inside), upload.name
        elif event.surprise:
            item, what = Item(pattern=f"surprise:seed={random.randrange(1, SEEDS)}"), "a surprise"
        elif event.pattern is not None:
            item = Item(pattern=f"{event.pattern}:seed={random.randrange(1, SEEDS)}")
            what = event.pattern
        else:
            text = (event.words or event.sentence or "").strip()
            if not text:
                raise InputError("there are no words", hint="type some")
            item, what = Item(text=text, method="words" if event.sentence is not None else None), "words"
        room = room_on(self.sheet, self._rig)
        # Items that are not laid out yet may cover any place.
        unknown = {"boxes_mm": [room]}
        boxes = [box for one in self.history.now.items for box in self._laid.get(one.id, unknown)["boxes_mm"]]
        new, name = edits.put(self.history.now, item, room, event.at_mm, event.width_mm, boxes)
        self._change(new, f"put {what} down")
        return {"item": name}

    def _on_set(self, event: events.Set) -> None:
        now = self.history.now
        item = now.item(event.item)
        new = edits.changed(item, event.fields, self.pens)
        words = edits.label(item, self.uploads)
        moved = set(event.fields) <= {"at_mm", "align"}
        what = f"move {words}" if moved else f"change {words}"
        self._change(now.changed(new), what, event.gesture)

    def _on_copy(self, event: events.Items) -> dict[str, Any]:
        new, names = edits.copied(self.history.now, event.items, self._laid)
        self._change(new, "copy")
        return {"items": names}

    def _on_remove(self, event: events.Items) -> None:
        new = self.history.now
        for name in event.items:
            new = new.without(name)
        one = len(event.items) == 1
        what = edits.label(self.history.now.item(event.items[0]), self.uploads) if one else f"{len(event.items)} things"
        self._change(new, f"take {what} away")

    def _on_align(self, event: events.Align) -> None:
        sheet = self.sheet
        box = {
            "margins": room_on(sheet, self._rig),
            "sheet": (0.0, 0.0, sheet.width_mm, sheet.height_mm),
            "first": edits.box_of(event.items, self._laid),
        }[event.to]
        if box is None:
            raise InputError("there is nothing to align to")
        names = event.items[1:] if event.to == "first" else event.items
        self._change(edits.aligned(self.history.now, names, self._laid, box, event.how), f"align {event.how}")

    def _on_order(self, event: events.Order) -> None:
        self._change(edits.ordered(self.history.now, event.item, event.place), "change the order")

    def _on_sheet(self, event: events.Paper) -> None:
        name = event.sheet
        if event.landscape is not None:
            name = f"{_bare(name)} {'landscape' if event.landscape else 'portrait'}"
        new = replace(self.history.now, sheet=name, margin_mm=event.margin_mm)
        room_on(sheet_on(self._rig, new.sheet, margin_mm=new.margin_mm), self._rig)
        self._change(new, "take another sheet")

    def _on_pens(self, event: events.Pens) -> None:
        new = self.pens.replaced(event.pens, self.history.now)
        self._change(new, "change the pens")
        self._show_all()

    def _on_undo(self, _event: events.Plain) -> None:
        self.history.undo()
        self._show_all()
        self._replan()

    def _on_redo(self, _event: events.Plain) -> None:
        self.history.redo()
        self._show_all()
        self._replan()

    def _on_clear(self, _event: events.Plain) -> None:
        self._change(replace(self.history.now, items=()), "clear the sheet")

    def _on_again(self, event: events.Named) -> None:
        self._change(self._archive.arrangement(event.drawing), "lay an earlier drawing out again")

    def _on_previews(self, event: events.ItemEvent) -> None:
        self._second.forget()
        self._within = None
        self._screen.put("within", None)
        self._previews.of(None if event.item is None else self._on_screen(event.item))

    def _on_within(self, event: events.Within) -> None:
        item = self.history.now.item(event.item)
        self._on_previews(ItemEvent(None))  # the second worker makes one thing at a time
        number = self._second.wish(WithinWish(self.history.now, self.history.folder, self._rig, item, event.time_s))
        self._within = number, item, event.time_s
        self._screen.put("within", {"item": item.id, "time_s": event.time_s, "said": None})

    def _heard_within(self, what: str, value: Any) -> None:
        assert self._within is not None, "somebody waits for it"
        _number, item, time_s = self._within
        if what in (workers.PROGRESS, workers.PART):
            return
        self._within = None
        said = value[1] if what == workers.MADE else f"{value.text}; {value.hint}" if value.hint else value.text
        self._screen.put("within", {"item": item.id, "time_s": time_s, "said": said})
        now = self.history.now
        if item not in now.items:  # changed or removed in the meantime
            return
        if what == workers.MADE:
            self._change(now.changed(replace(item, method=value[0])), f"make it about {wording.duration(time_s)}")

    # State shown on the page

    def _show_all(self) -> None:
        self._screen.put("history", {"undo": self.history.undoes, "redo": self.history.redoes})
        self._screen.put("pens", self.pens.values())
        pen, rig = self._rig.pen, self._rig
        speed = min(rig.x.speed_mm_s, rig.y.speed_mm_s)
        usual = {"width_mm": pen.width_mm, "speed_mm_s": speed, "up_us": pen.up_us, "down_us": pen.down_us}
        self._screen.put("pens_usual", usual)
        self._show_sheet()
        self._show_items()

    def _show_sheet(self) -> None:
        sheet, rig = self.sheet, self._rig
        try:
            room: list[float] | None = list(room_on(sheet, rig))
        except LinewrightError:
            room = None
        self._screen.put(
            "sheet",
            {
                "name": sheet.name,
                "width_mm": sheet.width_mm,
                "height_mm": sheet.height_mm,
                "margin_mm": sheet.margin_mm,
                "offset_mm": list(rig.sheet.offset_mm),
                "turn_deg": rig.sheet.turn_deg,
                "landscape": sheet.width_mm > sheet.height_mm,
                "room_mm": room,
                "choices": list(NAMED_MM),
            },
        )
        x0, y0, x1, y1 = rig.shape.box_mm
        off_x, off_y = rig.sheet.offset_mm
        park_x, park_y = rig.park.position_mm
        self._screen.put(
            "reach",
            {
                "width_mm": x1 - x0,
                "height_mm": y1 - y0,
                "box_mm": [x0 - off_x, y0 - off_y, x1 - off_x, y1 - off_y],
                "park_mm": [park_x - off_x, park_y - off_y],
                "kinematics": rig.kinematics.type,
            },
        )

    def _show_items(self) -> None:
        warned: dict[str, list[str]] = {}
        for warning in self._shown_plan.get("warnings", ()):
            if warning["item"] is not None:
                warned.setdefault(warning["item"], []).append(warning["text"])
        self._screen.put(
            "items",
            [
                {
                    **edits.shown(item, self.uploads, self.pens, self._laid.get(item.id)),
                    **self._frames.get(item.id, NO_FRAMES),
                    "warnings": warned.get(item.id, []),
                    "error": self._blame.get(item.id),
                }
                for item in self.history.now.items
            ],
        )

    # The plan

    def _replan(self) -> None:
        now = self.history.now
        self._blame = {}
        self._renew_previews()
        if not now.items:
            self._wished = self._planner.forget()
            self.plan, self._laid = None, {}
            self._show_plan(_no_plan("empty", self._wished))
            return
        self._wished = self._planner.wish(PlanWish(now, self.history.folder, self._rig))
        self.plan = None
        old = self._shown_plan or _no_plan("planning", 0)
        self._show_plan(
            {**old, "state": "planning", "n": self._wished, "doing": "", "done": None, "error": None, "stale": True}
        )

    def _show_plan(self, new: dict[str, Any]) -> None:
        self._shown_plan = new
        self._screen.put("plan", new)

    def _heard_plan(self, number: int, what: str, value: Any) -> None:
        with self._lock:
            if number != self._wished:
                return
            shown = self._shown_plan
            if what == workers.PROGRESS:
                self._show_plan({**shown, "doing": value[0], "done": value[1]})
            elif what == workers.PART and value[0] == "frames":
                self._frames = value[1]
                self._show_items()
            elif what == workers.PART:
                self._take_sketch(value[1])
            elif what == workers.MADE:
                self._take_plan(number, value)
            else:
                refusal: Refusal = value
                error = {"text": refusal.text, "hint": refusal.hint, "item": refusal.item}
                if refusal.item is not None:
                    self._blame = {refusal.item: {"text": refusal.text, "hint": refusal.hint}}
                self.shelf.drop(shown.get("geometry"))
                self._show_plan({**_no_plan("refused", number), "error": error})
                self._show_items()
                self._previews.go_on()

    def _take_sketch(self, sketch: Sketch) -> None:
        shown = self._shown_plan
        self._laid = sketch.laid
        self.shelf.drop(shown.get("sketch"))
        name = self.shelf.put(sketch.geometry, "s")
        self._show_plan({**shown, "sketch": name, "sketch_pens": sketch.pens, "rough": sketch.rough})
        self._show_items()

    def _take_plan(self, number: int, plan: DeskPlan) -> None:
        self.plan = plan
        shown = self._shown_plan
        name = self.shelf.put(plan.geometry)
        sketch = {key: shown.get(key) for key in ("sketch", "sketch_pens", "rough")}
        self._show_plan({**_no_plan("ready", number), **sketch, "geometry": name, **plan.figures})
        self._show_items()
        self._previews.go_on()

    # Previews and the catalogue, one after the other in the second worker

    def _on_screen(self, name: str) -> OnSheet:
        now = self.history.now
        return OnSheet(now.item(name), now, self.history.folder, self._rig)

    def _renew_previews(self) -> None:
        name = self._previews.item
        if name is None:
            return
        if all(item.id != name for item in self.history.now.items):
            self._second.forget()
            self._previews.of(None)
        else:
            self._previews.changed(self._on_screen(name))

    def _heard_second(self, number: int, what: str, value: Any) -> None:
        with self._lock:
            if number == self._catalogue_wish:
                if what == workers.MADE:
                    for key, listed in value.items():
                        self._screen.put(key, listed)
                # In this process, too; not earlier, because the start would be slower.
                threading.Thread(target=_load_methods, daemon=True, name="desk methods").start()
            elif self._within is not None and number == self._within[0]:
                self._heard_within(what, value)
            else:
                self._previews.heard(number, what, value)


NO_FRAMES: Final[dict[str, Any]] = {"frame": "whole", "frames": []}
"""Of an item without faces."""


def _load_methods() -> None:
    """Load what a changed setting is checked with."""
    catalogue.load()
    workers.set_aside()


def _no_plan(state: str, number: int) -> dict[str, Any]:
    return {
        "state": state,
        "n": number,
        "doing": "",
        "done": None,
        "stale": False,
        "sketch": None,
        "sketch_pens": [],
        "rough": False,
        "geometry": None,
        "strokes": 0,
        "vertices": 0,
        "predicted_s": 0.0,
        "ink_mm": 0.0,
        "travel_mm": 0.0,
        "pens": [],
        "warnings": [],
        "error": None,
    }


def _bare(name: str) -> str:
    for word in ("landscape", "portrait"):
        name = name.removesuffix(word).strip()
    return name
