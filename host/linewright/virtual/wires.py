"""The link between the world and a real host, and the pace of virtual time that avoids false timeouts.

While the player plays and the board expects nothing from the host, virtual time jumps. While the board *expects* bytes
from the host, the link first waits for them up to `PATIENCE_S` of real time; a host on the same computer answers
sooner, so virtual time cannot run away from it. If the host stays silent longer, virtual time runs as fast as real
time, so a silence of three seconds is three seconds on the board, too (less `PATIENCE_S`). The time of an idle board
runs like real time.

If the host disconnects or is killed, the board keeps running: it notices the silence, brakes and lifts the pen. Then
the rig ends.
"""

from __future__ import annotations

import contextlib
import select
import socket
import time
from collections.abc import Callable
from typing import Final

from linewright.system.pipes import WatchedPipe
from linewright.units import TICK_HZ

PATIENCE_S: Final = 0.25
"""Longer than a busy computer suspends a process, shorter than any silence that the board must notice."""
STANDSTILL_S: Final = 1.0
"""Longest real time for which virtual time waits at one tick: many round trips of a host that sends small pieces."""
RUN_OUT_TICKS: Final = 2 * TICK_HZ
"""A board without host that has played nothing for this long has finished lifting its pen."""
LISTENING: Final = "listening on "
"""The rig's process prints this and its address when a host can connect."""
_BACKLOG_BYTES: Final = 1 << 16
"""Most bytes buffered for a host that does not read; a serial adapter drops bytes much earlier."""


class RigEnds(SystemExit):
    """Raised when the rig's process should end; ``why`` gives the reason."""

    def __init__(self, why: str) -> None:
        super().__init__(0)
        self.why = why


class SocketWire:
    """Bytes over a connected socket, with the pace of time described above.

    Parameters
    ----------
    connection : connected stream socket; closed by the caller.
    leash : a pipe that closes when the parent process ends, or None.
    on_leash : called with data from that pipe.
    real_time : never run faster than real time.
    listen : opens the socket for the next host after this one has disconnected; None: the rig ends then.

    Attributes
    ----------
    lost_bytes : bytes lost because the host did not read them.
    left_at : tick at which the rig noticed that host or parent has gone; None before.

    Raises
    ------
    RigEnds
        From `let_pass`, when the host (unless there is `listen`) or the parent process has gone and the machine
        is at rest with the pen up.
    """

    def __init__(
        self,
        connection: socket.socket,
        *,
        leash: WatchedPipe | None = None,
        on_leash: Callable[[bytes], None] = lambda _: None,
        real_time: bool = False,
        listen: Callable[[], socket.socket] | None = None,
    ) -> None:
        self._leash = leash
        self._on_leash = on_leash
        self._listen = listen
        self._listener: socket.socket | None = None  # open while no host is connected
        self._end: RigEnds | None = None  # set when host or parent has gone
        self.left_at: int | None = None  # tick at which that was noticed
        self._played = 0  # tick of the last word played since then
        self._connect(connection)
        self._real_time = real_time
        self._backlog = bytearray()
        self.lost_bytes = 0
        # While virtual time runs like real time: a pair of corresponding times (s, tick).
        self._flow: tuple[float, int] | None = None
        self._stands: tuple[float, int] | None = (
            None  # (s, tick): real time since which virtual time has been that tick
        )

    def take(self, inbox: bytearray, now: int) -> int:  # noqa: ARG002  arrival does not depend on virtual time
        """Move waiting bytes into ``inbox``; returns how many."""
        if self._end is not None or (self._listener is not None and not self._accept(self._listener)):
            return 0
        try:
            n = self._socket.recv_into(inbox)
        except (BlockingIOError, InterruptedError):
            return 0
        except OSError as error:
            self._part(error)
            return 0
        if not n:
            self._part()
            return 0
        self._flow = None
        return n

    def close(self) -> None:
        """Close the connection and the listening socket."""
        self._socket.close()
        if self._listener is not None:
            self._listener.close()

    def give(self, data: bytes, now: int) -> None:  # noqa: ARG002  sending does not depend on virtual time
        """Send bytes, or buffer them if the host does not read; beyond the limit they are lost, as on any link."""
        if self._end is not None or self._listener is not None:
            return  # no host has opened the port
        self._backlog += data
        self._send()
        if len(self._backlog) > _BACKLOG_BYTES:
            self.lost_bytes += len(self._backlog) - _BACKLOG_BYTES
            del self._backlog[_BACKLOG_BYTES:]

    def let_pass(self, now: int, target: int, *, playing: bool, expecting: bool, at_rest: bool) -> int:
        """Let time pass up to ``target``, or until bytes are there."""
        if self._end is not None:
            return self._run_out(self._end, now, target, playing=playing, at_rest=at_rest)
        if playing and not expecting and not self._real_time:
            self._flow = None
            if self._backlog:
                self._send()
            return target
        if self._flow is None:
            real_s = time.monotonic()
            if self._stands is None or self._stands[1] != now:
                self._stands = (real_s, now)
            # A host that sends much but nothing useful must not stop time either.
            patient = playing and not self._real_time and real_s - self._stands[0] < STANDSTILL_S
            self._flow = (real_s + (PATIENCE_S if patient else 0.0), now)
        begun_s, begun = self._flow
        until_s = begun_s + (target - begun) / TICK_HZ
        heard = self._wait(until_s)
        if not heard:
            return target
        return min(max(now, begun + round((time.monotonic() - begun_s) * TICK_HZ)), target)

    def _run_out(self, end: RigEnds, now: int, target: int, *, playing: bool, at_rest: bool) -> int:
        """Let the board finish by itself after host or parent has gone."""
        if self.left_at is None:
            self.left_at = now
        if playing or self.left_at == now:
            self._played = now
        if at_rest or now - self._played >= RUN_OUT_TICKS:
            raise end
        if self._real_time:
            time.sleep((target - now) / TICK_HZ)
        return target

    def _wait(self, until_s: float) -> bool:
        """Wait for bytes from the host until a moment of real time; returns whether there are some."""
        while True:
            wait_s = max(0.0, until_s - time.monotonic())
            awaited = self._socket if self._listener is None else self._listener
            watched: list[socket.socket | WatchedPipe] = [awaited] if self._leash is None else [awaited, self._leash]
            readable, writable, _ = select.select(watched, [self._socket] if self._backlog else [], [], wait_s)
            if self._leash is not None and self._leash in readable:
                said = self._leash.read(4096)
                if not said:
                    self._end = RigEnds("the process that started the rig has ended")
                    return True
                self._on_leash(said)
            if writable:
                self._send()
            if awaited in readable:
                return True
            if time.monotonic() >= until_s:
                return False

    def _send(self) -> None:
        with contextlib.suppress(BlockingIOError, InterruptedError):
            try:
                while self._backlog:
                    del self._backlog[: self._socket.send(self._backlog)]
            except (BrokenPipeError, ConnectionError) as error:
                self._part(error)

    def _connect(self, connection: socket.socket) -> None:
        connection.setblocking(False)
        with contextlib.suppress(OSError):  # not supported by a local socket pair
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket = connection

    def _accept(self, listener: socket.socket) -> bool:
        try:
            connection, _ = listener.accept()
        except OSError:
            return False
        listener.close()  # one host at a time: a second one is refused instead of queued
        self._listener = None
        self._connect(connection)
        return True

    def _part(self, error: OSError | None = None) -> None:
        """The host has disconnected: wait for the next one, or for the board to come to rest.

        A host that closes before reading everything resets the connection (RFC 1122, 4.2.2.13), so an error here means
        the same as an orderly end.
        """
        self._backlog.clear()
        if self._listen is None:
            self._end = RigEnds("the host has disconnected")
            self._end.__cause__ = error
            return
        self._socket.close()
        self._listener = self._listen()
        self._listener.setblocking(False)
