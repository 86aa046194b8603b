"""``linewright ports``: list the ports and the boards that answer."""

from __future__ import annotations

from typing import Annotated

import typer

from linewright.cli import options, output


def ports(
    quiet: Annotated[bool, typer.Option("--only-list", help="Only list the ports; do not ask the boards.")] = False,
    as_json: options.AsJson = False,
) -> None:
    """List the ports of this computer, and the boards that answer there.

    Each port is asked once; a board changes nothing for it, and nothing moves.
    """
    from rich.table import Table

    from linewright.cli import next_steps
    from linewright.tasks.ports import plugged_in

    found = plugged_in(ask=not quiet)
    if as_json:
        output.emit_json({"ports": [one.describe() for one in found]})
        return
    if not found:
        output.say("no serial port found: plug the board in with a cable that carries data, not only power")
        output.say("without a board: --port virtual is a virtual rig")
        return
    table = Table("port", "what answers", "number", "rig", box=None, pad_edge=False)
    for one, rig_file in ((each.seen, each.rig_file) for each in found):
        answers = f"{one.board}, version {one.version}" if one.board else f"no answer ({one.about or 'no description'})"
        table.add_row(one.port, answers, one.unique or "-", rig_file or "-")
    output.console().print(table)
    if not quiet and not any(each.seen.board for each in found):
        output.say(
            "No board with Linewright's code answers. Install it on a new board first: "
            f"{next_steps.command('board', 'flash', '--port', found[0].seen.port)}"
        )
