"""The machine of a task: rig file and port.

A named rig file and port are used; otherwise the usual rig, on the port where its board was last found. The rig file of
a real board is used with the virtual rig only if that port is named; this is called a simulation.
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
"""Value of ``--rig`` for the built-in rig."""

VIRTUAL: Final = "virtual"


@dataclass(frozen=True)
class Target:
    """A machine.

    Parameters
    ----------
    rig : the rig of its file.
    rig_file : None: the default rig.
    port : its port; "" if none is needed.
    rig_named : the rig is not the usual one, so commands have to name it.
    port_named : the user has named the port.
    meeting : where its board was last found; None: unknown, or the port was named.
    board, unique : kind and serial number of the board; empty before its greeting.
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
        """Whether the machine is virtual, as far as known."""
        return _is_virtual(self.port) or self.board == VIRTUAL

    @property
    def rehearses(self) -> bool:
        """Whether the rig of a real board runs on the virtual rig."""
        return self.on_virtual_rig and self.rig.board != VIRTUAL

    @property
    def name(self) -> str:
        """The machine in words."""
        if self.rig_file is None:
            return "the default rig"
        return f"{self.rig.name} ({self.rig_file}{'' if self.rig_named else ', the usual rig'})"

    @property
    def words(self) -> str:
        """One line: machine and port."""
        if self.rehearses:
            at = "the virtual rig" if _is_virtual(self.port) else f"the virtual rig at {self.port}"
            return f"SIMULATION of {self.name} on {at}: nothing real moves"
        if not self.port:
            return f"machine: {self.name}"
        return f"machine: {self.name} on {'the virtual rig' if _is_virtual(self.port) else self.port}"


def _is_virtual(port: str) -> bool:
    """Whether a port is the virtual rig, with or without options."""
    return port.partition(":")[0] == VIRTUAL


def of_rig(rig_file: Path | None) -> Target:
    """The machine of a task that needs no port.

    Parameters
    ----------
    rig_file : as given; None: the usual one, or the default rig if there is none.
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
    """A path relative to the current folder."""
    try:
        return path.relative_to(Path.cwd())
    except ValueError:
        return path


def usual_file() -> Path | None:
    """The rig file used if none is named."""
    from linewright.board import machines

    return machines.usual()


def known() -> list[Target]:
    """All machines to choose from: the usual one, remembered ones, and the default rig.

    Missing and unreadable rig files are left out.
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
    port : as given; None: not given.
    before : port in an earlier command of the same drawing; "" for none.

    Raises
    ------
    InputError : it is a real machine, and its port is unknown.
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
        f"no port is known for {target.name}, whose board is a {target.rig.board}",
        hint="plug its board in, find its port with `linewright ports`, and name it once with --port serial:PATH; to "
        "simulate on the virtual rig, add --port virtual",
    )
