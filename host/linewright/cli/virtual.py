"""``linewright virtual``: a virtual rig in a process of its own, to which other commands connect."""

from __future__ import annotations

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
        Path | None, typer.Option("--tape", metavar="FILE", help="Take down every pulse, to be looked at later.")
    ] = None,
    interpreter: Annotated[
        str, typer.Option("--interpreter", metavar="NAME", help="What runs the board's code: cpython or micropython.")
    ] = "cpython",
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", metavar="NAME=VALUE", help="Something wrong with the machine; may be repeated."),
    ] = None,
    faults: Annotated[
        bool, typer.Option("--faults", help="List the faults that can be switched on, and leave.")
    ] = False,
    stay: Annotated[
        bool, typer.Option("--stay", help="Wait for the next host when one leaves, in the state it was left in.")
    ] = False,
    hands: Annotated[
        bool,
        typer.Option(
            "--hands",
            help="Be the hands and eyes beside it: type press x, release x, power off, power on or look here, while "
            "another window talks to the board. The end of the input ends the rig.",
        ),
    ] = False,
    real_time: Annotated[bool, typer.Option("--real-time", help="Never run faster than a real machine.")] = False,
) -> int:
    """Run a virtual rig to connect to.

    The board's own code on a simulated machine, until its host leaves, or until Ctrl-C with --stay.
    """
    from linewright.errors import InputError
    from linewright.simulation.faults import Faults
    from linewright.virtual.process import INTERPRETERS, serve

    if faults:
        output.say(Faults.described())
        return 0
    if interpreter not in INTERPRETERS:
        raise InputError(f"interpreter {interpreter!r} is neither {INTERPRETERS[0]} nor {INTERPRETERS[1]}")
    Faults.parse(fault or [])
    aimed = target.of_rig(rig_file)
    rig_file = aimed.rig_file
    arguments = ["--listen", listen, "--interpreter", interpreter]
    if rig_file is not None:
        arguments += ["--rig", str(rig_file)]
    if tape is not None:
        arguments += ["--tape", str(tape)]
    for one in fault or []:
        arguments += ["--fault", one]
    if stay:
        arguments.append("--stay")
    if real_time:
        arguments.append("--real-time")
    if hands:
        arguments.append("--leash")

    def ready(address: str) -> None:
        draw = next_steps.command("draw", "FILE", "--port", f"socket:{address}", about=aimed)
        output.say(f"a virtual rig of {aimed.name}; connect with: {draw}", stderr=True)

    return serve(arguments, ready=ready)
