"""Sessions with a machine: opened, searched on other ports, and identified by the board."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import replace
from typing import TYPE_CHECKING

from linewright.tasks.target import Target

if TYPE_CHECKING:
    from linewright.board.session import Session
    from linewright.board.transport import Transport
    from linewright.tasks.front import Front


_held: ContextVar[tuple[Session, Target] | None] = ContextVar("held", default=None)
"""The session that this thread keeps open between tasks."""


@contextmanager
def holding(target: Target, front: Front) -> Iterator[tuple[Session, Target]]:
    """Like `connected`; until the block ends, tasks of this thread for the same port use this session."""
    with connected(target, front) as (session, met):
        before = _held.set((session, met))
        try:
            yield session, met
        finally:
            _held.reset(before)


@contextmanager
def connected(
    target: Target, front: Front, *, met: bool = True, silent: bool = False
) -> Iterator[tuple[Session, Target]]:
    """Context manager: a session with the machine, before its settings are sent, and the target with the board's
    identity.

    A known board that is not on its port is searched on the other ports.

    Parameters
    ----------
    front : receives remarks.
    met : greet the board, and remember its port. False: only open the port.
    silent : a board that does not answer is no error here; the caller handles it.

    Raises
    ------
    PortError, NoAnswer, Mismatch : as from the transport and the session.
    """
    from linewright.board.session import Session
    from linewright.errors import NoAnswer
    from linewright.virtual.port import VirtualTransport

    held = _held.get()
    if held is not None and held[1].port == target.port:
        session, known = held
        if session.rig != target.rig:
            session.use(target.rig)
        yield session, replace(target, board=known.board, unique=known.unique)
        return
    transport, target = _opened(target)
    try:
        session = Session(transport, target.rig)
        if met and not isinstance(transport, VirtualTransport):
            try:
                target = _met(session, target, front)
            except NoAnswer:
                if not silent:
                    raise
        front.machine(target)
        yield session, target
    finally:
        if isinstance(transport, VirtualTransport):
            transport.discard()
        else:
            transport.close()


def _opened(target: Target) -> tuple[Transport, Target]:
    from linewright.board import ports
    from linewright.errors import PortBusy, PortError
    from linewright.virtual.port import open_transport

    known = target.meeting
    if known is not None and known.unique:
        # Port names are reassigned: the board may be on another port, and another board on this one.
        by_plug = [seen.port for seen in ports.listed() if seen.serial_number == known.unique]
        if by_plug and known.port not in by_plug:
            target = replace(target, port=by_plug[0])
    try:
        return open_transport(target.port, rig=target.rig), target
    except PortBusy:
        raise  # the right board is on this port
    except PortError as error:
        found = ports.port_of(known.unique) if known is not None and known.unique else None
        if found is None or found == target.port:
            if known is not None:
                error.hint = (
                    f"{target.name} last answered there; plug its board in, or name its port with --port "
                    "(`linewright ports` lists the ports with a board)"
                )
            raise
        target = replace(target, port=found)
        return open_transport(found, rig=target.rig), target


def _met(session: Session, target: Target, front: Front) -> Target:
    """Greet the board, compare it with the remembered one, and remember it."""
    from linewright.board import machines
    from linewright.errors import InputError

    greeting = session.hello()
    unique = session.unique_id() if greeting.same_code else ""
    known = target.meeting
    if known is not None and known.unique and unique and unique != known.unique:
        raise InputError(
            f"on {target.port} answers another board ({greeting.board} {unique}) than the one of {target.name}, "
            f"{known.board} {known.unique}",
            hint="plug in the right board; if this board drives the machine now, name its port once with --port",
        )
    rehearsed_before = target.rehearses
    target = replace(target, board=greeting.board, unique=unique)
    if target.rehearses and not rehearsed_before:
        front.say(target.words)
    elif known is not None and known.port != target.port:
        front.note(f"the board of {target.name} is on {target.port} now")
    if target.rig_file is not None and not target.on_virtual_rig:
        machines.met(target.rig_file, board=greeting.board, unique=unique, port=target.port)
    return target
