"""The serial ports of this computer, which of them a board answers on, and where a known board is now.

Asking changes nothing on a board; but what is no board of ours hears a few bytes that mean nothing to it, so nothing is
asked unless somebody wants the list, or a board that is known has left its port.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from linewright.errors import LinewrightError

ASK_S: Final = 1.5
"""How long each port is given: a board that runs answers within milliseconds, one that is just starting in a second."""


@dataclass(frozen=True)
class Seen:
    """One port.

    Parameters
    ----------
    port : as for ``--port``.
    about : what the system says is plugged in.
    serial_number : what the plug says of itself; empty where it says nothing.
    board, version, unique : what the board says of itself; empty where nobody has answered, or nobody was asked.
    trouble : why nobody has answered.
    """

    port: str
    about: str
    serial_number: str = ""
    board: str = ""
    version: str = ""
    unique: str = ""
    trouble: str = ""


def listed() -> list[Seen]:
    """The serial ports of this computer; nobody is asked."""
    from serial.tools import list_ports

    return [
        Seen(f"serial:{info.device}", info.description or "", (info.serial_number or "").lower())
        for info in sorted(list_ports.comports())
        if info.vid is not None or "ttyS" not in info.device  # built-in ports that nothing is plugged into
    ]


def asked(seen: Seen) -> Seen:
    """The same port, after it was asked who is there."""
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
    """The port on which the board with this serial number is now; None: on none.

    MicroPython gives the serial number of the flash to the USB plug, too, so most boards are found without being asked.
    """
    everything = listed()
    for seen in everything:
        if seen.serial_number == unique:
            return seen.port
    return next((seen.port for seen in everything if asked(seen).unique == unique), None)
