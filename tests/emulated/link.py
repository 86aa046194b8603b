"""A `linewright.session.Session` with an emulated board: bytes and time both come from the emulator."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

from linewright import conversation

if TYPE_CHECKING:
    import pytest

    from emulated.machine import Machine


class EmulatedLink:
    """The cable. The host takes no time to think; all waiting is the board's time."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._cable = bytearray()
        self._free_bytes = 1 << 60
        self._stall_us = 0.0
        self._stall_to_us = 0.0

    def stall(self, after_bytes: int, for_us: float) -> None:
        """Once the host has sent so many more bytes, let what follows stay in the cable for a while."""
        self._free_bytes = after_bytes
        self._stall_us = for_us

    def read(self, most: int, timeout_s: float) -> bytes:
        """See `linewright.conversation.Link`."""
        machine = self._machine
        machine.run_us(timeout_s * 1e6, until=lambda: len(machine.received) > 0)
        self._move_on()
        data = machine.receive()
        machine.put_back(data[most:])
        return data[:most]

    def write(self, data: bytes) -> None:
        """See `linewright.conversation.Link`."""
        self._cable += data
        self._move_on()

    def _move_on(self) -> None:
        now_us = self._machine.now_us
        if now_us < self._stall_to_us or not self._cable:
            return
        part = bytes(self._cable[: self._free_bytes])
        del self._cable[: self._free_bytes]
        self._machine.send(part)
        self._free_bytes -= len(part)
        if self._free_bytes == 0:
            self._free_bytes = 1 << 60
            self._stall_to_us = now_us + self._stall_us


def keep_board_time(monkeypatch: pytest.MonkeyPatch, machine: Machine) -> None:
    """Make the host's clock the board's."""
    clock = SimpleNamespace(
        monotonic=lambda: machine.now_us / 1e6,
        monotonic_ns=lambda: int(machine.now_us * 1000),
    )
    monkeypatch.setattr(conversation, "time", clock)
