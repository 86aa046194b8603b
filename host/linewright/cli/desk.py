"""``linewright desk``: the page in the browser."""

from __future__ import annotations

from typing import Annotated

import typer

from linewright.cli import options, output, target


def desk(
    rig_file: options.RigFile = None,
    port: options.Port = None,
    listen: Annotated[
        str, typer.Option("--listen", metavar="HOST:PORT", help="Address of this computer; port 0 takes a free one.")
    ] = "127.0.0.1:0",
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")] = True,
    phone: Annotated[
        bool,
        typer.Option(
            "--phone",
            help="Let a phone in your network send photographs, watch, and hold the machine; the page shows a code "
            "to scan.",
        ),
    ] = False,
    as_json: options.AsJson = False,
) -> None:
    """Open the desk: put pictures on the sheet, see what the pen will do, draw, watch.

    Works at once on the virtual rig. Anybody who has the printed address can use it; it ends with Ctrl-C, pen up.
    """
    from linewright.errors import InputError

    try:
        from linewright.desk import server
    except ImportError as error:
        raise InputError(f"the desk needs the package {error.name}", hint="pip install 'linewright[desk]'") from None
    if port is None and not _has_place(target.of_rig(rig_file)):
        port = target.VIRTUAL  # a simulation, until a port is chosen on the page
    aimed = target.aim(rig_file, port, said=not as_json)

    def ready(address: str) -> None:
        if as_json:
            output.emit_json({"address": address})
            return
        output.say(f"the desk is open: {address}")
        output.say("anybody who has this address can use the desk; Ctrl-C ends the desk and raises the pen")

    server.serve(server.Opening(aimed, listen, browser, phone), ready)


def _has_place(aimed: target.Target) -> bool:
    """Whether the port of a machine is known."""
    from linewright.board import machines

    if aimed.rig.board == target.VIRTUAL:
        return True
    return aimed.rig_file is not None and machines.memory().of(aimed.rig_file) is not None
