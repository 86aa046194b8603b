"""Serving the desk: listener, address, browser and shutdown."""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import tempfile
import time
import webbrowser
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from linewright.desk.app import DeskApp
from linewright.desk.guard import AccessGuard, Door
from linewright.desk.listening import DeskServer, config
from linewright.desk.phone import PhoneDoor
from linewright.desk.room import Room
from linewright.errors import InputError
from linewright.folders import state_folder
from linewright.system import locks

if TYPE_CHECKING:
    from linewright.tasks.target import Target

FOLDER: Final = "desk"
LOCK: Final = "lock"

SIGHT_S: Final = 1.5
"""A browser that is already open requests the page within a second."""


@dataclass(frozen=True)
class Opening:
    """How the desk is opened.

    Parameters
    ----------
    listen : ``HOST:PORT`` of this computer's loopback; port 0 takes a free one.
    browser : open the page in the browser.
    phone : photographs and progress may be served to the local network.
    """

    target: Target
    listen: str = "127.0.0.1:0"
    browser: bool = True
    phone: bool = False


def serve(opening: Opening, ready: Callable[[str], None]) -> None:
    """Serve the desk until a signal ends it.

    Parameters
    ----------
    ready : called with the address and its key once the server listens.

    Raises
    ------
    InputError : the address cannot be listened on, or another desk is open.
    """
    listener = _listener(opening.listen)
    with contextlib.closing(listener), _only_one(state_folder() / FOLDER):
        room = Room(state_folder() / FOLDER, opening.target)
        try:
            asyncio.run(_run(opening, listener, room, ready))
        finally:
            room.close()


async def _run(opening: Opening, listener: socket.socket, room: Room, ready: Callable[[str], None]) -> None:
    host, port = listener.getsockname()[:2]
    named = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    door = Door(frozenset({named}))
    app = DeskApp(room)
    server = DeskServer(config(AccessGuard(app.app, lambda: door)))
    serving = asyncio.create_task(server.serve(sockets=[listener]))
    try:
        while not server.started and not serving.done():
            await asyncio.sleep(0.005)
        if opening.phone:
            room.phone = PhoneDoor(room, asyncio.get_running_loop())
        address = f"http://{named}/?key={door.key}"
        ready(address)
        with _pointing_to(address) as file:
            if opening.browser:
                await asyncio.to_thread(webbrowser.open, file.as_uri())
            await _first_sight(room, serving)
            room.start()
            await serving
    finally:
        app.close()


def _listener(listen: str) -> socket.socket:
    """A socket that listens on the loopback interface.

    Raises
    ------
    InputError : the address is not a loopback address, or is in use.
    """
    host, _, port = listen.rpartition(":")
    host = host.strip("[]") or "127.0.0.1"
    if host not in ("127.0.0.1", "::1", "localhost") or not port.isdecimal() or int(port) > 65535:
        raise InputError(
            f"--listen {listen} is no address of this computer's loopback",
            hint="write 127.0.0.1:8000, or 127.0.0.1:0 for a free port; --phone serves the local network",
        )
    host = "127.0.0.1" if host == "localhost" else host
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # With the protocol named, asyncio turns Nagle's delay off: without, small messages wait up to 40 ms for each other.
    found = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind((host, int(port)))
        found.listen(64)
    except OSError as error:
        found.close()
        raise InputError(
            f"{listen} cannot be listened on: {error.strerror or error}", hint="name another port"
        ) from error
    return found


async def _first_sight(room: Room, serving: asyncio.Task[None]) -> None:
    """Wait until a page shows the sheet, because work started earlier would delay it."""
    until_s = time.monotonic() + SIGHT_S
    while not room.screen.names() and not serving.done() and time.monotonic() < until_s:
        await asyncio.sleep(0.02)


@contextlib.contextmanager
def _only_one(folder: Path) -> Iterator[None]:
    """Lock against a second desk, which would change the same sheet."""
    folder.mkdir(parents=True, exist_ok=True)
    folder.chmod(0o700)
    with (folder / LOCK).open("ab") as file:
        if not locks.hold(file.fileno()):
            raise InputError(
                "a desk is open already", hint="use its page, or end it with Ctrl-C in the terminal where it was opened"
            )
        yield


@contextlib.contextmanager
def _pointing_to(address: str) -> Iterator[Path]:
    """A private file that forwards to an address: a browser's command line is visible to all users of this computer,
    and the address holds the key.
    """
    with tempfile.TemporaryDirectory(prefix="linewright-desk-") as folder:
        path = Path(folder) / "desk.html"
        with os.fdopen(os.open(path, os.O_CREAT | os.O_WRONLY | os.O_EXCL, 0o600), "w", encoding="utf-8") as stream:
            stream.write(
                '<!doctype html><meta charset="utf-8"><title>Linewright</title>'
                f'<meta http-equiv="refresh" content="0; url={address}"><p><a href="{address}">The desk</a></p>'
            )
        yield path
