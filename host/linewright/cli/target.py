"""Which machine a command is about: its rig file, its port, and the one line that says so.

``--rig`` and ``--port`` win; without them it is the usual rig, on the port where its board was last met. A rig file of
a real board is never taken to the virtual rig unless ``--port`` names that: then it is a rehearsal, and is called so.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from linewright.cli import output

if TYPE_CHECKING:
    from linewright.board.machines import Meeting
    from linewright.board.session import Session
    from linewright.board.transport import Transport
    from linewright.rig.rig import Rig

DEFAULT: Final = "default"
"""As ``--rig``: the rig that needs no file, whichever rig is the usual one."""

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
        return self.port.partition(":")[0] == VIRTUAL or self.board == VIRTUAL

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

    def say(self) -> None:
        """One line on the screen: which machine this is about, and where."""
        if self.rehearses:
            at = "the virtual rig" if self.port.startswith(VIRTUAL) else f"the virtual rig at {self.port}"
            output.say(f"REHEARSAL of {self.name} on {at}: nothing real moves", stderr=True)
        elif not self.port:
            output.say(f"machine: {self.name}", stderr=True)
        else:
            at = "the virtual rig" if self.port == VIRTUAL else self.port
            output.say(f"machine: {self.name} on {at}", stderr=True)


_now: Target | None = None


def current() -> Target | None:
    """The machine that this command is about; None: it has not said yet, or is about none."""
    return _now


def forget() -> None:
    """A new command begins."""
    global _now
    _now = None


def _is(target: Target) -> Target:
    global _now
    _now = target
    return target


def of_rig(rig_file: Path | None, *, said: bool = False) -> Target:
    """The machine of a command that needs no port.

    Parameters
    ----------
    rig_file : as named; None: the usual one, and if there is none the default rig.
    said : say which it is; not with ``--json``.
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
    target = _is(Target(rig, rig_file, rig_named=named))
    if said:
        target.say()
    return target


def _short(path: Path) -> Path:
    """A path as it is seen from here."""
    try:
        return path.relative_to(Path.cwd())
    except ValueError:
        return path


def aim(rig_file: Path | None, port: str | None, *, said: bool = True, before: str = "") -> Target:
    """The machine of a command that needs its board.

    Parameters
    ----------
    rig_file, port : as named; None: not named.
    said : say which machine it is.
    before : where an earlier command of the same drawing found it; "" for none.

    Raises
    ------
    InputError : it is a real machine, and nobody knows its port.
    """
    from linewright.board import machines
    from linewright.errors import InputError

    target = of_rig(rig_file)
    if port is not None:
        target = replace(target, port=port, port_named=True)
    elif before.partition(":")[0] == VIRTUAL:
        target = replace(target, port=before)
    elif target.rig.board == VIRTUAL and not before:
        target = replace(target, port=VIRTUAL)
    else:
        meeting = None if target.rig_file is None else machines.memory().of(target.rig_file)
        if meeting is not None:
            target = replace(target, port=meeting.port, meeting=meeting)
        elif before:
            target = replace(target, port=before)
        else:
            raise InputError(
                f"no port is known for {target.name}, whose board is a real {target.rig.board}",
                hint="plug its board in, find it with `linewright ports`, and name it once with --port serial:PATH; "
                "to rehearse on the virtual rig, write --port virtual",
            )
    _is(target)
    if said:
        target.say()
    return target


@contextmanager
def connected(
    target: Target, *, said: bool = True, met: bool = True, silent: bool = False
) -> Iterator[tuple[Session, Target]]:
    """A session with the machine, not told its rig yet; and the target with what its board has said.

    A board that is remembered is looked for on the other ports if it is not where it was.

    Parameters
    ----------
    said : say what was found out on the way.
    met : ask the board who it is, and remember where it was met. False: open the port, and ask nothing.
    silent : a board that does not answer is no error here; what follows says what to do about it.

    Raises
    ------
    PortError, NoAnswer, Mismatch : as from the transport and the session.
    """
    from linewright.board.session import Session
    from linewright.errors import NoAnswer
    from linewright.virtual.port import VirtualTransport

    transport, target = _opened(target)
    try:
        session = Session(transport, target.rig)
        if met and not isinstance(transport, VirtualTransport):
            try:
                target = _met(session, target, said=said)
            except NoAnswer:
                if not silent:
                    raise
        yield session, _is(target)
    finally:
        if isinstance(transport, VirtualTransport):
            transport.discard()
        else:
            transport.close()


def _opened(target: Target) -> tuple[Transport, Target]:
    from linewright.board import ports
    from linewright.errors import PortError
    from linewright.virtual.port import open_transport

    known = target.meeting
    if known is not None and known.unique:
        # Port names change hands: the board that is meant may be on another one, and another board on its own.
        by_plug = [seen.port for seen in ports.listed() if seen.serial_number == known.unique]
        if by_plug and known.port not in by_plug:
            target = replace(target, port=by_plug[0])
    try:
        return open_transport(target.port, rig=target.rig), target
    except PortError as error:
        found = ports.port_of(known.unique) if known is not None and known.unique else None
        if found is None or found == target.port:
            if known is not None:
                error.hint = (
                    f"{target.name} was last met there; plug its board in, or name its port with --port "
                    "(`linewright ports` lists what answers where)"
                )
            raise
        target = replace(target, port=found)
        return open_transport(found, rig=target.rig), target


def _met(session: Session, target: Target, *, said: bool) -> Target:
    """Hear who the board is, compare with what is remembered, and remember it."""
    from linewright.board import machines
    from linewright.errors import InputError

    greeting = session.hello()
    unique = session.unique_id() if greeting.same_code else ""
    known = target.meeting
    if known is not None and known.unique and unique and unique != known.unique:
        raise InputError(
            f"on {target.port} answers another board ({greeting.board} {unique}) than the one of {target.name}, "
            f"{known.board} {known.unique}",
            hint="plug the right one in; if this one drives the machine now, name its port once with --port",
        )
    rehearsed_before = target.rehearses
    target = replace(target, board=greeting.board, unique=unique)
    if target.rehearses and not rehearsed_before and said:
        target.say()
    elif known is not None and known.port != target.port and said:
        output.warn(f"the board of {target.name} is on {target.port} now")
    if target.rig_file is not None and not target.on_virtual_rig:
        machines.met(target.rig_file, board=greeting.board, unique=unique, port=target.port)
    return target
