"""A `linewright.session.Session` with an emulated board: bytes and time both come from the emulator."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

from linewright import conversation

if TYPE_CHECKING:
    import pytest

    from emulated.machine import Machine


LONG_BYTES = 60
"""Frames of records are longer, all others but the settings are shorter."""


class EmulatedLink:
    """The cable. The host takes no time to think; all waiting is the board's time."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._cable = bytearray()
        self._free_bytes = 1 << 60
        self._frame_bytes = 0  # of the frame that is being written
        self._until_stall = 0  # long frames to come until the cable stalls
        self._stall_us = 0.0
        self._stall_to_us = 0.0

    def stall(self, in_long_frame: int, for_us: float) -> None:
        """Let the rest of the nth long frame from now on, and all that follows, stay in the cable for a while."""
        self._until_stall = in_long_frame
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
        for byte in data:
            self._cable.append(byte)
            self._frame_bytes = self._frame_bytes + 1 if byte else 0
            if self._frame_bytes == LONG_BYTES and self._until_stall:
                self._until_stall -= 1
                if not self._until_stall:
                    self._free_bytes = len(self._cable)
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
