"""`Holdings`: the parts of a desk, what they share, and the chosen machine."""

from __future__ import annotations

import contextlib
import hashlib
import re
import threading
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from linewright.desk.archive import Archive
from linewright.desk.drawing import DrawingDesk
from linewright.desk.machine import DeskFront, DeskMachine
from linewright.desk.questions import DeskNotes, Questions
from linewright.desk.screen import Screen
from linewright.desk.sheet_desk import SheetDesk
from linewright.errors import InputError, RigError
from linewright.tasks import cautions
from linewright.tasks.target import VIRTUAL, Target
from linewright.version import __version__

if TYPE_CHECKING:
    from linewright.desk import events

PICTURES_HIGH: Final = 40

NEW_RIG: Final = "my-machine"
"""Name of a rig file that the desk begins."""

RIGS: Final = "rigs"
"""Folder of uploaded rig files."""

PAPER: Final = "The sheet lies where the picture shows it, and is held."


class Holdings:
    """The parts of one desk.

    Parameters
    ----------
    folder : of the sheet and its files.
    target : the machine.
    """

    def __init__(self, folder: Path, target: Target) -> None:
        self.folder = folder
        self.screen = Screen()
        self.notes = DeskNotes(self.screen)
        self.questions = Questions(self.screen)
        self.archive = Archive(folder)
        self.pictures: dict[str, tuple[str, bytes]] = {}  # id to media type and content
        self.stopping = threading.Event()  # ends work outside the machine's thread
        self.sheet = SheetDesk(folder, target.rig, self.screen, self.notes, self.archive)
        self.machine = DeskMachine(target, self.screen, self.notes, self.questions, self._changed)
        self.drawing = DrawingDesk(self.screen, self.machine, self.sheet.shelf, self.archive)
        self._first_target = target
        self._rigs: dict[str, Target] = {}
        self._changed(target)
        self.screen.put("task", None)
        self.screen.put("phone", None)

    def start(self) -> None:
        """Start all parts."""
        self.sheet.start()
        self.machine.start()

    def close(self) -> None:
        """Stop motion with the pen up, and shut everything down."""
        self.machine.close()
        self.sheet.close()

    @property
    def front(self) -> DeskFront:
        """The front of the wish that is being carried out."""
        front = self.machine.front
        assert front is not None, "a wish is being carried out"
        return front

    def show_task(self, name: str, doing: str, done: float | None = None, **more: Any) -> None:
        """Show the progress of a task of the machine."""
        self.screen.put("task", {**_NO_TASK, "name": name, "doing": doing, "done": done, **more})

    def end_task(self, error: dict[str, str]) -> None:
        """Show that a task of the machine has failed."""
        now = self.screen.get("task")
        if now is not None and now["done"] != 1.0:
            self.screen.put("task", {**now, "doing": "", "done": 1.0, "error": error})

    def keep_picture(self, media_type: str, content: bytes) -> str:
        """Keep a picture for the page; returns its id."""
        name = f"p{hashlib.sha256(content).hexdigest()[:16]}"
        self.pictures[name] = (media_type, content)
        while len(self.pictures) > PICTURES_HIGH:
            del self.pictures[next(iter(self.pictures))]
        return name

    def rig_changed(self) -> None:
        """The rig file has changed."""
        target = self.machine.target
        if target.rig_file is not None:
            from linewright.rig.rig import Rig

            self.machine.describe_rig(replace(target, rig=Rig.load(target.rig_file)))

    # Which machine

    def look_for_ports(self) -> None:
        """List the serial ports and ask each one whether a board answers."""
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
            # The connected board is known already; a greeting on its port would disturb it.
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
        """Ports that are always listed: the virtual rig, and the one named on the command line."""
        first = self._first_target.port
        words = {"board": "", "version": "", "rig": ""}
        listed = [{"port": VIRTUAL, "about": "the virtual rig: nothing real moves", **words}]
        if first != VIRTUAL and not first.startswith("serial:"):
            listed.append({"port": first, "about": "as named when the desk was opened", **words})
        return listed

    def connect(self, event: events.Connect) -> None:
        """Connect another machine, or the same one at another port.

        Raises
        ------
        InputError : there is no such port or rig.
        """
        known = {one["port"] for one in self.machine.ports}
        if event.port not in known:
            raise InputError(f"there is no port {event.port}", hint="look for ports again")
        target = self._rigs.get(event.rig or self.machine.rig_id)
        if target is None:
            raise InputError("there is no such rig", hint="choose one of those that are listed")
        target = replace(target, port=event.port, port_named=True, board="", unique="", meeting=None)
        self.machine.connect(target, real_time=event.real_time)

    def take_rig(self, upload: str) -> str:
        """Store an uploaded rig file; returns the rig's id.

        A file of the same name with other content is never replaced, because it may contain fits.

        Raises
        ------
        InputError : it is not a rig file.
        """
        from linewright.rig.rig import Rig

        sent = self.sheet.uploads.get(upload)
        content = sent.path.read_bytes()
        try:
            Rig.load(sent.path)
        except RigError as error:
            raise InputError(str(error).replace(str(sent.path), sent.name), hint=error.hint) from None
        return self._keep_rig(content, re.sub(r"[^\w-]+", "-", Path(sent.name).stem).strip("-")[:40] or "rig")

    def new_rig(self) -> str:
        """Keep a rig file of its own for a machine without one, as it is described now; returns the rig's id.

        Raises
        ------
        InputError : it has a file.
        """
        from linewright.rig.edit import changed_text
        from linewright.rig.rig import Rig

        target = self.machine.target
        if target.rig_file is not None:
            raise InputError("this machine has a file of its own already")
        own = {"name": NEW_RIG, **({"board": target.board} if target.board else {})}
        return self._keep_rig(changed_text(Rig.default_text(), own).encode(), NEW_RIG)

    def _keep_rig(self, content: bytes, stem: str) -> str:
        from linewright.tasks.results import write_file

        folder = self.folder / RIGS
        folder.mkdir(exist_ok=True)
        number, path = 1, folder / f"{stem}.toml"
        while path.exists() and path.read_bytes() != content:
            number += 1
            path = folder / f"{stem}-{number}.toml"
        if not path.exists():
            write_file(content, path)
        self._list_rigs(self.machine.target)
        self.machine.publish()
        return _rig_id(path)

    def _kept_rigs(self) -> list[Target]:
        """Stored rig files that can still be read."""
        from linewright.rig.rig import Rig

        found = []
        for path in sorted((self.folder / RIGS).glob("*.toml")):
            with contextlib.suppress(RigError):
                found.append(Target(Rig.load(path), path, rig_named=True))
        return found

    def _changed(self, target: Target) -> None:
        """Another machine was chosen, or its rig file has changed."""
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

        self._rigs = {}
        for one in (target, self._first_target, *targets.known(), *self._kept_rigs()):
            self._rigs.setdefault("default" if one.rig_file is None else _rig_id(one.rig_file), one)
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


def _rig_id(path: Path) -> str:
    return f"r-{hashlib.sha256(str(path.resolve()).encode()).hexdigest()[:16]}"


_NO_TASK: Final[dict[str, Any]] = {
    "name": "",
    "doing": "",
    "done": None,
    "rows": [],
    "steps": [],
    "step": None,
    "error": None,
}
