"""``linewright virtual``: a virtual rig in a separate process, to which other commands connect."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import next_steps, options, output, target


def virtual(
    rig_file: options.RigFile = None,
    listen: Annotated[
        str, typer.Option("--listen", metavar="HOST:PORT", help="Address of this computer; port 0 takes a free one.")
    ] = "127.0.0.1:0",
    tape: Annotated[
        Path | None, typer.Option("--tape", metavar="FILE", help="Record every pulse in this file.")
    ] = None,
    interpreter: Annotated[
        str,
        typer.Option("--interpreter", metavar="NAME", help="Interpreter for the board's code: cpython or micropython."),
    ] = "cpython",
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", metavar="NAME=VALUE", help="Simulate a fault of the machine; may be repeated."),
    ] = None,
    faults: Annotated[bool, typer.Option("--faults", help="List the faults that can be simulated.")] = False,
    stay: Annotated[
        bool, typer.Option("--stay", help="When a host disconnects, keep the state and wait for the next.")
    ] = False,
    hands: Annotated[
        bool,
        typer.Option(
            "--hands",
            help="Act as the user of the machine: type press x, release x, power off, power on, look or mend FAULT "
            "here, while another window drives the board. The end of the input ends the rig.",
        ),
    ] = False,
    real_time: Annotated[bool, typer.Option("--real-time", help="Never run faster than a real machine.")] = False,
) -> int:
    """Run a virtual rig to connect to.

    The board's own code on a simulated machine, until its host has left and the pen is up, or until Ctrl-C with --stay.
    """
    from linewright.tasks.virtual_rig import VirtualRigTask, hand_commands, run
    from linewright.tasks.virtual_rig import faults as known_faults

    if faults:
        output.say(known_faults())
        return 0
    task = VirtualRigTask(None, listen, tape, interpreter, fault or (), stay, real_time, hands)
    task.check()
    aimed = target.of_rig(rig_file)

    def ready(address: str) -> None:
        port = f"socket:{address}"
        first = ("board", "bring-up") if hands else ("draw", "FILE")
        connect = next_steps.command(*first, "--port", port, about=aimed)
        output.prose(f"a virtual rig of {aimed.name}; in another window: `{connect}`", stderr=True)
        if hands:
            output.prose(f"here you act as its user; type: {hand_commands()}", stderr=True)
        output.say(
            "Ctrl-C ends it"
            if stay or hands
            else "it ends when the other window's command ends, or with Ctrl-C; --stay keeps it",
            stderr=True,
        )

    return run(replace(task, rig_file=aimed.rig_file), ready)
