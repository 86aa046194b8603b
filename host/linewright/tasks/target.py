"""Which machine a task is about: its rig file and its port.

A rig file and a port that are named win; without them it is the usual rig, on the port where its board was last met.
A rig file of a real board is never taken to the virtual rig unless the port names that: then it is a rehearsal, and is
called so.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from linewright.board.machines import Meeting
    from linewright.rig.rig import Rig

DEFAULT: Final = "default"
"""Value of ``--rig`` for the built-in rig, whichever rig is the usual one."""

VIRTUAL: Final = "virtual"


@dataclass(frozen=True)
class Target:
    """A machine.

    Parameters
    ----------
    rig : what its file says.
    rig_file : None: the default rig.
    port : where it is; "" for a command that needs none.
    rig_named : a command has to name the rig to mean it: it is not the usual one.
    port_named : the user has named the port with this command.
    meeting : where its board was met before; None: nowhere, or the port was named.
    board, unique : what the board has said of itself; empty before it was met.
    """

    rig: Rig
    rig_file: Path | None
    port: str = ""
    rig_named: bool = False
    port_named: bool = False
    meeting: Meeting | None = None
    board: str = ""
    unique: str = ""

    @property
    def on_virtual_rig(self) -> bool:
        """Whether nothing real moves, as far as is known."""
        return _is_virtual(self.port) or self.board == VIRTUAL

    @property
    def rehearses(self) -> bool:
        """Whether the machine of a real board is played on the virtual rig."""
        return self.on_virtual_rig and self.rig.board != VIRTUAL

    @property
    def name(self) -> str:
        """The machine, in words."""
        if self.rig_file is None:
            return "the default rig"
        return f"{self.rig.name} ({self.rig_file}{'' if self.rig_named else ', the usual rig'})"

    @property
    def words(self) -> str:
        """One line: which machine this is, and where."""
        if self.rehearses:
            at = "the virtual rig" if _is_virtual(self.port) else f"the virtual rig at {self.port}"
            return f"REHEARSAL of {self.name} on {at}: nothing real moves"
        if not self.port:
            return f"machine: {self.name}"
        return f"machine: {self.name} on {'the virtual rig' if _is_virtual(self.port) else self.port}"


def _is_virtual(port: str) -> bool:
    """Whether an address is that of the virtual rig, with options or without."""
    return port.partition(":")[0] == VIRTUAL


def of_rig(rig_file: Path | None) -> Target:
    """The machine of a task that needs no port.

    Parameters
    ----------
    rig_file : as named; None: the usual one, and if there is none the default rig.
    """
    from linewright.board import machines
    from linewright.errors import RigError
    from linewright.rig.rig import Rig

    usual = machines.usual()
    if rig_file is None:
        rig_file, named = usual, False
    elif str(rig_file) == DEFAULT and not rig_file.exists():
        rig_file, named = None, usual is not None
    else:
        named = usual is None or rig_file.resolve() != usual
    try:
        rig = Rig.default() if rig_file is None else Rig.load(rig_file)
    except RigError as error:
        if not named:
            error.hint = f"this is the usual rig; `linewright rig use FILE` names another. {error.hint}".strip()
        raise
    if rig_file is not None and not named:
        rig_file = _short(rig_file)
    return Target(rig, rig_file, rig_named=named)


def _short(path: Path) -> Path:
    """A path as it is seen from here."""
    try:
        return path.relative_to(Path.cwd())
    except ValueError:
        return path


def usual_file() -> Path | None:
    """The rig file that is meant where none is named."""
    from linewright.board import machines

    return machines.usual()


def known() -> list[Target]:
    """Every machine that there is to choose from: the usual one, those that were met, and the default rig.

    Rig files that have gone or cannot be read are left out.
    """
    from linewright.board import machines
    from linewright.errors import RigError
    from linewright.rig.rig import Rig

    memory = machines.memory()
    files = dict.fromkeys(filter(None, [memory.usual, *(one.rig_file for one in reversed(memory.met))]))
    found = []
    for file in map(Path, files):
        with contextlib.suppress(RigError):
            found.append(Target(Rig.load(file), file, rig_named=str(file) != memory.usual))
    return [*found, Target(Rig.default(), None)]


def at_port(target: Target, port: str | None, *, before: str = "") -> Target:
    """The machine of a task that needs its board.

    Parameters
    ----------
    target : from `of_rig`.
    port : as named; None: not named.
    before : where an earlier command of the same drawing found it; "" for none.

    Raises
    ------
    InputError : it is a real machine, and nobody knows its port.
    """
    from linewright.board import machines
    from linewright.errors import InputError

    if port is not None:
        return replace(target, port=port, port_named=True)
    if _is_virtual(before):
        return replace(target, port=before)
    if target.rig.board == VIRTUAL and not before:
        return replace(target, port=VIRTUAL)
    meeting = None if target.rig_file is None else machines.memory().of(target.rig_file)
    if meeting is not None:
        return replace(target, port=meeting.port, meeting=meeting)
    if before:
        return replace(target, port=before)
    raise InputError(
        f"no port is known for {target.name}, whose board is a real {target.rig.board}",
        hint="plug its board in, find it with `linewright ports`, and name it once with --port serial:PATH; "
        "to rehearse on the virtual rig, write --port virtual",
    )
