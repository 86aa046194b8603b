"""`Room`: everything that the desk holds, and what each event of a page does."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from linewright.desk import events, first_day
from linewright.desk.archive import Archive
from linewright.desk.drawing import DrawingDesk, Wanted
from linewright.desk.machine import DeskFront, Machine, Wish
from linewright.desk.questions import Notes, Questions
from linewright.desk.screen import Screen, Window
from linewright.desk.sheet_desk import SheetDesk
from linewright.desk.truing import TruingDesk
from linewright.errors import InputError
from linewright.tasks import cautions
from linewright.tasks.draw_task import DrawTask
from linewright.tasks.target import VIRTUAL, Target
from linewright.version import __version__

if TYPE_CHECKING:
    from linewright.desk.machine import Met
    from linewright.desk.phone import PhoneDoor

PICTURES_HIGH: Final = 40

PAPER: Final = "The sheet lies where the picture shows it, and is held."


class Room:
    """One desk.

    Parameters
    ----------
    folder : where the sheet and everything that came to it is kept.
    target : the machine.
    """

    def __init__(self, folder: Path, target: Target) -> None:
        self.screen = Screen()
        self.notes = Notes(self.screen)
        self.questions = Questions(self.screen)
        self.archive = Archive(folder)
        self.pictures: dict[str, tuple[str, bytes]] = {}  # id to media type and content
        self.sheet = SheetDesk(folder, target.rig, self.screen, self.notes, self.archive)
        self.machine = Machine(target, self.screen, self.notes, self.questions, self._changed)
        self.drawing = DrawingDesk(self.screen, self.machine, self.sheet.shelf, self.archive)
        self._first_target = target
        self._holder: str | None = None
        self._holder_lock = threading.Lock()
        self._rigs: dict[str, Target] = {}
        self._changed(target)
        self._show_holder()
        self.stopping = threading.Event()
        self.phone: PhoneDoor | None = None
        self.task_name = ""
        for key in ("task", "phone"):
            self.screen.put(key, None)
        self.truing = TruingDesk(self, folder)

    def start(self) -> None:
        """Begin."""
        self.sheet.start()
        self.machine.start()
        self.truing.start()

    def close(self) -> None:
        """Stop what moves, pen up, and end everything."""
        self.machine.close()
        self.sheet.close()

    # Who looks on

    def opened(self, asked: str | None) -> Window:
        """A page has come. One that was here before keeps its name, and the machine if it had it."""
        with self._holder_lock:
            here = self.screen.names()
            name = asked if asked and asked not in here else _free_name({*here, self._holder or ""})
            window = self.screen.opened(name)
            if self._holder is None or self._holder not in here:
                self._holder = name
        self._show_holder()
        return window

    def closed(self, window: Window) -> None:
        """A page has gone. The machine stays its own until another one comes or takes over."""
        self.screen.closed(window)
        self._show_holder()

    def news(self, window: Window) -> dict[str, Any]:
        """What is new for a page."""
        new = self.screen.taken(window)
        if "holder" in new:
            new["holder"] = {**new["holder"], "you": self._holder == window.name}
        if "desk" in new:
            new["desk"] = {**new["desk"], "window": window.name}
        return new

    def _show_holder(self) -> None:
        here = self._holder if self._holder in self.screen.names() else None
        # Every window is told anew, since each is told something else.
        self.screen.put("holder", {"window": here, "of": self._holder})

    # Events

    @staticmethod
    def is_urgent(name: str) -> bool:
        """Whether an event must not wait for others: it makes the machine stand, or touches nothing that takes long."""
        return name in events.ANYBODY or name in ("abandon", "stop", "answer", "pace", "carry_on", "pen_in")

    def handle(self, window: str, name: str, event: Any) -> dict[str, Any]:
        """Carry out an event; returns what its answer says beside "ok".

        Raises
        ------
        LinewrightError : it is refused, and nothing has changed.
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
        # Its own copy: what lies on the sheet may change while this is drawn.
        shown_id = self.sheet.shelf.put(self.sheet.shelf.get(shown["geometry"]) or plan.geometry, "n")
        self.drawing.draw(Wanted(task, shown_id, now))

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

    def _on_resume(self, event: events.Named) -> None:
        broken = next((one for one in self.screen.get("broken_off") if one["id"] == event.id), None)
        if broken is None:
            raise InputError("that drawing cannot be carried on any more")
        self._confirm(event.confirmed, broken["confirm"])
        self.drawing.resume(event.id, at_park=not self.machine.target.rig.finds_its_place)

    def _on_forget(self, event: events.Named) -> None:
        self.drawing.forget(event.id)

    def _on_answer(self, event: events.Answer) -> None:
        self.questions.answer(event.question, event.value)

    def _on_motors_off(self, _event: events.Plain) -> None:
        self.machine.cut()

    def _on_stop(self, _event: events.Plain) -> None:
        self.stopping.set()
        self.machine.stop()

    # Making it true

    def _on_trial(self, event: events.TrialSheet) -> None:
        self.truing.make(event)

    def _on_trial_draw(self, event: events.Confirmed) -> None:
        self._confirm(event.confirmed, self.screen.get("before"))
        self.truing.draw()

    def _on_trial_close(self, _event: events.Plain) -> None:
        self.truing.close()

    def _on_fit(self, event: events.Fit) -> None:
        self.truing.fit(event)

    def _on_fit_undo(self, _event: events.Plain) -> None:
        self.truing.fit_undo()

    def _on_tune(self, event: events.Tune) -> None:
        self.truing.tune(event)

    def _on_exercise(self, event: events.Exercise) -> None:
        self._ask("exercise", "Exercising", lambda met, at: first_day.exercise(event, self, met, at))

    def _on_bring_up(self, event: events.BringUp) -> None:
        self._ask("bring-up", "Bring-up", lambda met, at: first_day.bring_up(event, self, met, at))

    def show_task(self, name: str, doing: str, done: float | None = None, **more: Any) -> None:
        """Show what else the machine is used for."""
        self.task_name = name
        self.screen.put("task", {**_NO_TASK, "name": name, "doing": doing, "done": done, **more})

    def keep_picture(self, media_type: str, content: bytes) -> str:
        """Keep a picture for the page; returns its id."""
        name = f"p{hashlib.sha256(content).hexdigest()[:16]}"
        self.pictures[name] = (media_type, content)
        while len(self.pictures) > PICTURES_HIGH:
            del self.pictures[next(iter(self.pictures))]
        return name

    def rig_changed(self) -> None:
        """The rig file says something else now."""
        target = self.machine.target
        if target.rig_file is not None:
            from linewright.rig.rig import Rig

            self.machine.describe_rig(replace(target, rig=Rig.load(target.rig_file)))

    # The machine by hand

    def _on_home(self, _event: events.Plain) -> None:
        from linewright.tasks import hand_moves

        self._ask("home", "Homing", lambda _met, at: hand_moves.home(at, self.front))

    def _on_check(self, _event: events.Plain) -> None:
        from linewright.tasks import hand_moves

        def check(_met: Met, target: Target) -> None:
            results = hand_moves.check(target, self.front)[1]
            rows = [{"name": one.name, "outcome": one.outcome, "words": one.said, "hint": one.hint} for one in results]
            self.show_task("check", "", 1.0, rows=rows)

        self._ask("check", "Testing the board", check)

    def _on_jog(self, event: events.Jog) -> None:
        from linewright.tasks import hand_moves

        if (event.by_mm is None) == (event.to_mm is None):
            raise InputError("a move goes by a way or to a place")
        x, y = event.by_mm or event.to_mm or [0.0, 0.0]
        to_place = event.to_mm is not None
        self._ask("jog", "Moving", lambda _met, at: hand_moves.jog(at, self.front, (x, y), to_place=to_place))

    def _on_pen(self, event: events.Pen) -> None:
        from linewright.tasks import hand_moves

        self._ask("pen", "Moving the pen", lambda _met, at: hand_moves.pen(at, self.front, str(event.height)))

    def _ask(self, kind: str, busy: str, do: Callable[[Met, Target], object]) -> None:
        def carry_out(met: Met) -> None:
            do(met, met.at(self.machine.target))

        self.machine.ask(Wish(kind, busy, carry_out))

    @property
    def front(self) -> DeskFront:
        """Of the wish that is being carried out."""
        front = self.machine.front
        assert front is not None, "a wish is being carried out"
        return front

    # Which machine

    def _on_ports(self, _event: events.Plain) -> None:
        self._look_for_ports()

    def _look_for_ports(self) -> None:
        if self.machine.ports_looking:
            return
        self.machine.ports_looking = True
        self.machine.publish()
        threading.Thread(target=self._list_ports, daemon=True, name="desk ports").start()

    def _list_ports(self) -> None:
        from linewright.board import machines, ports

        held = self.machine.target.port
        rigs = {one.unique: Path(one.rig_file).name for one in machines.memory().met if one.unique}
        found: list[dict[str, Any]] = []
        try:
            # The board that is held answers us already; another greeting on its port would disturb it.
            for seen in (one if one.port == held else ports.asked(one) for one in ports.listed()):
                rig = rigs.get(seen.unique, "")
                found.append(
                    {"port": seen.port, "about": seen.about, "board": seen.board, "version": seen.version, "rig": rig}
                )
        finally:
            self.machine.ports = [*self._always(), *found]
            self.machine.ports_looking = False
            self.machine.publish()

    def _always(self) -> list[dict[str, Any]]:
        """Ports that are there without being plugged in: the virtual rig, and what the command has named."""
        first = self._first_target.port
        words = {"board": "", "version": "", "rig": ""}
        listed = [{"port": VIRTUAL, "about": "the virtual rig: nothing real moves", **words}]
        if first != VIRTUAL and not first.startswith("serial:"):
            listed.append({"port": first, "about": "as named when the desk was opened", **words})
        return listed

    def _on_connect(self, event: events.Connect) -> None:
        known = {one["port"] for one in self.machine.ports}
        if event.port not in known:
            raise InputError(f"there is no port {event.port}", hint="look for ports again")
        target = self._rigs.get(event.rig or self.machine.rig_id)
        if target is None:
            raise InputError("there is no such rig", hint="choose one of those that are listed")
        target = replace(target, port=event.port, port_named=True, board="", unique="", meeting=None)
        self.machine.connect(target, real_time=event.real_time)

    def _on_disconnect(self, _event: events.Plain) -> None:
        self.machine.connect(None)

    def _changed(self, target: Target) -> None:
        """Another machine is meant, or its rig file says something else."""
        self._list_rigs(target)
        self.sheet.lies_on(target.rig)
        rehearsal = ""
        if target.rehearses:
            rehearsal = target.words
        elif target.on_virtual_rig:
            rehearsal = "The virtual rig: nothing real moves"
        self.screen.put(
            "desk",
            {
                "version": __version__,
                "virtual": target.on_virtual_rig,
                "rehearsal": rehearsal,
                "file": str(self.sheet.history.sheet_file),
            },
        )
        before = [{"key": "paper", "text": PAPER}, {"key": "pen", "text": "The first pen is in."}]
        if told := cautions.before_moving(target.port):
            before.append({"key": "cautions", "text": " ".join(told)})
        self.screen.put("before", before)
        self.machine.publish()

    def _list_rigs(self, target: Target) -> None:
        from linewright.tasks import target as targets

        found = [target, self._first_target, *targets.known()]
        self._rigs = {}
        for one in found:
            name = "default" if one.rig_file is None else f"r-{abs(hash(one.rig_file.resolve())):x}"
            self._rigs.setdefault(name, one)
        usual = targets.usual_file()
        self.machine.rigs = [
            {
                "id": name,
                "name": one.rig.name if one.rig_file is None else f"{one.rig.name} ({one.rig_file.name})",
                "board": one.rig.board,
                "usual": one.rig_file is not None and usual == one.rig_file.resolve(),
            }
            for name, one in self._rigs.items()
        ]
        self.machine.rig_id = next(name for name, one in self._rigs.items() if one is target)
        if not self.machine.ports:
            self.machine.ports = self._always()

    def _on_phone(self, event: events.Switch) -> None:
        if self.phone is None:
            raise InputError("phones are let in only with --phone", hint="open the desk with `linewright desk --phone`")
        if event.on:
            self.phone.open()
        else:
            self.phone.close()


_NO_TASK: Final[dict[str, Any]] = {
    "name": "",
    "doing": "",
    "done": None,
    "rows": [],
    "steps": [],
    "step": None,
    "error": None,
}


def _free_name(taken: set[str]) -> str:
    number = 1
    while f"w{number}" in taken:
        number += 1
    return f"w{number}"
