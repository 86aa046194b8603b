"""A `linewright.session.Session` with an emulated board: bytes and time both come from the emulator."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

from linewright import conversation

if TYPE_CHECKING:
    import pytest

    from emulated.machine import Machine


class EmulatedLink:
    """The cable. The host takes no time to think; all waiting is the board's time.

    Attributes
    ----------
    stall_from_us, stall_to_us : in between, what the host sends stays in the cable.
    """

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._stuck: list[bytes] = []
        self.stall_from_us = self.stall_to_us = float("inf")

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
        self._stuck.append(data)
        self._move_on()

    def _move_on(self) -> None:
        if not self.stall_from_us <= self._machine.now_us < self.stall_to_us:
            for data in self._stuck:
                self._machine.send(data)
            self._stuck.clear()


def keep_board_time(monkeypatch: pytest.MonkeyPatch, machine: Machine) -> None:
    """Make the host's clock the board's."""
    clock = SimpleNamespace(
        monotonic=lambda: machine.now_us / 1e6,
        monotonic_ns=lambda: int(machine.now_us * 1000),
    )
    monkeypatch.setattr(conversation, "time", clock)
