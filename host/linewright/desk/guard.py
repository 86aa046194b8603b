"""Access control: every request and the WebSocket pass here first.

The printed address holds a 192-bit key, which is exchanged for a cookie that scripts cannot read and other sites do not
send. The Host header of a request, and its Origin if present, must be the listening address itself; so a foreign domain
name that resolves to this computer is rejected.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

KEY_BYTES: Final = 24

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

HEADERS: Final = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)

_ENTERED: Final = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><title>Linewright</title>'
    '<meta http-equiv="refresh" content="0; url=/"><p><a href="/">The desk</a></p></html>'
)
_REFUSED: Final = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><title>Linewright</title>'
    "<p>This is the address of a desk, without its key. Open the whole address that <code>linewright desk</code> has "
    "printed.</p></html>"
)


@dataclass(frozen=True)
class Door:
    """A listening address, with its key and cookie.

    Parameters
    ----------
    host : the required Host header, ``127.0.0.1:PORT``; a set if the computer has several addresses.
    key : key in the printed address.
    token : value of the cookie.
    """

    hosts: frozenset[str]
    key: str = field(default_factory=lambda: secrets.token_urlsafe(KEY_BYTES), repr=False)
    token: str = field(default_factory=lambda: secrets.token_urlsafe(KEY_BYTES), repr=False)

    @property
    def cookie(self) -> str:
        """Name of the cookie, different per port: browsers share cookies between all ports of a computer."""
        return f"linewright-desk-{next(iter(self.hosts)).rpartition(':')[2]}"


class AccessGuard:
    """ASGI middleware that admits requests with the key or the cookie.

    Parameters
    ----------
    app : the protected application.
    door : of this listener; None while its port is unknown.
    """

    def __init__(self, app: App, door: Callable[[], Door]) -> None:
        self._app = app
        self._door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or pass on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        door = self._door()
        headers: list[tuple[bytes, bytes]] = scope["headers"]
        named = _all(headers, b"host")
        if len(named) != 1 or named[0] not in door.hosts:
            await _refuse(scope, receive, send)
            return
        if scope["type"] == "http" and scope["path"] == "/" and (given := _key(scope)) is not None:
            if hmac.compare_digest(given.encode(), door.key.encode()):
                await _enter(door, send)
            else:
                await _refuse(scope, receive, send)
            return
        if not _own_origin(scope, headers, named[0]) or not _has_cookie(headers, door):
            await _refuse(scope, receive, send)
            return

        async def sealed(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", ()), *HEADERS]}
            await send(message)

        await self._app(scope, receive, sealed)


def _all(headers: list[tuple[bytes, bytes]], name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in headers if key == name]


def _key(scope: Scope) -> str | None:
    given = parse_qs(scope["query_string"].decode("latin-1")).get("key")
    return given[0] if given else None


def _own_origin(scope: Scope, headers: list[tuple[bytes, bytes]], host: str) -> bool:
    """Whether a request comes from our own page. Only a plain GET may lack an Origin."""
    origins, sites = _all(headers, b"origin"), _all(headers, b"sec-fetch-site")
    if any(origin != f"http://{host}" for origin in origins) or any(s not in ("same-origin", "none") for s in sites):
        return False
    asks_only = scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
    return asks_only or len(origins) == 1


def _has_cookie(headers: list[tuple[bytes, bytes]], door: Door) -> bool:
    for line in _all(headers, b"cookie"):
        try:
            morsel = SimpleCookie(line).get(door.cookie)
        except CookieError:
            continue
        if morsel is not None and hmac.compare_digest(morsel.value.encode(), door.token.encode()):
            return True
    return False


async def _enter(door: Door, send: Send) -> None:
    # A page that forwards, not a redirect: for a link opened from another site, browsers would not send the cookie
    # after a redirect.
    cookie = f"{door.cookie}={door.token}; HttpOnly; SameSite=Strict; Path=/"
    headers = [(b"set-cookie", cookie.encode()), (b"cache-control", b"no-store")]
    await _page(send, 200, _ENTERED, headers)


async def _refuse(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})
        return
    await _page(send, 403, _REFUSED, [(b"connection", b"close")])


async def _page(send: Send, status: int, text: str, headers: list[tuple[bytes, bytes]]) -> None:
    body = text.encode()
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [
                (b"content-type", b"text/html; charset=utf-8"),
                (b"content-length", str(len(body)).encode()),
                *headers,
                *HEADERS,
            ],
        }
    )
    await send({"type": "http.response.body", "body": body})
