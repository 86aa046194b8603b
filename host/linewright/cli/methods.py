"""``linewright methods``: list the methods, and the settings of each."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import options, output


def methods(
    name: Annotated[
        str | None, typer.Argument(metavar="METHOD", help="List the settings of this method.", show_default=False)
    ] = None,
    specimens: Annotated[
        Path | None,
        typer.Option(
            "--specimens",
            metavar="FILE.png",
            help="Instead write a picture of all typefaces and patterns.",
            show_default=False,
        ),
    ] = None,
    as_json: options.AsJson = False,
) -> None:
    """List the methods that --as takes, or the settings of one."""
    from rich.markup import escape
    from rich.table import Table

    from linewright.sources.methods import method, troubles, usable
    from linewright.sources.settings import described

    if specimens is not None:
        _write_specimens(specimens, as_json=as_json)
        return
    if name is None:
        listed = [
            {"name": key, "takes": one.takes, "about": one.about, "package": getattr(one, "package", None)}
            for key, one in usable().items()
        ]
        if as_json:
            output.emit_json({"methods": listed, "troubles": troubles()})
            return
        for trouble in troubles():
            output.warn(trouble)
        table = Table("method", "of", "draws", box=None, pad_edge=False)
        for one in listed:
            of = "" if one["package"] is None else f" (from {one['package']})"
            table.add_row(one["name"], one["takes"], escape(f"{one['about']}{of}"))
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
        table.add_row(setting.name, escape(setting.default) or "-", escape(setting.allowed), escape(setting.meaning))
    output.console().print(table)


def _write_specimens(path: Path, *, as_json: bool) -> None:
    from linewright import files
    from linewright.cli.progress import ProgressBar
    from linewright.errors import InputError
    from linewright.pictures.contact_sheet import refuse_other_than_png
    from linewright.pictures.specimens import specimens
    from linewright.rig.rig import Rig

    refuse_other_than_png(path)
    with ProgressBar(shown=not as_json) as bar:
        data = specimens(Rig.default().pen.width_mm, bar.share)
    try:
        with files.replacing(path) as file:
            file.write(data)
    except OSError as error:
        raise InputError(
            f"{path} cannot be written: {error.strerror}", hint="check the folder and its permissions"
        ) from error
    if as_json:
        output.emit_json({"picture": str(path)})
    else:
        output.say(str(path))
