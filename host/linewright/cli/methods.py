"""``linewright methods``: the ways to lines, and the settings of each."""

from __future__ import annotations

from typing import Annotated

import typer

from linewright.cli import options, output


def methods(
    name: Annotated[
        str | None, typer.Argument(metavar="METHOD", help="The one whose settings are wanted.", show_default=False)
    ] = None,
    as_json: options.AsJson = False,
) -> None:
    """List the methods that --as takes, or the settings of one."""
    from rich.table import Table

    from linewright.sources.methods import METHODS, method
    from linewright.sources.settings import described

    if name is None:
        if as_json:
            listed = [{"name": key, "takes": one.takes, "about": one.about} for key, one in METHODS.items()]
            output.emit_json({"methods": listed})
            return
        table = Table("method", "of", "draws", box=None, pad_edge=False)
        for key, one in METHODS.items():
            table.add_row(key, one.takes, one.about)
        output.console().print(table)
        output.say("`linewright methods METHOD` lists the settings of one")
        return
    entry = method(name)
    found = list(described(entry.kind()))
    if as_json:
        output.emit_json(
            {"name": name, "takes": entry.takes, "about": entry.about, "settings": [vars(one) for one in found]}
        )
        return
    output.say(f"{name}: {entry.about}")
    table = Table("setting", "default", "allowed", "meaning", box=None, pad_edge=False)
    for setting in found:
        table.add_row(setting.name, setting.default or "-", setting.allowed, setting.meaning)
    output.console().print(table)
