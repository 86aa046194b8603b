"""Bring-up: `linewright.bringup` over a port, with notebook and rig file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.tasks import cautions
from linewright.tasks.connection import connected
from linewright.tasks.results import write_file
from linewright.tasks.target import VIRTUAL

if TYPE_CHECKING:
    from linewright.bringup.dialogue import Walked
    from linewright.bringup.hands import Hands
    from linewright.bringup.onlooker import Onlooker
    from linewright.bringup.talk import Person
    from linewright.rig.rig import Rig
    from linewright.tasks.front import Front
    from linewright.tasks.target import Target


@dataclass(frozen=True)
class BringUpTask:
    """Options of bring-up.

    Parameters
    ----------
    start : the first step; None: where it was left.
    start_over : delete earlier results.
    show_me : on the virtual rig, the simulated user answers all questions.
    """

    target: Target
    start: str | None = None
    start_over: bool = False
    show_me: bool = False

    def check(self) -> None:
        """Refuse contradicting options.

        Raises
        ------
        InputError : ``show_me`` with a real machine, or a real machine without a rig file.
        """
        from linewright.errors import InputError

        port = self.target.port
        if self.show_me and not port.startswith(VIRTUAL):
            raise InputError(
                "--show-me needs a virtual rig", hint="at a real machine you answer the questions yourself"
            )
        if port.startswith("serial:") and self.target.rig_file is None:
            raise InputError(
                "bring-up needs the rig file of your machine: --rig rig.toml",
                hint="`linewright rig new` asks about your machine and writes one",
            )


@dataclass(frozen=True)
class BroughtUp:
    """Result of a bring-up.

    Parameters
    ----------
    target : the machine, with its board's identity.
    walked : the steps and their results.
    hands : the corrections, and the copy of the earlier rig file.
    """

    target: Target
    walked: Walked
    hands: Hands


def bring_up(
    task: BringUpTask, front: Front, person: Callable[[Onlooker | None, Callable[[], object]], Person]
) -> BroughtUp:
    """Run the steps.

    Parameters
    ----------
    person : creates the `Person` from the `Onlooker` (None on a real machine) and a function that serves the link, to
        be called every few tenths of a second while the user thinks.

    Raises
    ------
    EOFError : end of input; the machine is at rest, pen up, motors off.
    """
    from linewright.bringup.dialogue import Dialogue
    from linewright.bringup.hands import Hands
    from linewright.bringup.notebook import Notebook, machine_key
    from linewright.bringup.onlooker import Onlooker
    from linewright.bringup.steps import STEPS
    from linewright.rig.rig import Rig
    from linewright.virtual.bystander import BesideProcess
    from linewright.virtual.port import VirtualTransport

    task.check()
    with connected(task.target, front, silent=True) as (session, at):
        cautions.remember(at.port)
        notebook = Notebook(lambda: machine_key(session, at.port, at.rig_file))
        earlier = not task.start_over and notebook.read(_rig_of_notes(at, task.show_me))
        if task.start_over:
            notebook.forget()
        file = _file_to_correct(at, task.show_me, anew=not earlier)
        rig = at.rig if file is None or file == at.rig_file else Rig.load(file)
        session.use(rig)
        hands = Hands(session, rig, file)
        onlooker = None
        if isinstance(session.link, VirtualTransport):
            onlooker = Onlooker(BesideProcess(session.link.rig), rig)
        asked = person(onlooker, hands.keep_alive)
        if file is not None and file != at.rig_file:
            asked.hear(
                "plain", f"This is a simulation: corrections go into the copy {file}; {at.rig_file} stays unchanged."
            )
        if earlier:
            asked.hear("plain", f"Continuing the bring-up of {notebook.when} UTC; --start-over begins again.")
        return BroughtUp(at, Dialogue(STEPS, hands, asked, notebook).walk(task.start), hands)


def _copy_of(rig_file: Path) -> Path:
    """The rig file to which a simulation writes."""
    return rig_file.with_name(f"{rig_file.stem}.rehearsal{rig_file.suffix}")


def _rig_of_notes(at: Target, show_me: bool) -> Rig:
    """The rig with which a bring-up was left; for a simulation, that of its corrected copy."""
    from linewright.rig.rig import Rig

    if at.rig_file is not None and (at.rehearses or show_me) and _copy_of(at.rig_file).exists():
        return Rig.load(_copy_of(at.rig_file))
    return at.rig


def _file_to_correct(at: Target, show_me: bool, *, anew: bool) -> Path | None:
    """The file for corrections: the machine's own, or a copy for a simulation; None if the rig has no file."""
    if at.rig_file is None or not (at.rehearses or show_me):
        return at.rig_file
    copy = _copy_of(at.rig_file)
    if anew or not copy.exists():
        write_file(at.rig_file.read_bytes(), copy, over=True)
    return copy
