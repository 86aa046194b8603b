"""A serial wire with seeded faults, in simulated microseconds, and the two real endpoints at its ends."""

from __future__ import annotations

import heapq
import random
from collections.abc import Callable
from dataclasses import dataclass

from linewire.compat import TICKS_PERIOD, ticks_add, ticks_diff
from linewire.endpoint import Endpoint

# Start just below the wrap, so that every test crosses it.
START_US = TICKS_PERIOD - 300_000


@dataclass(frozen=True)
class Faults:
    """Chances per chunk of ``chunk_bytes``; stalls are (start_us, end_us, direction 0 to board, 1 to host, 2 both)."""

    chunk_bytes: int = 64
    flip: float = 0.0
    lose_bytes: float = 0.0
    lose: float = 0.0
    double: float = 0.0
    late: float = 0.0
    late_us: int = 3000
    stalls: tuple[tuple[int, int, int], ...] = ()
    pulled: tuple[tuple[int, int], ...] = ()


class Wire:
    """Carries bytes one way at ``bytes_per_s`` with a latency; bytes in a pulled cable are gone."""

    def __init__(self, seed: int, faults: Faults, direction: int, bytes_per_s: int = 100_000, latency_us: int = 1000):
        self.random = random.Random(seed)
        self.faults = faults
        self.direction = direction
        self.bytes_per_s = bytes_per_s
        self.latency_us = latency_us
        self.queue: list[tuple[int, int, bytes]] = []
        self.free_us = 0
        self.count = 0
        self.damaged_chunks = 0

    def write(self, data: bytes, t_us: int) -> None:
        f, r = self.faults, self.random
        for at in range(0, len(data), f.chunk_bytes):
            chunk = bytearray(data[at : at + f.chunk_bytes])
            start = max(self.free_us, t_us)
            for begin, end, direction in f.stalls:
                if begin <= start < end and direction in (self.direction, 2):
                    start = end
            self.free_us = start + len(chunk) * 1_000_000 // self.bytes_per_s
            if any(begin <= start < end for begin, end in f.pulled):
                continue
            arrive = self.free_us + self.latency_us
            hurt = False
            if r.random() < f.flip:
                i = r.randrange(len(chunk))
                chunk[i] ^= 1 << r.randrange(8)
                hurt = True
            if r.random() < f.lose_bytes:
                i = r.randrange(len(chunk))
                del chunk[i : i + r.randint(1, 8)]
                hurt = True
            if r.random() < f.late:
                arrive += r.randint(1, f.late_us)
                hurt = True
            copies = 2 if r.random() < f.double else 1
            if r.random() < f.lose:
                copies = 0
            self.damaged_chunks += hurt or copies != 1
            for _ in range(copies):
                self.count += 1
                heapq.heappush(self.queue, (arrive, self.count, bytes(chunk)))

    @property
    def next_us(self) -> int | None:
        return self.queue[0][0] if self.queue else None

    def room(self, t_us: int) -> bool:
        """Whether the sender's buffer accepts more: about one frame at most is waiting."""
        return self.free_us <= t_us + 1000


@dataclass
class Pair:
    """Host and board endpoints on two wires; ``t_us`` is simulated time since the start."""

    host: Endpoint
    board: Endpoint
    down: Wire
    up: Wire
    t_us: int = 0

    @classmethod
    def make(cls, seed: int, faults: Faults, report_size: int = 38, slots: int = 16) -> Pair:
        return cls(
            host=Endpoint(1 + seed % 65535, True, START_US),
            board=Endpoint(1 + seed * 7919 % 65535, False, START_US, slots=slots, report_size=report_size),
            down=Wire(seed * 2 + 1, faults, 0),
            up=Wire(seed * 2 + 2, faults, 1),
        )

    def now_us(self) -> int:
        return ticks_add(START_US, self.t_us)

    def run(self, turn: Callable[[Pair], bool], limit_us: int) -> bool:
        """Advance time until ``turn`` (called after every event) returns True; returns False at ``limit_us``."""
        while self.t_us < limit_us:
            for wire, end in ((self.down, self.board), (self.up, self.host)):
                while wire.queue and wire.queue[0][0] <= self.t_us:
                    end.receive(heapq.heappop(wire.queue)[2], self.now_us())
            if turn(self):
                return True
            wake = self.t_us + 50_000
            for wire, end in ((self.down, self.host), (self.up, self.board)):
                while wire.room(self.t_us):
                    count = end.produce(self.now_us())
                    if not count:
                        break
                    wire.write(bytes(end.wire[:count]), self.t_us)
                if not wire.room(self.t_us):
                    wake = min(wake, wire.free_us - 1000)
                else:
                    deadline = end.next_deadline_us()
                    if deadline is not None:
                        wake = min(wake, self.t_us + ticks_diff(deadline, self.now_us()))
            for wire in (self.down, self.up):
                if wire.next_us is not None:
                    wake = min(wake, wire.next_us)
            self.t_us = max(wake, self.t_us + 1)
        return False
