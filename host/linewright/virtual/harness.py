"""Host, link, board and world in one process and in virtual time only, repeatable to the tick.

Nothing waits for real time, and nothing is random except the wire's ``damage``. The host's code runs in a separate
thread because it blocks; the two threads pass control to each other and never run at the same time.

::

    rig = LockstepRig(Machine.from_rig(rig_file), tape=path)
    with rig.host_time():                 # the host's `time.monotonic` is the rig's
        result = rig.run(lambda link: course.draw(Session(link, rig_file), program))
"""

from __future__ import annotations

import heapq
import importlib
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Final, Generic, TypeVar

from linewright.errors import PortError
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.tape import TapeWriter
from linewright.units import TICK_HZ
from linewright.virtual.world import World

Result = TypeVar("Result")

LATENCY_S: Final = 0.0005
"""Latency per direction, about that of USB serial."""

_TO_BOARD, _TO_HOST = 0, 1


class _Ended(BaseException):
    """Raised when the host's function has returned, to leave the board's loop."""


class LockstepWire:
    """The world's `Wire` and the host's link in one object, with a latency, stalls and damage.

    Parameters
    ----------
    latency_s : each way.
    bytes_per_s : rate of the line, each way.
    damage : called with (bytes, to_board) for each piece; its result is delivered. None: no damage.
    """

    name = "lockstep"

    def __init__(
        self,
        latency_s: float = LATENCY_S,
        bytes_per_s: float = 500_000.0,
        damage: Callable[[bytes, bool], bytes] | None = None,
    ) -> None:
        self._latency = round(latency_s * TICK_HZ)
        self._byte_ticks = TICK_HZ / bytes_per_s
        self._damage = damage
        self._stalled_until = 0
        self._free = [0, 0]  # tick at which each direction has sent everything
        self._flying: tuple[list[tuple[int, int, bytes]], list[tuple[int, int, bytes]]] = ([], [])
        self._sent = 0  # keeps order among arrivals at the same tick
        self._arrived = (bytearray(), bytearray())
        self._turn_of_host = threading.Semaphore(0)
        self._turn_of_board = threading.Semaphore(0)
        self._host_wakes: int | None = None  # None: the host is not waiting in `read`
        self._closed = False
        self.now = 0
        self.host_has_ended = False

    def read(self, most: int, timeout_s: float) -> bytes:
        """As `linewright.board.transport.Transport.read`, in virtual time."""
        if self._closed:
            raise PortError("the rig has ended")
        inbox = self._arrived[_TO_HOST]
        if not inbox:
            self._host_wakes = self.now + max(0, round(timeout_s * TICK_HZ))
            self._turn_of_board.release()
            self._turn_of_host.acquire()
            if self._closed:
                raise PortError("the rig has ended")
        data = bytes(inbox[:most])
        del inbox[:most]
        return data

    def write(self, data: bytes) -> None:
        """As `linewright.board.transport.Transport.write`."""
        self._send(_TO_BOARD, data)

    def close(self) -> None:
        """Nothing to do: the link ends with the run."""

    def stall(self, seconds: float) -> None:
        """For this many seconds nothing arrives in either direction; then everything does."""
        self._stalled_until = self.now + round(seconds * TICK_HZ)

    def take(self, inbox: bytearray, now: int) -> int:
        """See `linewright.virtual.world.Wire`."""
        self._settle(now)
        waiting = self._arrived[_TO_BOARD]
        n = min(len(waiting), len(inbox))
        inbox[:n] = waiting[:n]
        del waiting[:n]
        return n

    def give(self, data: bytes, now: int) -> None:
        """See `linewright.virtual.world.Wire`."""
        self.now = now
        self._send(_TO_HOST, data)

    def let_pass(  # signature of `Wire`
        self,
        now: int,
        target: int,
        *,
        playing: bool,  # noqa: ARG002  see above
        expecting: bool,  # noqa: ARG002  see above
        at_rest: bool,  # noqa: ARG002  see above
    ) -> int:
        """See `linewright.virtual.world.Wire`. Time only orders events; there is no waiting."""
        self.now = now
        while True:
            to_board = self._flying[_TO_BOARD][0][0] if self._flying[_TO_BOARD] else target
            to_host = self._flying[_TO_HOST][0][0] if self._flying[_TO_HOST] else target
            wakes = self._host_wakes if self._host_wakes is not None else target
            moment = max(self.now, min(to_board, to_host, wakes, target))
            self._settle(moment)
            if self._host_wakes is not None and (self._arrived[_TO_HOST] or moment >= wakes):
                self._run_host()
                continue
            if self._arrived[_TO_BOARD] or moment >= target:
                return moment

    def start(self) -> None:
        """Run the host until it waits for the first time."""
        self._run_host()

    def finish(self) -> None:
        """Called in the host's thread when its function has returned."""
        self.host_has_ended = True
        self._turn_of_board.release()

    def hang_up(self) -> None:
        """The board has ended: make a waiting host fail."""
        self._closed = True
        self._turn_of_host.release()

    def begin(self) -> None:
        """Called in the host's thread before anything else."""
        self._turn_of_host.acquire()

    def _run_host(self) -> None:
        self._host_wakes = None
        self._turn_of_host.release()
        self._turn_of_board.acquire()
        if self.host_has_ended:
            raise _Ended

    def _send(self, way: int, data: bytes) -> None:
        if self._damage is not None:
            data = self._damage(data, way == _TO_BOARD)
        if not data:
            return
        self._free[way] = max(self._free[way], self.now) + round(len(data) * self._byte_ticks)
        self._sent += 1
        heapq.heappush(self._flying[way], (self._free[way] + self._latency, self._sent, data))

    def _settle(self, moment: int) -> None:
        """Deliver everything that arrives up to a moment."""
        self.now = moment
        if moment < self._stalled_until:
            for way in (_TO_BOARD, _TO_HOST):
                late = [(max(tick, self._stalled_until), n, data) for tick, n, data in self._flying[way]]
                self._flying[way][:] = late  # still a heap, because the order is unchanged
            return
        for way in (_TO_BOARD, _TO_HOST):
            while self._flying[way] and self._flying[way][0][0] <= moment:
                self._arrived[way].extend(heapq.heappop(self._flying[way])[2])


class _Clock:
    """Replacement of the `time` module for host code in virtual time."""

    def __init__(self, wire: LockstepWire) -> None:
        self._wire = wire

    def monotonic(self) -> float:
        return self._wire.now / TICK_HZ

    def monotonic_ns(self) -> int:
        return self._wire.now * (1_000_000_000 // TICK_HZ)


class _Host(Generic[Result]):
    """The host's function in its thread."""

    def __init__(self, wire: LockstepWire, function: Callable[[LockstepWire], Result]) -> None:
        self._wire = wire
        self._function = function
        self.result: Result | None = None
        self.error: BaseException | None = None
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()

    def _run(self) -> None:
        self._wire.begin()
        try:
            self.result = self._function(self._wire)
        except BaseException as error:  # raised again in the caller's thread
            self.error = error
        self._wire.finish()


class LockstepRig:
    """Board and world, ready for a host.

    Parameters
    ----------
    machine, faults : the simulated machine.
    tape : file to write; None: no tape.
    wire : None: one without faults.
    digest, session : values that the board reports; digest None: that of this installation's board code.
    """

    def __init__(
        self,
        machine: Machine,
        *,
        faults: Faults | None = None,
        tape: str | os.PathLike[str] | None = None,
        wire: LockstepWire | None = None,
        digest: int | None = None,
        session: int = 4711,
    ) -> None:
        if digest is None:
            # reads the board's files, which tests of the world do not need
            from linewright.board import files as board_files

            digest = board_files.digest()
        self.wire = wire or LockstepWire()
        faults = faults or Faults()
        self._tape = TapeWriter(tape, machine, faults)
        self.world = World(self.wire, machine, faults, self._tape)
        # The board's code has no type hints, so it is typed as Any.
        board: Any = importlib.import_module("lineboard.board")
        ports: Any = importlib.import_module("lineboard.ports.virtual")
        self.board: Any = board.Board(ports.VirtualPort(self.world), digest, session)

    def run(self, function: Callable[[LockstepWire], Result]) -> Result:
        """Run the host's function with the link as argument, with the board beside it; returns the function's result.

        The tape is complete afterwards. Can be called only once.
        """
        host = _Host(self.wire, function)
        try:
            self.wire.start()
            self.board.run()
        except _Ended:
            pass
        finally:
            self.wire.hang_up()
            host.thread.join(5.0)
            self.world.finish()
            self._tape.close()
        if host.error is not None:
            raise host.error
        return host.result  # type: ignore[return-value]  # set, because no error was raised

    @contextmanager
    def host_time(self, *modules: Any) -> Iterator[None]:
        """Context manager: `time` in the host's modules (default ``board.conversation``) is virtual time."""
        changed = list(modules) or [importlib.import_module("linewright.board.conversation")]
        before = [module.time for module in changed]
        for module in changed:
            module.time = _Clock(self.wire)
        try:
            yield
        finally:
            for module, time in zip(changed, before, strict=True):
                module.time = time
