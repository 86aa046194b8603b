"""The desk's server: uvicorn's HTTP and WebSocket, with time limits for slow clients."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Iterator
from typing import Any, Final

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from linewright.system import signals

MESSAGE_HIGH_BYTES: Final = 1_000_000
"""Largest event: 50 times the longest text of an item."""

HEAD_S: Final = 10.0
"""A client must send the head of a request within this time of connecting, or is disconnected, so that idle connections
do not use up the limit."""

AT_ONCE: Final = 200
"""Limit of connections; a page uses seven at most."""

STOP_S: Final = 3
"""Time for responses to finish when the desk is closed."""


class PatientH11(H11Protocol):
    """uvicorn's HTTP protocol with a time limit for the head of a request."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as the class has
        """See `asyncio.Protocol`."""
        super().connection_made(transport)
        self._head_timer = self.loop.call_later(HEAD_S, self._too_slow)

    def connection_lost(self, exc: Exception | None) -> None:
        """See `asyncio.Protocol`."""
        self._head_timer.cancel()
        super().connection_lost(exc)

    def handle_websocket_upgrade(self, event: Any) -> None:
        """No time limit here: WebSockets have their own pings."""
        self._head_timer.cancel()
        super().handle_websocket_upgrade(event)

    def on_response_complete(self) -> None:
        """Restart the time limit for the next request; uvicorn closes idle connections."""
        super().on_response_complete()
        self._head_timer.cancel()
        self._head_timer = self.loop.call_later(HEAD_S, self._too_slow)

    def _too_slow(self) -> None:
        cycle = getattr(self, "cycle", None)  # none before the first request
        if cycle is None or cycle.response_complete:
            self.transport.close()


class DeskServer(uvicorn.Server):
    """Server that ends without a traceback on the signals that end commands.

    Parameters
    ----------
    stops_on_signals : whether this server handles the signals.
    """

    def __init__(self, config: uvicorn.Config, *, stops_on_signals: bool = True) -> None:
        super().__init__(config)
        self._signals = (signals.INTERRUPT, signals.TERMINATE) if stops_on_signals else ()

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """A second signal ends it immediately; none is raised again, because a signal is the normal end of a desk."""
        with signals.on_loop(asyncio.get_running_loop(), lambda number: self.handle_exit(number, None), *self._signals):
            yield


def config(app: Any) -> uvicorn.Config:
    """Configuration of a listener. Nothing is logged, because addresses hold keys."""
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
