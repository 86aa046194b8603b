"""``linewright ports``: what is plugged in, and which board answers where."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from linewright.cli import options, output


def ports(
    quiet: Annotated[bool, typer.Option("--only-list", help="Ask nobody: only list what is plugged in.")] = False,
    as_json: options.AsJson = False,
) -> None:
    """List the ports of this computer, and the boards that answer there.

    Each port is asked once; a board changes nothing for it, and nothing moves.
    """
    from rich.table import Table

    from linewright.board import machines
    from linewright.board.ports import asked, listed
    from linewright.cli import next_steps

    seen = listed() if quiet else [asked(one) for one in listed()]
    rigs = {one.unique: one.rig_file for one in machines.memory().met if one.unique}
    if as_json:
        output.emit_json({"ports": [{**asdict(one), "rig_file": rigs.get(one.unique)} for one in seen]})
        return
    if not seen:
        output.say("no serial port is there: plug the board in with a cable that carries data, not only power")
        output.say("without a board: --port virtual is a virtual rig")
        return
    table = Table("port", "what answers", "number", "rig", box=None, pad_edge=False)
    for one in seen:
        answers = f"{one.board}, version {one.version}" if one.board else f"nobody ({one.about or 'no description'})"
        table.add_row(one.port, answers, one.unique or "-", rigs.get(one.unique, "-"))
    output.console().print(table)
    if not quiet and not any(one.board for one in seen):
        output.say(
            "No board of ours answers. A new one gets its code first: "
            f"{next_steps.command('board', 'flash', '--port', seen[0].port)}"
        )
