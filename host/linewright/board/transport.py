"""Byte streams to a board over serial ports and sockets.

A `Transport` moves bytes without regard to frames. All of them are pyserial ports, so that tests and the virtual rig
exercise the code that drives a real board. `linewright.virtual.port` opens any port by name.
"""

from __future__ import annotations

import contextlib
import errno
import select
import socket
from pathlib import Path
from typing import Any, Final, Protocol

import serial

from linewright.errors import PortBusy, PortError

BAUD: Final = 115_200
"""USB serial ports of microcontrollers ignore the rate; this one is supported by every adapter."""
WRITE_S: Final = 5.0
"""Longest time that a port may block writes: a working board empties its port within milliseconds."""

LIST_HINT: Final = "plug the board in with a cable that carries data; `linewright ports` lists the ports with a board"


class Transport(Protocol):
    """A byte stream to a board."""

    name: str

    def read(self, most: int, timeout_s: float) -> bytes:
        """Read at most ``most`` bytes; waits up to ``timeout_s`` for the first. Empty after a timeout.

        Raises
        ------
        PortError
            The port has gone.
        """

    def write(self, data: bytes) -> None:
        """Send all of it.

        Raises
        ------
        PortError
            The port has gone, or accepts nothing for `WRITE_S`.
        """

    def close(self) -> None:
        """Release the port. May be called again."""


class SerialTransport:
    """A pyserial port: a device, or a socket in place of one.

    `read` blocks in ``select`` until the first byte and returns the available bytes, without polling and without
    waiting for a full buffer.
    """

    def __init__(self, name: str, port: Any) -> None:
        self.name = name
        self._port = port
        self._socket: Any = getattr(port, "_socket", None)
        if self._socket is not None:
            # Otherwise the system delays small frames until the previous one is acknowledged: 40 ms each.
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        # On POSIX both kinds have a file descriptor. Windows device handles cannot be selected, so reads use a timeout.
        self._descriptor: int | None = None
        with contextlib.suppress(Exception):
            self._descriptor = port.fileno()

    def read(self, most: int, timeout_s: float) -> bytes:
        """See `Transport.read`."""
        try:
            if self._descriptor is None:
                self._port.timeout = timeout_s
                first = bytes(self._port.read(1))
                return first + bytes(self._port.read(min(self._port.in_waiting, most - 1))) if first else b""
            readable, _, _ = select.select([self._descriptor], [], [], max(0.0, timeout_s))
            if not readable:
                return b""
            # For a socket port `in_waiting` is only zero or not, so read with a zero timeout instead.
            return bytes(self._port.read(most))
        except (serial.SerialException, OSError, ValueError, TypeError) as error:
            # pyserial raises ValueError or TypeError if another thread closes the port.
            raise PortError(f"{self.name} disappeared while reading: {_reason(error)}", hint=_AGAIN) from error

    def write(self, data: bytes) -> None:
        """See `Transport.write`."""
        try:
            self._port.write(data)
        except serial.SerialTimeoutException as error:
            raise PortError(
                f"{self.name} has accepted no bytes for {WRITE_S:g} s",
                hint="is the board running? reset it and try again",
            ) from error
        except (serial.SerialException, OSError, ValueError, TypeError) as error:
            raise PortError(f"{self.name} disappeared while writing: {_reason(error)}", hint=_AGAIN) from error

    def close(self) -> None:
        """See `Transport.close`."""
        with contextlib.suppress(serial.SerialException, OSError):
            self._port.close()
        if self._socket is not None:
            # pyserial 3.5 calls shutdown first and does not close the socket if the other end has closed.
            self._socket.close()


_AGAIN: Final = "check the cable and the power, then try again"


def open_pyserial(url: str, name: str) -> Any:
    """Open a pyserial port for reads without waiting.

    Raises
    ------
    PortError
        The port cannot be opened; the message explains common reasons.
    """
    is_socket = url.startswith("socket://")
    # Open devices exclusively; pyserial's socket ports do not accept the option.
    extra = {} if is_socket else {"exclusive": True}
    try:
        return serial.serial_for_url(url, baudrate=BAUD, timeout=0, write_timeout=WRITE_S, **extra)
    except (serial.SerialException, OSError, ValueError) as error:
        reason = _reason(error)
        code = _errno(error)
        if code == errno.EBUSY or code == errno.EAGAIN or "exclusively lock" in reason:
            raise PortBusy(f"{name} is busy", hint="another program holds the port; close it and try again") from error
        if code in (errno.EACCES, errno.EPERM):
            hint = "add yourself to the group that owns the port (often `dialout`), then log in again"
            raise PortError(f"{name} cannot be opened: permission denied", hint=hint) from error
        if code == errno.ECONNREFUSED or (is_socket and "refused" in reason):
            raise PortError(
                f"nothing listens at {name}, or its rig serves another host: connection refused",
                hint="start the virtual rig first, or disconnect the other host: the rig serves one at a time",
            ) from error
        if code == errno.ENOENT:
            raise PortError(f"there is no port {name}", hint=LIST_HINT) from error
        if not is_socket and (code in (errno.ENOTTY, errno.EISDIR) or Path(name).is_dir()):
            raise PortError(f"{name} is not a serial port", hint=LIST_HINT) from error
        if is_socket and code == socket.EAI_NONAME:
            raise PortError(
                f"{name} cannot be opened: no computer has that name", hint="a rig on this computer is at 127.0.0.1"
            ) from error
        hint = "check host and port; `linewright virtual` prints the address of its rig" if is_socket else LIST_HINT
        raise PortError(f"{name} cannot be opened: {reason}", hint=hint) from error


def _errno(error: BaseException) -> int | None:
    """The system's error number, which pyserial stores in one of several ways."""
    seen: BaseException | None = error
    while seen is not None:
        number = getattr(seen, "errno", None) or next(iter(seen.args), None)  # the latter: `termios.error`
        if isinstance(number, int):
            return number
        seen = seen.__cause__ or seen.__context__
    return None


def _reason(error: BaseException) -> str:
    return str(error) or type(error).__name__
