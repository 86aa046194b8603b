"""A `linewright.board.session.Session` with an emulated board; the emulator supplies bytes and time."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

from linewire import messages
from linewright.board import conversation

if TYPE_CHECKING:
    import pytest

    from emulated.machine import Machine


PREFIX_BYTES = 8
"""Enough of a stuffed frame to tell its kind and sequence number."""


def _unstuffed(frame: bytes | bytearray) -> bytes:
    """The first three bytes of a frame's body: kind and sequence number."""
    body = bytearray()
    at = 0
    while len(body) < 3:
        code = frame[at]
        body += frame[at + 1 : at + code] + b"\x00"
        at += code
    return bytes(body[:3])


class EmulatedLink:
    """The cable. The host takes no time; all waiting is the board's time."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._cable = bytearray()
        self._free_bytes = 1 << 60
        self._frame = bytearray()  # written part of the current frame
        self._seen: set[bytes] = set()  # sequence numbers of the frames of records since `stall`
        self._until_stall = 0  # number of such frames until the cable stalls
        self._stall_us = 0.0
        self._stall_to_us = 0.0

    def stall(self, in_moves_frame: int, for_us: float) -> None:
        """Delay most of the nth frame of records from now on, and everything after it."""
        self._until_stall = in_moves_frame
        self._seen.clear()
        self._stall_us = for_us

    def read(self, most: int, timeout_s: float) -> bytes:
        """See `linewright.board.conversation.Link`."""
        machine = self._machine
        machine.run_us(timeout_s * 1e6, until=lambda: len(machine.received) > 0)
        self._move_on()
        data = machine.receive()
        machine.put_back(data[most:])
        return data[:most]

    def write(self, data: bytes) -> None:
        """See `linewright.board.conversation.Link`."""
        for byte in data:
            self._cable.append(byte)
            if byte == 0:
                self._frame.clear()
                continue
            self._frame.append(byte)
            if len(self._frame) == PREFIX_BYTES and self._until_stall:
                kind, *sequence = _unstuffed(self._frame)
                if kind == messages.MOVES:
                    self._seen.add(bytes(sequence))  # a repeated frame counts once
                if len(self._seen) == self._until_stall:
                    self._until_stall = 0
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
