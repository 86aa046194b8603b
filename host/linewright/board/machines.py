"""What is remembered of machines: which rig file is the usual one, and on which board and port each was last met.

A board is known by the serial number that it was made with, so it is found again on whatever port it answers. Only real
boards are remembered; a virtual rig is made anew each time.
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
"""Meetings that are kept; the oldest goes. Nobody has that many machines."""


@dataclass(frozen=True)
class Meeting:
    """A machine was found on a port.

    Parameters
    ----------
    rig_file : its rig file, resolved.
    board : kind of board, as it says of itself.
    unique : its serial number, hexadecimal; empty where it has none.
    port : where it answered, as for ``--port``.
    when : UTC, ISO 8601.
    """

    rig_file: str
    board: str
    unique: str
    port: str
    when: str


@dataclass(frozen=True)
class Memory:
    """Everything that is remembered.

    Parameters
    ----------
    usual : the rig file that is meant where none is named; "" for none.
    met : one meeting for each rig file, the newest last.
    same : rig files of ours that describe the machine of another one, and that one.
    """

    usual: str = ""
    met: tuple[Meeting, ...] = ()
    same: Mapping[str, str] = field(default_factory=dict)

    def of(self, rig_file: Path) -> Meeting | None:
        """Where the machine of a rig file was last met."""
        name = str(rig_file.resolve())
        name = self.same.get(name, name)
        return next((one for one in reversed(self.met) if one.rig_file == name), None)


FILE: Final = StateFile("machines.json")


def memory() -> Memory:
    """What is remembered; nothing where the file is missing or damaged."""
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
    """The rig file that is meant where none is named."""
    name = memory().usual
    return Path(name) if name else None


def use(rig_file: Path | None) -> None:
    """Make a rig file the usual one; None: none is.

    Raises
    ------
    InputError : that cannot be written down.
    """
    _write(replace(memory(), usual="" if rig_file is None else str(rig_file.resolve())))


def describes(rig_file: Path, machine_of: Path) -> None:
    """A rig file that was made for one trial describes the machine of another rig file."""
    known = memory()
    same = {name: other for name, other in known.same.items() if Path(name).exists()}
    with contextlib.suppress(InputError):
        _write(replace(known, same={**same, str(rig_file.resolve()): str(machine_of.resolve())}))


def met(rig_file: Path, *, board: str, unique: str, port: str) -> None:
    """The machine of a rig file has answered on a port. Where that cannot be kept, ``--port`` is needed next time."""
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
