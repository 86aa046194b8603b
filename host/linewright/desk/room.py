"""`Room`: a desk with its windows; carries out the page's events."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from linewright.desk import events, first_day
from linewright.desk.drawing import Wanted
from linewright.desk.holdings import Holdings
from linewright.desk.machine import MachineWish
from linewright.desk.page_words import on_page, told
from linewright.desk.screen import Window
from linewright.desk.truing import TruingDesk
from linewright.errors import InputError, LinewrightError
from linewright.tasks.draw_task import DrawTask
from linewright.tasks.front import Cancelled

if TYPE_CHECKING:
    from linewright.desk.machine import Met
    from linewright.tasks.target import Target


class Phone(Protocol):
    """Access for phones."""

    def open(self) -> None:
        """Start listening."""

    def close(self) -> None:
        """Stop listening."""


class Room(Holdings):
    """One desk and the windows that show it.

    Attributes
    ----------
    phone : access for phones; None: not allowed.
    """

    def __init__(self, folder: Path, target: Target) -> None:
        super().__init__(folder, target)
        self.phone: Phone | None = None
        self._truing = TruingDesk(self, folder)
        self._holder: str | None = None
        self._holder_lock = threading.Lock()
        self._show_holder()

    def start(self) -> None:
        """Start the desk."""
        super().start()
        self._truing.start()

    # Windows

    def opened(self, asked: str | None) -> Window:
        """A page has connected. One that reconnects keeps its name, and control of the machine if it had it."""
        with self._holder_lock:
            here = self.screen.names()
            name = asked if asked and asked not in here else _free_name({*here, self._holder or ""})
            window = self.screen.opened(name)
            if self._holder is None or self._holder not in here:
                self._holder = name
        self._show_holder()
        return window

    def closed(self, window: Window) -> None:
        """A page has disconnected. It keeps control of the machine until another one connects or takes over."""
        self.screen.closed(window)
        self._show_holder()

    def news(self, window: Window) -> dict[str, Any]:
        """News for a page."""
        new = self.screen.taken(window)
        if "holder" in new:
            new["holder"] = {**new["holder"], "you": self._holder == window.name}
        if "desk" in new:
            new["desk"] = {**new["desk"], "window": window.name}
        return new

    def _show_holder(self) -> None:
        here = self._holder if self._holder in self.screen.names() else None
        # Every window gets its own value, so send it to all of them.
        self.screen.put("holder", {"window": here, "of": self._holder})

    # Events

    @staticmethod
    def is_urgent(name: str) -> bool:
        """Whether an event must not wait for others: it stops the machine, or needs no slow resource."""
        return name in events.ANYBODY or name in ("abandon", "stop", "answer", "pace", "carry_on", "pen_in")

    def handle(self, window: str, name: str, event: Any) -> dict[str, Any]:
        """Carry out an event; returns the fields of its answer besides "ok".

        Raises
        ------
        LinewrightError : it is refused; nothing has changed.
        """
        if name not in events.ANYBODY and self._holder != window:
            raise InputError("another window has the desk", hint="take over, then try again")
        if name == "take_over":
            with self._holder_lock:
                self._holder = window
            self._show_holder()
            return {}
        if name in events.SHEET_EVENTS:
            return self.sheet.handle(name, event)
        handler: Callable[[Any], dict[str, Any] | None] = getattr(self, f"_on_{name}")
        return handler(event) or {}

    def _on_draw(self, event: events.Draw) -> None:
        plan, shown = self.sheet.plan, self.screen.get("plan")
        if plan is None or shown["state"] != "ready" or shown["n"] != event.n:
            raise InputError("the plan is not ready, or not the newest", hint="wait until it is, look, then draw")
        self._confirm(event.confirmed, self.screen.get("before"))
        now = self.sheet.history.now
        items = self.screen.get("items")
        name = items[0]["label"] if len(items) == 1 else f"{items[0]['label']} and {len(items) - 1} more"
        task = DrawTask(
            name,
            plan.program,
            plan.warnings,
            self.machine.target,
            ask_pens=True,
            reads_tape=False,
        )
        # A copy, because the sheet may change during the drawing.
        shown_id = self.sheet.shelf.put(self.sheet.shelf.get(shown["geometry"]) or plan.geometry, "n")
        self.drawing.draw(Wanted(task, shown_id, "sheet", now))

    def _confirm(self, given: list[str], asked: list[dict[str, str]]) -> None:
        missing = [one["text"] for one in asked if one["key"] not in given]
        if missing:
            raise InputError(f"this is not confirmed: {missing[0]}", hint="look, then confirm it")

    def _on_hold(self, _event: events.Plain) -> None:
        self.drawing.hold()

    def _on_carry_on(self, _event: events.Plain) -> None:
        self.drawing.carry_on()

    def _on_pen_in(self, _event: events.Plain) -> None:
        self.drawing.pen_in()

    def _on_pace(self, event: events.Pace) -> None:
        self.drawing.pace(event.share)

    def _on_abandon(self, _event: events.Plain) -> None:
        self.drawing.abandon()

    def _on_put_away(self, _event: events.Plain) -> None:
        self.drawing.put_away()

    def _on_left(self, event: events.Named) -> dict[str, Any]:
        return self.drawing.left(event.drawing)

    def _on_resume(self, event: events.Resume) -> None:
        broken = next((one for one in self.screen.get("broken_off") if one["id"] == event.drawing), None)
        if broken is None:
            raise InputError("that drawing cannot be carried on any more")
        self._confirm(event.confirmed, broken["confirm"])
        at_park = not self.machine.target.rig.finds_its_place
        self.drawing.resume(event.drawing, at_park=at_park, from_stroke=event.from_stroke)

    def _on_forget(self, event: events.Named) -> None:
        self.drawing.forget(event.drawing)

    def _on_answer(self, event: events.Answer) -> None:
        self.questions.answer(event.question, event.value)

    def _on_motors_off(self, _event: events.Plain) -> None:
        self.machine.cut()

    def _on_stop(self, _event: events.Plain) -> None:
        self.stopping.set()
        self.machine.stop()

    # Trial sheets and fits

    def _on_trial(self, event: events.TrialSheet) -> None:
        self._truing.make(event)

    def _on_trial_draw(self, event: events.Confirmed) -> None:
        self._confirm(event.confirmed, self.screen.get("before"))
        self._truing.draw()

    def _on_trial_close(self, _event: events.Plain) -> None:
        self._truing.close()

    def _on_fit(self, event: events.Fit) -> None:
        self._truing.fit(event)

    def _on_fit_undo(self, _event: events.Plain) -> None:
        self._truing.fit_undo()

    def _on_tune(self, event: events.Tune) -> None:
        self._truing.tune(event)

    def _on_exercise(self, event: events.Exercise) -> None:
        self._ask_task("exercise", "Exercising", lambda met, at: first_day.exercise(event, self, met, at))

    def _on_bring_up(self, event: events.BringUp) -> None:
        self._ask_task("bring-up", "Bring-up", lambda met, at: first_day.bring_up(event, self, met, at))

    # Manual control

    def _on_home(self, _event: events.Plain) -> None:
        from linewright.tasks import hand_moves

        self._ask("home", "Homing", lambda _met, at: hand_moves.home(at, self.front))

    def _on_check(self, _event: events.Plain) -> None:
        from linewright.tasks import hand_moves

        def check(_met: Met, target: Target) -> None:
            results = hand_moves.check(target, self.front)[1]
            rows = [
                {"name": one.name, "outcome": one.outcome, "words": one.said, "hint": on_page(one.hint)}
                for one in results
            ]
            self.show_task("check", "", 1.0, rows=rows)

        self._ask_task("check", "Testing the board", check)

    def _on_task_close(self, _event: events.Plain) -> None:
        now = self.screen.get("task")
        if now is not None and now["done"] != 1.0:
            raise InputError("it is still under way", hint="stop it first")
        self.screen.put("task", None)

    def _on_jog(self, event: events.Jog) -> None:
        from linewright.tasks import hand_moves

        if (event.by_mm is None) == (event.to_mm is None):
            raise InputError("a move needs either by_mm or to_mm")
        x, y = event.by_mm or event.to_mm or [0.0, 0.0]
        to_place = event.to_mm is not None
        self._ask("jog", "Moving", lambda _met, at: hand_moves.jog(at, self.front, (x, y), to_place=to_place))

    def _on_pen(self, event: events.PenEvent) -> None:
        from linewright.tasks import hand_moves

        self._ask("pen", "Moving the pen", lambda _met, at: hand_moves.pen(at, self.front, str(event.height)))

    def _on_pen_keep(self, event: events.PenKeep) -> None:
        from linewright.rig.edit import edit_rig

        target = self.machine.target
        if target.rig_file is None:
            raise InputError("this machine has no file to keep it in", hint="take a rig file of your own")
        if target.on_virtual_rig:
            raise InputError(
                "a simulated pen does not tell how high the real one stands", hint="connect the machine, then try again"
            )
        kept = edit_rig(target.rig_file, {f"pen.{event.height}_us": event.us}).kept
        self.rig_changed()
        height = "raised" if event.height == "up" else "lowered"
        before = "" if kept is None else f"; what the file said before is kept as {kept.name}"
        self.notes.add("note", f"the pen is {height} at {event.us} us from now on{before}")

    def _ask_task(self, kind: str, busy: str, do: Callable[[Met, Target], object]) -> None:
        """Like `_ask` for a wish shown as a task: its end, also by an error, is shown on the page."""

        def carry_out(met: Met, at: Target) -> None:
            self.show_task(kind, "")
            try:
                do(met, at)
            except LinewrightError as error:
                self.end_task(told(error))
                raise
            except (Cancelled, EOFError) as stopped:
                self.end_task({"text": str(stopped) or "stopped", "hint": ""})
                raise

        self._ask(kind, busy, carry_out)

    def _ask(self, kind: str, busy: str, do: Callable[[Met, Target], object]) -> None:
        def carry_out(met: Met) -> None:
            do(met, met.at(met.meant))

        self.machine.ask(MachineWish(kind, busy, carry_out))

    # Which machine

    def _on_ports(self, _event: events.Plain) -> None:
        self.look_for_ports()

    def _on_connect(self, event: events.Connect) -> None:
        self.connect(event)

    def _on_disconnect(self, _event: events.Plain) -> None:
        self.machine.connect(None)

    def _on_rig_file(self, event: events.RigFile) -> dict[str, Any]:
        return {"rig": self.take_rig(event.upload)}

    def _on_rig_new(self, _event: events.Plain) -> dict[str, Any]:
        return {"rig": self.new_rig()}

    def _on_wiring(self, _event: events.Plain) -> dict[str, Any]:
        from linewright.pictures import album
        from linewright.pictures.wiring_picture import wiring_scene
        from linewright.rig.wiring import Wiring

        rig = self.machine.target.rig
        plan = Wiring.of(rig)
        picture = album.writer(Path("wiring.svg"))(wiring_scene(rig, plan))
        return {"picture": self.keep_picture("image/svg+xml", picture), "cautions": list(plan.cautions)}

    def _on_phone(self, event: events.Switch) -> None:
        if self.phone is None:
            raise InputError("phones are let in only with --phone", hint="open the desk with `linewright desk --phone`")
        if event.on:
            self.phone.open()
        else:
            self.phone.close()


def _free_name(taken: set[str]) -> str:
    number = 1
    while f"w{number}" in taken:
        number += 1
    return f"w{number}"
