"""Serial ports of this computer, the boards that answer on them, and the present port of a known board.

Asking does not change a board, but other devices receive a few meaningless bytes. So ports are asked only for the list,
or when a known board is no longer on its port.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from linewright.errors import LinewrightError

ASK_S: Final = 1.5
"""Time limit per port: a running board answers within milliseconds, a starting one within a second."""


@dataclass(frozen=True)
class Seen:
    """One port.

    Parameters
    ----------
    port : as for ``--port``.
    about : the system's description of the device.
    serial_number : serial number of the USB device; empty if it has none.
    board, version, unique : as the board reports; empty if none answered or was asked.
    trouble : why no board answered.
    """

    port: str
    about: str
    serial_number: str = ""
    board: str = ""
    version: str = ""
    unique: str = ""
    trouble: str = ""


def listed() -> list[Seen]:
    """The serial ports of this computer, without asking for boards."""
    from serial.tools import list_ports

    return [
        Seen(f"serial:{info.device}", info.description or "", (info.serial_number or "").lower())
        for info in sorted(list_ports.comports())
        if info.vid is not None or "ttyS" not in info.device  # skips built-in ports without a device
    ]


def asked(seen: Seen) -> Seen:
    """The same port with the answer of its board."""
    from linewright.board.session import Session
    from linewright.board.transport import SerialTransport, open_pyserial
    from linewright.rig.rig import Rig

    try:
        path = seen.port.partition(":")[2]
        link = SerialTransport(path, open_pyserial(path, path))
        try:
            session = Session(link, Rig.default())
            greeting = session.hello(ASK_S)
            unique = session.unique_id() if greeting.same_code else ""
        finally:
            link.close()
    except LinewrightError as error:
        return replace(seen, trouble=str(error))
    return replace(seen, board=greeting.board, version=greeting.version, unique=unique)


def port_of(unique: str) -> str | None:
    """The present port of the board with this serial number; None if it is not found.

    MicroPython reports the flash chip's serial number over USB, too, so most boards are found without asking.
    """
    everything = listed()
    for seen in everything:
        if seen.serial_number == unique:
            return seen.port
    return next((seen.port for seen in everything if asked(seen).unique == unique), None)
