"""Remembered machines: the usual rig file, and the board and port where each machine was last found.

Boards are identified by their serial numbers, so a board is found again on another port. Only real boards are
remembered, because virtual rigs are created anew each time.
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from linewright.errors import InputError
from linewright.state_file import StateFile

KEPT: Final = 50
"""Most entries; the oldest is removed."""


@dataclass(frozen=True)
class Meeting:
    """A machine that was found on a port.

    Parameters
    ----------
    rig_file : its rig file, resolved.
    board : kind of board, as it reports.
    unique : its serial number, hexadecimal; empty if it has none.
    port : its port, as for ``--port``.
    when : UTC, ISO 8601.
    """

    rig_file: str
    board: str
    unique: str
    port: str
    when: str


@dataclass(frozen=True)
class Memory:
    """All remembered data.

    Parameters
    ----------
    usual : the default rig file; "" for none.
    met : one entry per rig file, newest last.
    same : pairs: a rig file made for a trial, and the rig file of the same machine.
    """

    usual: str = ""
    met: tuple[Meeting, ...] = ()
    same: Mapping[str, str] = field(default_factory=dict)

    def of(self, rig_file: Path) -> Meeting | None:
        """Where the machine of a rig file was last found."""
        name = str(rig_file.resolve())
        name = self.same.get(name, name)
        return next((one for one in reversed(self.met) if one.rig_file == name), None)


FILE: Final = StateFile("machines.json")


def memory() -> Memory:
    """The remembered data; empty if the file is missing or damaged."""
    said = FILE.read()
    try:
        met = tuple(
            Meeting(**{key: str(one[key]) for key in ("rig_file", "board", "unique", "port", "when")})
            for one in said["met"]
        )
        same = {str(name): str(other) for name, other in said["same"].items()}
        return Memory(str(said["usual"]), met, same)
    except (KeyError, TypeError, AttributeError):
        return Memory()


def usual() -> Path | None:
    """The default rig file."""
    name = memory().usual
    return Path(name) if name else None


def use(rig_file: Path | None) -> None:
    """Make a rig file the default; None: no default.

    Raises
    ------
    InputError : it cannot be saved.
    """
    _write(replace(memory(), usual="" if rig_file is None else str(rig_file.resolve())))


def describes(rig_file: Path, machine_of: Path) -> None:
    """Record that a rig file made for a trial describes the machine of another rig file."""
    known = memory()
    same = {name: other for name, other in known.same.items() if Path(name).exists()}
    with contextlib.suppress(InputError):
        _write(replace(known, same={**same, str(rig_file.resolve()): str(machine_of.resolve())}))


def met(rig_file: Path, *, board: str, unique: str, port: str) -> None:
    """Record the port of a rig file's machine. If it cannot be saved, ``--port`` is needed next time."""
    known = memory()
    name = str(rig_file.resolve())
    name = known.same.get(name, name)
    before = known.of(rig_file)
    if before is not None and (before.board, before.unique, before.port) == (board, unique, port):
        return
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    others = tuple(one for one in known.met if one.rig_file != name)
    with contextlib.suppress(InputError):
        _write(replace(known, met=(*others, Meeting(name, board, unique, port, now))[-KEPT:]))


def _write(known: Memory) -> None:
    said = {"usual": known.usual, "met": [asdict(one) for one in known.met], "same": dict(known.same)}
    FILE.write(said)
