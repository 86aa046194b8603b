"""HTTP and WebSocket routes of the desk, without logic of their own; see the table in docs/DESK.md."""

from __future__ import annotations

import asyncio
import json
import re
import sys
import traceback
from concurrent.futures import ThreadPoolExecutor
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from starlette.applications import Starlette
from starlette.responses import JSONResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocketDisconnect

from linewright.desk import events
from linewright.desk.page_words import told
from linewright.desk.uploads import TooLarge, Unknown
from linewright.errors import InputError, LinewrightError

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.websockets import WebSocket

    from linewright.desk.room import Room
    from linewright.desk.screen import Window
    from linewright.desk.uploads import Upload, Uploads

TYPES: Final = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
    ".json": "application/json",
}
"""Media types of the page's files, by suffix."""

BEAT_S: Final = 5.0
"""Interval of the keep-alive messages to a page."""

WORDS_HIGH: Final = 200


class DeskApp:
    """Routes of a `Room`."""

    def __init__(self, room: Room) -> None:
        self._room = room
        # One thread makes all changes of the sheet, so that they are ordered and do not block serving the page.
        self._hands = ThreadPoolExecutor(1, thread_name_prefix="desk hands")
        self._urgent = ThreadPoolExecutor(2, thread_name_prefix="desk urgent")
        self.app = Starlette(
            routes=[
                Route("/", self.index),
                Route("/page/{name:path}", self.page),
                Route("/upload", self.upload, methods=["POST"]),
                Route("/geometry/{name}", self.geometry),
                Route("/photo/{name}", self.photo),
                Route("/picture/{name}", self.picture),
                WebSocketRoute("/socket", self.socket),
            ]
        )

    def close(self) -> None:
        """Shut the threads down."""
        self._hands.shutdown(wait=False, cancel_futures=True)
        self._urgent.shutdown(wait=False, cancel_futures=True)

    # Files of the page

    async def index(self, _request: Request) -> Response:
        """The page."""
        return page_file("index.html")

    async def page(self, request: Request) -> Response:
        """One of the page's files."""
        return page_file(request.path_params["name"])

    # Uploads and downloads

    async def upload(self, request: Request) -> Response:
        """Receive an uploaded file."""
        return (await taken_in(request, self._room.sheet.uploads))[0]

    async def geometry(self, request: Request) -> Response:
        """Strokes, packed as bytes."""
        name = request.path_params["name"]
        data = self._room.sheet.shelf.get(name)
        if data is None and name.startswith("d"):
            try:
                data = await asyncio.to_thread(self._room.archive.geometry, name, self._room.machine.target.rig)
            except InputError:
                data = None
        if data is None:
            return _nothing()
        return Response(data, media_type="application/octet-stream", headers={"cache-control": "private, max-age=3600"})

    async def photo(self, request: Request) -> Response:
        """An uploaded photograph, reduced."""
        try:
            upload = self._room.sheet.uploads.get(request.path_params["name"])
            data = await asyncio.to_thread(_small, str(upload.path))
        except InputError as error:
            return JSONResponse({"error": told(error)}, 404)
        return Response(data, media_type="image/jpeg", headers={"cache-control": "private, max-age=3600"})

    async def picture(self, request: Request) -> Response:
        """A picture made by the desk."""
        found = self._room.pictures.get(request.path_params["name"].partition(".")[0])
        if found is None:
            return _nothing()
        return Response(found[1], media_type=found[0], headers={"cache-control": "private, max-age=3600"})

    # The socket

    async def socket(self, socket: WebSocket) -> None:
        """One page's connection: sends news, receives events."""
        await socket.accept()
        asked = socket.query_params.get("window")
        window = self._room.opened(asked if asked and re.fullmatch(r"w[0-9]{1,6}", asked) else None)
        sending = asyncio.Lock()
        news = asyncio.create_task(self._tell(socket, window, sending))
        try:
            while True:
                text = await socket.receive_text()
                await self._hear(socket, window, sending, text)
        except (WebSocketDisconnect, KeyError, RuntimeError):
            pass  # the page has gone
        finally:
            news.cancel()
            self._room.closed(window)

    async def _tell(self, socket: WebSocket, window: Window, sending: asyncio.Lock) -> None:
        while True:
            try:
                async with asyncio.timeout(BEAT_S):
                    await window.news()
                said: dict[str, Any] = {"set": self._room.news(window)}
            except TimeoutError:
                said = {"beat": 1}
            try:
                await _send(socket, sending, said)
            except (WebSocketDisconnect, RuntimeError):
                return

    async def _hear(self, socket: WebSocket, window: Window, sending: asyncio.Lock, text: str) -> None:
        number: object = None
        try:
            try:
                said = json.loads(text)
            except (ValueError, RecursionError):
                raise InputError("that is no event") from None
            if isinstance(said, dict) and isinstance(said.get("id"), int | str):
                number = said["id"]
            number, name, event = events.read(said)
            threads = self._urgent if self._room.is_urgent(name) else self._hands
            loop = asyncio.get_running_loop()
            found = await loop.run_in_executor(threads, self._room.handle, window.name, name, event)
            answer: dict[str, Any] = {"re": number, "ok": True, **found}
        except LinewrightError as error:
            answer = {"re": number, "ok": False, "error": told(error)}
        except Exception as error:
            # A bug fails this event, but does not stop the drawing.
            traceback.print_exc(file=sys.stderr)
            words = f"this is a bug in Linewright: {type(error).__name__}: {error}"
            answer = {"re": number, "ok": False, "error": {"text": words, "hint": "please report it"}}
        await _send(socket, sending, answer)


async def _send(socket: WebSocket, sending: asyncio.Lock, said: dict[str, Any]) -> None:
    async with sending:
        await socket.send_text(json.dumps(said, ensure_ascii=False, allow_nan=False))


def page_file(name: str) -> Response:
    """A file of the page."""
    suffix = name[name.rfind(".") :] if "." in name else ""
    # Only plain names, so that a path cannot leave the folder.
    if suffix not in TYPES or not re.fullmatch(r"(?:[a-z0-9_-]+/)*[a-z0-9_.-]+", name) or ".." in name:
        return _nothing()
    found = files("linewright.desk") / "page" / name
    if not found.is_file():
        return _nothing()
    return Response(found.read_bytes(), media_type=TYPES[suffix], headers={"cache-control": "no-cache"})


async def taken_in(request: Request, uploads: Uploads) -> tuple[Response, Upload | None]:
    """Receive a file; returns the response, and the upload if accepted."""
    stated = request.headers.get("content-length")
    length = int(stated) if stated is not None and stated.isdecimal() else None
    name = request.query_params.get("name", "")[:WORDS_HIGH]
    try:
        found = await uploads.receive(name, request.stream(), length)
    except InputError as error:
        status = 413 if isinstance(error, TooLarge) else 415 if isinstance(error, Unknown) else 400
        # The rest of the body is not read, so the connection must be closed.
        return JSONResponse({"error": told(error)}, status, {"connection": "close"}), None
    about = {"upload": found.id, "kind": found.kind, "name": found.name, "format": found.format}
    return JSONResponse({**about, "bytes": found.path.stat().st_size}), found


def _nothing() -> Response:
    return Response("There is nothing here.", 404, media_type="text/plain")


PHOTO_PX: Final = 1024


def _small(path: str) -> bytes:
    """A photograph as JPEG of at most `PHOTO_PX`, read by the reader that is also used for drawing."""
    import io

    import numpy as np
    from PIL import Image

    from linewright.sources import photograph

    taken = photograph.load(path)
    image = Image.fromarray(np.rint(taken.rgb * 255.0).astype(np.uint8))
    image.thumbnail((PHOTO_PX, PHOTO_PX))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=85)
    return out.getvalue()
