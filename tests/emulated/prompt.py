"""MicroPython's raw prompt of an emulated board, with the interface that `linewright.board.flashing` needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from linewright.board import flashing
from linewright.errors import PromptError

if TYPE_CHECKING:
    from pathlib import Path

    from emulated.machine import Machine

LONGEST_US: Final = 20e6


class EmulatedPrompt:
    """Interrupts a board's program and runs code instead, as mpremote does."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        machine.run_us(50_000)  # earlier bytes of a host must have been read, or they would seem part of the code
        machine.receive()
        machine.send(b"\r\x03")
        machine.run_us(50_000)
        machine.receive()
        machine.send(b"\r\x01")
        self._await(b"raw REPL; CTRL-B to exit\r\n>")
        # A soft restart, so that all memory is free; in the raw prompt it does not start main.py.
        machine.send(b"\x04")
        self._await(b"soft reboot\r\n")
        self._await(b"raw REPL; CTRL-B to exit\r\n>")

    def run(self, code: str) -> str:
        """See `linewright.board.prompt.Prompt.run`."""
        self.begin(code)
        return self.end()

    def begin(self, code: str) -> None:
        """Start code that runs until it is interrupted, such as the board's own."""
        self._machine.send(code.encode() + b"\x04")
        self._await(b"OK")

    def interrupt(self) -> str:
        """Interrupt it with Ctrl-C, and return its output since the last call."""
        self._machine.run_us(100_000)  # earlier bytes of a host must have been read, or this would seem part of them
        self._machine.receive()
        self._machine.send(b"\r\x03")
        return self.end()

    def end(self) -> str:
        """Wait for the end of the program; returns its output."""
        printed, _, trouble = self._await(b"\x04>").removesuffix(b"\x04>").rpartition(b"\x04")
        if trouble:
            raise PromptError(trouble.decode(errors="replace"))
        return printed.decode(errors="replace")

    def _await(self, end: bytes) -> bytes:
        machine = self._machine
        if not machine.run_us(LONGEST_US, until=lambda: end in machine.received):
            raise PromptError(f"the prompt does not answer; it says {machine.received!r}")
        answer, found, rest = machine.receive().partition(end)
        machine.put_back(rest)
        return answer + found


def flashed(image: Path) -> Machine:
    """A board with this image, after `linewright board flash`."""
    from emulated.machine import Machine

    machine = Machine(image)
    machine.start(100_000)
    flashing.flash(EmulatedPrompt(machine))
    return machine
