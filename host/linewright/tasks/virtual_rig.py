"""A virtual rig in this process, for hosts that connect to it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class VirtualRigTask:
    """What rig, and how it runs.

    Parameters
    ----------
    rig_file : None: the default rig.
    listen : ``HOST:PORT`` of this computer; port 0 takes a free one.
    tape : every pulse is taken down there; None: nowhere.
    interpreter : what runs the board's code, ``cpython`` or ``micropython``.
    faults : what is wrong with the machine, each as ``NAME=VALUE``.
    stay : wait for the next host when one leaves, in the state it was left in.
    real_time : never faster than a real machine.
    hands : the standard input says what a person does at the machine; its end ends the rig.
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
        """Refuse what cannot be, before anything starts.

        Raises
        ------
        InputError : there is no such interpreter or fault, or a fault's value is none.
        """
        from linewright.errors import InputError
        from linewright.simulation.faults import Faults
        from linewright.virtual.process import INTERPRETERS

        if self.interpreter not in INTERPRETERS:
            raise InputError(f"interpreter {self.interpreter!r} is neither {INTERPRETERS[0]} nor {INTERPRETERS[1]}")
        Faults.parse(self.faults)


def faults() -> str:
    """The faults that can be switched on, a line for each."""
    from linewright.simulation.faults import Faults

    return Faults.described()


def hand_commands() -> str:
    """What the hands and eyes beside a rig can be told to do."""
    from linewright.virtual.bystander import COMMANDS

    return COMMANDS


def run(task: VirtualRigTask, ready: Callable[[str], None]) -> int:
    """Run the rig until its host leaves, or with ``stay`` for ever; 0 after that, 1 where the board's code failed.

    Parameters
    ----------
    ready : told the address once the rig listens there.

    Raises
    ------
    InputError : as `VirtualRigTask.check`, or a file cannot be written.
    PortError : it cannot listen there, or there is no MicroPython to run the board's code.
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
