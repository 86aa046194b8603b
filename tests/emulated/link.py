"""A `linewright.session.Session` with an emulated board: bytes and time both come from the emulator."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

from linewright import conversation

if TYPE_CHECKING:
    import pytest
    from machine import Machine


class EmulatedLink:
    """The cable. The host takes no time to think; all waiting is the board's time."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine

    def read(self, most: int, timeout_s: float) -> bytes:
        """See `linewright.conversation.Link`."""
        machine = self._machine
        machine.run_us(timeout_s * 1e6, until=lambda: len(machine.received) > 0)
        data = machine.receive()
        if len(data) > most:
            raise RuntimeError("the session asks for less than one packet")
        return data

    def write(self, data: bytes) -> None:
        """See `linewright.conversation.Link`."""
        self._machine.send(data)


def keep_board_time(monkeypatch: pytest.MonkeyPatch, machine: Machine) -> None:
    """Make the session's clock the board's."""
    clock = SimpleNamespace(
        monotonic=lambda: machine.now_us / 1e6,
        monotonic_ns=lambda: int(machine.now_us * 1000),
    )
    monkeypatch.setattr(conversation, "time", clock)
