"""Byte streams to a board over serial ports and sockets.

A `Transport` moves bytes and knows nothing of frames. All of them are pyserial ports underneath, so that what the tests
and the virtual rig exercise is what drives a real board. `linewright.virtual.port` opens any port by its name.
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
"""USB serial ports of microcontrollers ignore the rate; a rate that every adapter knows does no harm."""
WRITE_S: Final = 5.0
"""The longest that a port may refuse bytes: a healthy board empties its port within milliseconds."""

LIST_HINT: Final = "plug the board in with a cable that carries data; `linewright ports` lists what answers where"


class Transport(Protocol):
    """A byte stream to a board."""

    name: str

    def read(self, most: int, timeout_s: float) -> bytes:
        """What has come, at most ``most`` bytes; waits for the first up to ``timeout_s``; empty: nothing came.

        Raises
        ------
        PortError
            If the port has gone.
        """

    def write(self, data: bytes) -> None:
        """Send all of it.

        Raises
        ------
        PortError
            If the port has gone, or takes nothing for `WRITE_S`.
        """

    def close(self) -> None:
        """Let go of the port. May be called again."""


class SerialTransport:
    """A pyserial port: a device, or a socket that stands for one.

    `read` sleeps in ``select`` until the first byte and then takes what is there: no polling, no waiting for a full
    buffer.
    """

    def __init__(self, name: str, port: Any) -> None:
        self.name = name
        self._port = port
        self._socket: Any = getattr(port, "_socket", None)
        if self._socket is not None:
            # Else the system holds small frames back until the other end has confirmed the one before: 40 ms each.
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        # Both kinds are a file descriptor on POSIX; Windows device handles cannot be selected and are read by timeout.
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
            # `in_waiting` of a socket port only says whether there is something, so ask for all with no patience.
            return bytes(self._port.read(most))
        except (serial.SerialException, OSError, ValueError, TypeError) as error:
            # ValueError and TypeError: pyserial's way of saying that another thread has closed the port.
            raise PortError(f"{self.name} has gone while reading: {_reason(error)}", hint=_AGAIN) from error

    def write(self, data: bytes) -> None:
        """See `Transport.write`."""
        try:
            self._port.write(data)
        except serial.SerialTimeoutException as error:
            raise PortError(
                f"{self.name} has taken no bytes for {WRITE_S:g} s", hint="is the board running? reset it and try again"
            ) from error
        except (serial.SerialException, OSError, ValueError, TypeError) as error:
            raise PortError(f"{self.name} has gone while writing: {_reason(error)}", hint=_AGAIN) from error

    def close(self) -> None:
        """See `Transport.close`."""
        with contextlib.suppress(serial.SerialException, OSError):
            self._port.close()
        if self._socket is not None:
            # pyserial 3.5 shuts the connection down first and, where the other end has left, forgets to close it.
            self._socket.close()


_AGAIN: Final = "check the cable and the power, then try again"


def open_pyserial(url: str, name: str) -> Any:
    """Open a pyserial port that reads what is there and never waits.

    Raises
    ------
    PortError
        With a message of our own for each of the usual reasons.
    """
    is_socket = url.startswith("socket://")
    # A device is opened exclusively; pyserial's socket ports refuse the option.
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
            raise PortError(f"{name} may not be opened by you: permission denied", hint=hint) from error
        if code == errno.ECONNREFUSED or (is_socket and "refused" in reason):
            raise PortError(
                f"nobody listens at {name}, or its rig serves another host: connection refused",
                hint="start the virtual rig first, or leave it in the other window: it takes one host at a time",
            ) from error
        if code == errno.ENOENT:
            raise PortError(f"there is no port {name}", hint=LIST_HINT) from error
        if not is_socket and (code in (errno.ENOTTY, errno.EISDIR) or Path(name).is_dir()):
            raise PortError(f"{name} is not a serial port", hint=LIST_HINT) from error
        if is_socket and code == socket.EAI_NONAME:
            raise PortError(
                f"{name} cannot be opened: no computer has that name", hint="a rig on this one is at 127.0.0.1"
            ) from error
        hint = "check host and port; `linewright virtual` prints its own" if is_socket else LIST_HINT
        raise PortError(f"{name} cannot be opened: {reason}", hint=hint) from error


def _errno(error: BaseException) -> int | None:
    """The system's error number, which pyserial passes on in one of several ways."""
    seen: BaseException | None = error
    while seen is not None:
        number = getattr(seen, "errno", None) or next(iter(seen.args), None)  # the latter: `termios.error`
        if isinstance(number, int):
            return number
        seen = seen.__cause__ or seen.__context__
    return None


def _reason(error: BaseException) -> str:
    return str(error) or type(error).__name__
