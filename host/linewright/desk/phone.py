"""Access for phones: a second listener on the local network, open while it is wanted.

It accepts photographs, and shows progress with a hold button. Its address is shown as a QR code, with a key that
expires when the listener closes.
"""

from __future__ import annotations

import asyncio
import io
import socket
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

from starlette.applications import Starlette
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from linewright.desk.app import page_file, taken_in
from linewright.desk.guard import AccessGuard, Door
from linewright.desk.listening import DeskServer, config
from linewright.desk.page_words import told
from linewright.errors import InputError, LinewrightError

if TYPE_CHECKING:
    from starlette.requests import Request

    from linewright.desk.holdings import Holdings

PAGE: Final = "phone.html"
RECEIVED_HIGH: Final = 20

ELSEWHERE: Final = ("192.0.2.1", 9)
"""A documentation address (RFC 5737): the route to it gives our local address, without sending anything."""


class PhoneDoor:
    """The second listener; call its methods from any thread except the event loop's.

    Parameters
    ----------
    loop : event loop of the desk.
    """

    def __init__(self, room: Holdings, loop: asyncio.AbstractEventLoop) -> None:
        self._room = room
        self._loop = loop
        self._server: DeskServer | None = None
        self._serving: asyncio.Task[None] | None = None
        self._received: list[dict[str, str]] = []
        self._shown: dict[str, Any] | None = None
        self._app = Starlette(
            routes=[
                Route("/", self.index),
                Route("/page/{name:path}", self.page),
                Route("/upload", self.upload, methods=["POST"]),
                Route("/progress", self.progress),
                Route("/hold", self.hold, methods=["POST"]),
            ]
        )

    def open(self) -> None:
        """Start listening, with a new key.

        Raises
        ------
        InputError : this computer has no network.
        """
        self.close()
        listener, host = _listener()
        door = Door(frozenset({host}))
        address = f"http://{host}/?key={door.key}"
        asyncio.run_coroutine_threadsafe(self._open(listener, lambda: door), self._loop).result(10.0)
        code = self._room.keep_picture("image/svg+xml", _code(address))
        self._received = []
        self._show({"address": address, "code": code, "received": []})

    def close(self) -> None:
        """Stop listening."""
        if self._server is not None:
            asyncio.run_coroutine_threadsafe(self._close(), self._loop).result(10.0)
        self._show(None)

    async def _open(self, listener: socket.socket, door: Callable[[], Door]) -> None:
        self._server = DeskServer(config(AccessGuard(self._app, door)), stops_on_signals=False)
        self._serving = asyncio.create_task(self._server.serve(sockets=[listener]))

    async def _close(self) -> None:
        if self._server is not None and self._serving is not None:
            self._server.should_exit = True
            self._server.force_exit = True
            await asyncio.wait([self._serving], timeout=5.0)
            self._server = self._serving = None

    def _show(self, new: dict[str, Any] | None) -> None:
        self._shown = new
        self._room.screen.put("phone", new)

    # Requests

    async def index(self, _request: Request) -> Response:
        """The phone's page."""
        return page_file(PAGE)

    async def page(self, request: Request) -> Response:
        """One of the page's files."""
        return page_file(request.path_params["name"])

    async def upload(self, request: Request) -> Response:
        """Receive a photograph."""
        answer, found = await taken_in(request, self._room.sheet.uploads)
        if found is not None and self._shown is not None:
            if found.kind != "photograph":
                refused = InputError("this is no photograph", hint="send other files from the desk itself")
                return JSONResponse({"error": told(refused)}, 415)
            self._received = [*self._received, {"upload": found.id, "name": found.name}][-RECEIVED_HIGH:]
            self._show({**self._shown, "received": self._received})
            self._room.notes.add("said", f"a photograph has come from the phone: {found.name}")
        return answer

    async def progress(self, _request: Request) -> Response:
        """Progress of the drawing."""
        drawing = self._room.screen.get("drawing")
        about = None if drawing is None else {key: drawing[key] for key in ("name", "state", "words", "ask")}
        rehearsal = self._room.screen.get("desk")["rehearsal"]
        return JSONResponse(
            {"drawing": about, "progress": self._room.screen.get("progress"), "rehearsal": rehearsal},
            headers={"cache-control": "no-store"},
        )

    async def hold(self, _request: Request) -> Response:
        """Stop smoothly, pen up."""
        try:
            self._room.drawing.hold()
        except LinewrightError as error:
            return JSONResponse({"error": told(error)}, 409)
        return JSONResponse({"ok": True})


def _listener() -> tuple[socket.socket, str]:
    """A socket on this computer's address in the local network, and ``ADDRESS:PORT``."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(ELSEWHERE)
            address = probe.getsockname()[0]
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)  # see `server`
        found.bind((address, 0))
        found.listen(16)
    except OSError as error:
        raise InputError(
            f"this computer is in no network: {error.strerror or error}", hint="join the one that the phone is in"
        ) from error
    return found, f"{address}:{found.getsockname()[1]}"


def _code(address: str) -> bytes:
    """An address as a QR code (ISO/IEC 18004), SVG."""
    import segno

    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", scale=4, border=4, dark="#000", light="#fff")
    return out.getvalue()
