"""`Prompt`: MicroPython's prompt on a serial port, for running code and writing files.

It wraps mpremote, which is imported only here and when needed (the extra ``board``). mpremote's transport implements
the protocol and flow control; its output and exceptions become our errors.
"""

from __future__ import annotations

import contextlib
import io
import struct
from collections.abc import Iterator
from types import TracebackType
from typing import Any, Final, Self

from linewright.board.transport import open_pyserial
from linewright.errors import InputError, NoAnswer, PortError, PromptError

ANSWER_S: Final = 5.0
"""The prompt answers within milliseconds; erasing a block of flash takes up to half a second."""
ENTER_S: Final = 10.0
"""A restart of MicroPython mounts the file system and starts USB, two seconds at most."""

HOW_TO_INSTALL: Final = (
    "install MicroPython 1.23 or later: download the image (a .uf2 file) for your board model from micropython.org; "
    "hold down the board's BOOTSEL button while you plug it in: it appears as a drive; copy the file there "
    "(`linewright board flash --image FILE` checks and copies it); the board restarts; then run this command again"
)


class Prompt:
    """A board's MicroPython prompt, as a context manager.

    Running code is interrupted and MicroPython restarted, so that all memory is free. If the context ends with an
    error, the installed code is started again if possible.

    Parameters
    ----------
    path : the serial port's device.

    Raises
    ------
    InputError : mpremote is not installed.
    PortError : the port cannot be opened.
    NoAnswer : no prompt answers there.
    """

    def __init__(self, path: str) -> None:
        self.path = path
        try:
            from mpremote.transport_serial import SerialTransport
        except ImportError as error:
            raise InputError(
                "mpremote, which talks to MicroPython's prompt, is not installed",
                hint="pip install 'linewright[board]'",
            ) from error
        self._open(SerialTransport)
        self._enter()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None and not issubclass(kind, PortError):
            with contextlib.suppress(PortError):
                with self._explained():
                    self._serial.serial.write(b"\r\x03\x03")  # interrupt running code
                self.restart()
        self.close()

    def run(self, code: str) -> str:
        """Run code on the board and return its output.

        Raises
        ------
        PromptError : the code raised; the error has the board's traceback.
        PortError : the port has gone, or the board has stopped answering.
        """
        from mpremote.transport import TransportExecError

        with self._explained():
            try:
                printed: bytes = self._serial.exec(code)
            except TransportExecError as error:
                raise PromptError(str(error.error_output)) from error
        return printed.decode(errors="replace")

    def restart(self) -> None:
        """Leave the prompt and start the installed code, as after power-up."""
        with self._explained():
            self._serial.exit_raw_repl()
            self._serial.read_until(1, b">>> ", timeout=ANSWER_S)
            self._serial.serial.write(b"\x04")
            self._serial.read_until(1, b"soft reboot\r\n", timeout=ANSWER_S)

    def close(self) -> None:
        """Release the port. May be called again."""
        with contextlib.suppress(*_TROUBLE):
            self._serial.close()
        with contextlib.suppress(*_TROUBLE):
            self._serial.serial.close()  # mpremote skips this on ports without modem lines

    def _open(self, kind: Any) -> None:
        # Open the port with our own code first, because its errors have hints.
        open_pyserial(self.path, self.path).close()
        with self._explained():
            self._serial: Any = kind(self.path, timeout=ANSWER_S)
            self._serial.serial.write_timeout = ANSWER_S

    def _enter(self) -> None:
        from mpremote.transport import TransportError

        try:
            # mpremote prints what it did not understand.
            with contextlib.redirect_stdout(io.StringIO()):
                self._serial.enter_raw_repl(soft_reset=True, timeout_overall=ENTER_S)
        except TransportError as error:
            self.close()
            raise NoAnswer(
                f"no MicroPython prompt answers on {self.path}",
                hint=f"if this is the right port, {HOW_TO_INSTALL}",
            ) from error
        except _TROUBLE as error:
            self.close()
            raise self._gone(error) from error

    @contextlib.contextmanager
    def _explained(self) -> Iterator[None]:
        from mpremote.transport import TransportError

        try:
            with contextlib.redirect_stdout(io.StringIO()):
                yield
        except (TransportError, *_TROUBLE) as error:
            raise self._gone(error) from error

    def _gone(self, error: BaseException) -> PortError:
        return PortError(
            f"{self.path} has disappeared, or its board has stopped answering: {error}",
            hint="check cable and power, then run the command again; it continues where it stopped",
        )


# pyserial's errors are subclasses of OSError. struct.error, IndexError and TypeError come from mpremote with a
# truncated answer, or from pyserial when the port is closed during a call.
_TROUBLE: Final = (OSError, struct.error, IndexError, TypeError)
