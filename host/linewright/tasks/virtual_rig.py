"""Task: a virtual rig in this process, for hosts that connect to it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class VirtualRigTask:
    """Options of the virtual rig.

    Parameters
    ----------
    rig_file : None: the default rig.
    listen : ``HOST:PORT`` of this computer; port 0 takes a free one.
    tape : file for every pulse; None: none.
    interpreter : runs the board's code, ``cpython`` or ``micropython``.
    faults : faults of the machine, each as ``NAME=VALUE``.
    stay : keep running and wait for the next host when one disconnects.
    real_time : never faster than a real machine.
    hands : read commands of a person at the machine from standard input; its end ends the rig.
    """

    rig_file: Path | None = None
    listen: str = "127.0.0.1:0"
    tape: Path | None = None
    interpreter: str = "cpython"
    faults: Sequence[str] = ()
    stay: bool = False
    real_time: bool = False
    hands: bool = False

    def check(self) -> None:
        """Refuse invalid options before anything starts.

        Raises
        ------
        InputError : there is no such interpreter or fault, or a fault's value is invalid.
        """
        from linewright.errors import InputError
        from linewright.simulation.faults import Faults
        from linewright.virtual.process import INTERPRETERS

        if self.interpreter not in INTERPRETERS:
            raise InputError(f"interpreter {self.interpreter!r} is neither {INTERPRETERS[0]} nor {INTERPRETERS[1]}")
        Faults.parse(self.faults)


def faults() -> str:
    """The available faults, one per line."""
    from linewright.simulation.faults import Faults

    return Faults.described()


def hand_commands() -> str:
    """Commands of a person beside a rig."""
    from linewright.virtual.bystander import COMMANDS

    return COMMANDS


def run(task: VirtualRigTask, ready: Callable[[str], None]) -> int:
    """Run the rig until its host disconnects, or with ``stay`` for ever; returns 0 after that, 1 if the board's code
    failed.

    Parameters
    ----------
    ready : called with the address once the rig listens.

    Raises
    ------
    InputError : as `VirtualRigTask.check`, or a file cannot be written.
    PortError : the rig cannot listen there, or there is no MicroPython for the board's code.
    """
    from linewright.virtual.process import serve

    task.check()
    arguments = ["--listen", task.listen, "--interpreter", task.interpreter]
    if task.rig_file is not None:
        arguments += ["--rig", str(task.rig_file)]
    if task.tape is not None:
        arguments += ["--tape", str(task.tape)]
    for fault in task.faults:
        arguments += ["--fault", fault]
    for switch, wanted in (("--stay", task.stay), ("--real-time", task.real_time), ("--hands", task.hands)):
        if wanted:
            arguments.append(switch)
    return serve(arguments, ready=ready)
