"""Ports by name: ``serial:PATH``, ``socket:HOST:PORT``, ``virtual[:option,...]``."""

from __future__ import annotations

import time
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from linewright.board.transport import SerialTransport, Transport, open_pyserial
from linewright.drawing.strokes import Drawing
from linewright.errors import InputError, PortError
from linewright.rig.rig import Rig
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.replay import TraceReport
from linewright.virtual.bad_wire import BadWire, WireFaults
from linewright.virtual.launcher import RigOptions, RigProcess
from linewright.virtual.process import INTERPRETERS


class VirtualTransport(SerialTransport):
    """A virtual rig in another process, started and ended with this object."""

    def __init__(self, rig: RigProcess, wire: WireFaults | None = None) -> None:
        try:
            port = open_pyserial(f"socket://{rig.address}", f"the virtual rig at {rig.address}")
        except PortError:
            rig.discard()
            raise
        super().__init__("the virtual rig", port)
        self.rig = rig
        self._wire = BadWire(wire) if wire is not None else None

    def read(self, most: int, timeout_s: float) -> bytes:
        """See `Transport.read`."""
        try:
            data = super().read(most, timeout_s)
        except PortError as error:
            raise self._explained(error) from error
        return data if self._wire is None else self._wire.carry(data, to_board=False, now_s=time.monotonic())

    def write(self, data: bytes) -> None:
        """See `Transport.write`."""
        if self._wire is not None:
            data = self._wire.carry(data, to_board=True, now_s=time.monotonic())
            time.sleep(self._wire.take_stall_s())
        try:
            super().write(data)
        except PortError as error:
            raise self._explained(error) from error

    def close(self) -> None:
        """Close the link and end the rig. Tape and report are kept until `discard`, or until this process ends."""
        super().close()
        self.rig.close(patience_s=1.0)

    def report(
        self,
        planned: Drawing | None = None,
        *,
        vertex_steps: NDArray[np.int64] | None = None,
        keep_drawn: bool = False,
    ) -> TraceReport:
        """Read the tape: the drawn path and the pulse checks. Closes the link first.

        Parameters
        ----------
        planned, vertex_steps, keep_drawn : see `linewright.simulation.replay.read_trace`.
        """
        self.close()
        return self.rig.trace(planned, vertex_steps=vertex_steps, keep_drawn=keep_drawn)

    def discard(self) -> None:
        """Close the link and remove the rig's temporary files."""
        super().close()
        self.rig.discard()

    def _explained(self, error: PortError) -> PortError:
        """The error with the rig's last error output, which says more than a broken connection."""
        deadline_s = time.monotonic() + 1.0
        while self.rig.running and time.monotonic() < deadline_s:
            time.sleep(0.01)
        words, _, hint = self.rig.last_words().partition("\n  next: ")
        return PortError(f"the virtual rig has ended: {words}", hint=hint or error.hint) if words else error


def open_transport(spec: str, *, rig: Rig | None = None) -> Transport:
    """Open a port by name.

    Parameters
    ----------
    spec : ``serial:PATH`` (such as ``serial:/dev/ttyACM0``), ``socket:HOST:PORT``, or ``virtual``, which may be
        followed by options: ``virtual:interpreter=micropython,tape=run.tape,real_time=1`` and any fault of the virtual
        rig, such as ``backlash_x_mm=0.2``, or of the wire to it, such as ``damage=0.01,seed=7``.
    rig : the machine that the virtual rig is to be; None: the default one. Other ports ignore it.

    Raises
    ------
    InputError
        The kind of port is unknown, or an option is wrong.
    PortError
        The port does not exist, is busy, is not permitted, or nothing listens there.
    """
    kind, _, rest = spec.partition(":")
    if kind == "virtual":
        return _open_virtual(rest, rig)
    if kind == "serial" and rest:
        return SerialTransport(rest, open_pyserial(rest, rest))
    host, _, number = rest.rpartition(":")
    if kind == "socket" and host and len(number) <= 5 and number.isdecimal() and 0 < int(number) < 65536:
        return SerialTransport(rest, open_pyserial(f"socket://{rest}", rest))
    raise InputError(
        f"{spec!r} names no port", hint="write serial:PATH, socket:HOST:PORT or virtual, such as serial:/dev/ttyACM0"
    )


def _open_virtual(options: str, rig: Rig | None) -> VirtualTransport:
    machine = Machine.from_rig(rig if rig is not None else Rig.default())
    rig_options, wire = _virtual_options(options, RigOptions(machine))
    return VirtualTransport(RigProcess(rig_options), wire)


def _virtual_options(text: str, options: RigOptions) -> tuple[RigOptions, WireFaults | None]:
    faults: list[str] = []
    wire: list[str] = []
    of_the_wire = {field.name for field in fields(WireFaults)}
    for option in filter(None, text.split(",")):
        name, _, value = option.partition("=")
        if name == "interpreter":
            if value not in INTERPRETERS:
                raise InputError(f"interpreter = {value!r} is neither {INTERPRETERS[0]} nor {INTERPRETERS[1]}")
            options = replace(options, interpreter=value)
        elif name == "tape":
            options = replace(options, tape=Path(value))
        elif name == "real_time":
            options = replace(options, real_time=value != "0")
        elif name.strip() in of_the_wire:
            wire.append(option)
        else:
            faults.append(option)
    return replace(options, faults=Faults.parse(faults)), WireFaults.parse(wire) if wire else None
