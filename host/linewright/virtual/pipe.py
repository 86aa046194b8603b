"""Server of `lineboard.ports.virtual.PipeWorld`: gives a world to a board in another process."""

from __future__ import annotations

import contextlib
import os
import shutil
import struct
import subprocess
import sys
from array import array
from importlib.util import find_spec
from pathlib import Path
from typing import IO, Final

from linewright.errors import PortError
from linewright.virtual.world import BYTES, ENDSTOPS, FINISHED, NOW, World

INBOX_BYTES: Final = 512
_STOP_S: Final = 2.0
"""Time after which a board whose pipe has closed is killed; normally it ends at its next call."""


def package_paths() -> list[str]:
    """Folders from which linewright, linewire and lineboard are imported, in that order, each once."""
    paths: list[str] = []
    for name in ("linewright", "linewire", "lineboard"):
        spec = find_spec(name)
        for place in (spec.submodule_search_locations if spec else None) or ():
            if (parent := str(Path(place).parent)) not in paths:
                paths.append(parent)
    return paths


def find_micropython() -> str:
    """Path of the Unix MicroPython: ``LINEWRIGHT_MICROPYTHON``, or ``.tools/micropython`` in a parent folder, or on the
    PATH.

    Raises
    ------
    PortError
        There is none.
    """
    if named := os.environ.get("LINEWRIGHT_MICROPYTHON"):
        if os.access(named, os.X_OK):
            return named
        raise PortError(
            f"LINEWRIGHT_MICROPYTHON = {named!r} is not a program that can be run",
            hint="set it to the Unix build of MicroPython, or unset it",
        )
    for folder in Path(__file__).resolve().parents:
        if os.access(folder / ".tools" / "micropython", os.X_OK):
            return str(folder / ".tools" / "micropython")
    if found := shutil.which("micropython"):
        return found
    raise PortError(
        "no Unix MicroPython was found for --interpreter micropython",
        hint="in a checkout run `make micropython`, or set LINEWRIGHT_MICROPYTHON to its path",
    )


class BoardEnded(Exception):
    """The board's process has ended."""


class PipeServer:
    """Answers the requests of one board until its pipe closes.

    Parameters
    ----------
    world : the world to serve.
    reader, writer : binary streams from and to the board.
    """

    def __init__(self, world: World, reader: IO[bytes], writer: IO[bytes]) -> None:
        self._world = world
        self._reader = reader
        self._writer = writer
        self._status = array("i", (0, 0, 0, 0))
        self._inbox = bytearray(INBOX_BYTES)

    def run(self) -> None:
        """Serve for ever.

        Raises
        ------
        BoardEnded
            The board closed the pipe, or sent an unknown request.
        """
        answers = {0x47: self._greet, 0x43: self._configure, 0x53: self._submit, 0x58: self._halt}
        answers |= {
            0x52: self._wiring,
            0x56: self._servo,
            0x45: self._enable,
            0x57: self._write,
            0x4D: self._mark,
            0x50: self._pause,
        }
        while True:
            letter = self._read(1)[0]
            if letter not in answers:
                raise BoardEnded(f"the board sent {letter:#x}, which is no request")
            answers[letter]()

    def _read(self, n: int) -> bytes:
        data = self._reader.read(n)
        if len(data) < n:
            raise BoardEnded("the board's process has ended")
        return data

    def _answer(self, data: bytes) -> None:
        try:
            self._writer.write(data)
            self._writer.flush()
        except OSError as error:
            raise BoardEnded("the board's process has ended") from error

    def _greet(self) -> None:
        self._world.greet(self._status)
        self._answer(struct.pack("<I", self._status[NOW]))

    def _configure(self) -> None:
        self._world.configure(*struct.unpack("<HHH", self._read(6)))

    def _wiring(self) -> None:
        self._world.wiring(*struct.unpack("<BbbB", self._read(4)))

    def _submit(self) -> None:
        count, servo_us = struct.unpack("<HH", self._read(4))
        self._world.submit(self._read(4 * count), count, servo_us)

    def _halt(self) -> None:
        self._answer(struct.pack("<I", self._world.halt()))

    def _servo(self) -> None:
        self._world.servo(*struct.unpack("<H", self._read(2)))

    def _enable(self) -> None:
        self._world.enable(self._read(1)[0])

    def _write(self) -> None:
        (n,) = struct.unpack("<H", self._read(2))
        self._world.write(self._read(n), n)

    def _mark(self) -> None:
        self._world.mark(*struct.unpack("<ii", self._read(8)))

    def _pause(self) -> None:
        max_us, expecting = struct.unpack("<IB", self._read(5))
        self._world.pause(max_us, expecting, self._status, self._inbox)
        status = self._status
        head = struct.pack("<IIBH", status[NOW], status[FINISHED], status[ENDSTOPS], status[BYTES])
        self._answer(head + self._inbox[: status[BYTES]])


def serve_micropython(world: World, digest: int, session: int) -> None:
    """Run the board's code under MicroPython in a child process, and serve it until it ends.

    The child is ended however this function ends.

    Raises
    ------
    BoardEnded
        The child ended first.
    PortError
        There is no MicroPython.
    """
    program = find_micropython()
    environment = dict(os.environ)
    environment["MICROPYPATH"] = os.pathsep.join([*reversed(package_paths()), ".frozen"])
    # 4 MB, because objects of the Unix build are twice the size of the board's; other tests check small heaps.
    start = f"from lineboard.ports.virtual import main; main({digest}, {session})"
    command = [program, "-X", "heapsize=4M", "-c", start]
    child = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=sys.stderr.fileno(), env=environment
    )
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        PipeServer(world, child.stdout, child.stdin).run()
    finally:
        for stream in (child.stdin, child.stdout):
            with contextlib.suppress(OSError):  # closing flushes, and the child may be gone
                stream.close()
        try:
            child.wait(_STOP_S)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()
