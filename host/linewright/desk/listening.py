"""How the desk listens: HTTP and WebSocket as uvicorn speaks them, for peers that say what they want in time."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Iterator
from typing import Any, Final

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from linewright.system import signals

MESSAGE_HIGH_BYTES: Final = 1_000_000
"""Largest event: the longest text that an item may hold is a fiftieth of that."""

HEAD_S: Final = 10.0
"""Whoever opens a connection sends the head of a request within so long, or is closed: nobody keeps places taken."""

AT_ONCE: Final = 200
"""Connections; a page takes seven at most."""

STOP_S: Final = 3
"""What is being sent may go on for so long when the desk is closed."""


class PatientH11(H11Protocol):
    """HTTP as uvicorn speaks it, for peers that say what they want in time."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as the class has it
        """See `asyncio.Protocol`."""
        super().connection_made(transport)
        self._head_timer = self.loop.call_later(HEAD_S, self._too_slow)

    def connection_lost(self, exc: Exception | None) -> None:
        """See `asyncio.Protocol`."""
        self._head_timer.cancel()
        super().connection_lost(exc)

    def handle_websocket_upgrade(self, event: Any) -> None:
        """No time limit here: a WebSocket pings on its own."""
        self._head_timer.cancel()
        super().handle_websocket_upgrade(event)

    def on_response_complete(self) -> None:
        """The next request on this connection has its own time; uvicorn closes one that stays idle."""
        super().on_response_complete()
        self._head_timer.cancel()
        self._head_timer = self.loop.call_later(HEAD_S, self._too_slow)

    def _too_slow(self) -> None:
        cycle = getattr(self, "cycle", None)  # none before the first request
        if cycle is None or cycle.response_complete:
            self.transport.close()


class DeskServer(uvicorn.Server):
    """Ends quietly with the signals that end commands.

    Parameters
    ----------
    stops_on_signals : whether they are this server's.
    """

    def __init__(self, config: uvicorn.Config, *, stops_on_signals: bool = True) -> None:
        super().__init__(config)
        self._signals = (signals.INTERRUPT, signals.TERMINATE) if stops_on_signals else ()

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """A second signal ends it at once; none is raised again, for this is the usual end of a desk."""
        with signals.on_loop(asyncio.get_running_loop(), lambda number: self.handle_exit(number, None), *self._signals):
            yield


def config(app: Any) -> uvicorn.Config:
    """Of a listener of the desk. Nothing is logged: addresses hold keys."""
    return uvicorn.Config(
        app,
        http=PatientH11,
        ws="websockets-sansio",
        loop="asyncio",
        lifespan="off",
        interface="asgi3",
        access_log=False,
        log_config=None,
        log_level="critical",
        server_header=False,
        date_header=False,
        proxy_headers=False,
        limit_concurrency=AT_ONCE,
        timeout_keep_alive=int(HEAD_S),
        timeout_graceful_shutdown=STOP_S,
        ws_max_size=MESSAGE_HIGH_BYTES,
        ws_ping_interval=10.0,
        ws_ping_timeout=20.0,
    )
