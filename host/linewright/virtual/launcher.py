"""Starts the virtual rig's process and ensures that it ends."""

from __future__ import annotations

import contextlib
import json
import os
import select
import shutil
import subprocess
import sys
import tempfile
import time
import weakref
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing
from linewright.errors import InputError, PortError
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.replay import TraceReport, read_trace
from linewright.system import children
from linewright.system.pipes import WatchedPipe, pipes_can_be_selected
from linewright.virtual.pipe import package_paths
from linewright.virtual.wires import LISTENING

START_S: Final = 20.0
"""Time limit for the start. A cold start imports numpy from a slow disk; normally it takes a third of a second."""
ANSWER_S: Final = 5.0
"""Time limit for an answer, which comes when the board next waits, after a block of pulses played in milliseconds."""
STOP_S: Final = 5.0
"""Time limit to close tape and report and to end a MicroPython child, which is given two seconds."""


@dataclass(frozen=True)
class RigOptions:
    """Options of the virtual rig.

    Parameters
    ----------
    machine : the rig's mechanics and limits.
    faults : its faults.
    interpreter : ``cpython`` or ``micropython``.
    tape : file for the tape; None: a temporary one, removed with the rig.
    real_time : never run faster than a real machine.
    """

    machine: Machine
    faults: Faults = field(default_factory=Faults)
    interpreter: str = "cpython"
    tape: Path | None = None
    real_time: bool = False


class RigProcess:
    """The virtual rig as a running process. A context manager; otherwise call `close`.

    Raises
    ------
    PortError
        The process does not start.
    InputError
        Its temporary files cannot be written.
    """

    def __init__(self, options: RigOptions) -> None:
        self.options = options
        try:
            self._folder = Path(tempfile.mkdtemp(prefix="linewright-rig-"))
        except OSError as error:
            raise _no_room(error) from error
        self.tape = options.tape if options.tape is not None else self._folder / "run.tape"
        self._report = self._folder / "report.json"
        self._errors = self._folder / "errors.txt"
        machine = self._folder / "machine.json"
        try:
            machine.write_text(options.machine.to_json(), encoding="utf-8")
        except OSError as error:
            shutil.rmtree(self._folder, ignore_errors=True)
            raise _no_room(error) from error
        command = [sys.executable, "-m", "linewright.virtual", "--leash", "--folder", str(self._folder)]
        command += ["--machine", str(machine)]
        command += ["--tape", str(self.tape), "--report", str(self._report), "--interpreter", options.interpreter]
        for fault in options.faults.options():
            command += ["--fault", fault]
        if options.real_time:
            command.append("--real-time")
        environment = dict(os.environ)
        environment["PYTHONPATH"] = os.pathsep.join([*package_paths(), environment.get("PYTHONPATH", "")])
        with self._errors.open("wb") as errors:
            # A new session, so that Ctrl-C reaches the host only, which lifts the pen before it ends.
            self._process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=errors,
                env=environment,
                **children.apart(),
            )
        assert self._process.stdout is not None
        self._said = WatchedPipe(self._process.stdout.fileno())
        # Also called at interpreter exit; the child's standard input ends with this process in any case.
        self._cleanup = weakref.finalize(self, _end, self._process, self._folder, self._said)
        self.address = self._wait_for_address()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def tell(self, line: str) -> str:
        """Send a line to the rig's bystander and return its answer; see `linewright.virtual.bystander`.

        Raises
        ------
        PortError
            The rig has ended, or does not answer.
        """
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(line.encode() + b"\n")
            self._process.stdin.flush()
        except (OSError, ValueError) as error:
            raise PortError("the virtual rig has ended") from error
        return self._read_line(ANSWER_S)

    def close(self, patience_s: float = 0.0) -> None:
        """End the rig; tape and report are complete afterwards. May be called again.

        Parameters
        ----------
        patience_s : time given to end by itself after its host has disconnected.
        """
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(patience_s)
        _stop(self._process)

    def discard(self) -> None:
        """End the rig and remove its temporary files, including the tape unless a file was named for it."""
        self._cleanup()

    @property
    def process_id(self) -> int:
        """Process id of the rig."""
        return self._process.pid

    @property
    def running(self) -> bool:
        """Whether the process runs."""
        return self._process.poll() is None

    def report(self) -> dict[str, Any]:
        """The process' report on its run; empty if it was killed before writing it. Ends the rig first."""
        self.close()
        if not self._report.exists():
            return {}
        content: dict[str, Any] = json.loads(self._report.read_text(encoding="utf-8"))
        return content

    def trace(
        self,
        planned: Drawing | None = None,
        *,
        vertex_steps: NDArray[np.int64] | None = None,
        keep_drawn: bool = False,
    ) -> TraceReport:
        """Read the tape: `linewright.simulation.replay.read_trace`. Ends the rig first."""
        self.close()
        return read_trace(self.tape, planned, vertex_steps=vertex_steps, keep_drawn=keep_drawn)

    def last_words(self) -> str:
        """The end of what the process wrote to standard error."""
        with contextlib.suppress(OSError):
            return self._errors.read_text(encoding="utf-8", errors="replace")[-2000:].strip()
        return ""

    def _wait_for_address(self) -> str:
        try:
            return self._read_line(START_S).removeprefix(LISTENING)
        except PortError:
            self.close()
            why = self.last_words() or f"no answer within {START_S:g} s"
            self.discard()
            message, _, hint = why.partition("\n  next: ")
            raise PortError(f"the virtual rig did not start: {message}", hint=hint) from None

    def _read_line(self, limit_s: float) -> str:
        assert self._process.stdout is not None
        deadline_s = time.monotonic() + limit_s
        line = b""
        while not line.endswith(b"\n"):
            left_s = deadline_s - time.monotonic()
            readable, _, _ = select.select([self._said], [], [], max(0.0, left_s))
            piece = self._said.read(256) if readable else b""
            if not piece:
                raise PortError(f"the virtual rig has said nothing for {limit_s:g} s, or has ended")
            line += piece
        return line.decode().strip()


def _no_room(error: OSError) -> InputError:
    return InputError(
        f"the virtual rig cannot write its files to {tempfile.gettempdir()}: {error.strerror or error}",
        hint="make room there, or set TMPDIR to a folder that has some",
    )


def _ask_to_end(process: subprocess.Popen[bytes]) -> None:
    """Ask by signal on POSIX; on Windows a signal would kill the rig before it writes tape and report."""
    if os.name == "posix" and pipes_can_be_selected():
        process.terminate()
        return
    assert process.stdin is not None
    with contextlib.suppress(OSError, ValueError):
        process.stdin.write(b"end\n")
        process.stdin.flush()


def _stop(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        _ask_to_end(process)
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
    # Only now: the rig takes the end of its standard input for the end of this process, and would remove the folder
    # itself.
    for stream in (process.stdin, process.stdout):
        if stream is not None:
            with contextlib.suppress(OSError):
                stream.close()


def _end(process: subprocess.Popen[bytes], folder: Path, said: WatchedPipe) -> None:
    _stop(process)
    said.close()
    shutil.rmtree(folder, ignore_errors=True)
