"""``linewright surprise``: something to draw for those who have no idea."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import next_steps, options, output, plan

SEEDS = 10_000
"""Seeds that it draws by itself: four digits can be remembered and typed again."""


def surprise(
    seed: Annotated[
        int | None,
        typer.Option(
            "--seed", metavar="N", min=0, max=2**31, help="The one with this number; a new one where none is given."
        ),
    ] = None,
    rig_file: options.RigFile = None,
    sheet: options.SheetName = None,
    landscape: options.Landscape = None,
    margin_mm: options.Margin = None,
    pictures: Annotated[
        Path, typer.Option("--pictures", "-p", metavar="FOLDER", help="Where the preview pictures go.")
    ] = Path("out"),
    as_json: options.AsJson = False,
) -> None:
    """Compose something to the sheet, and show it.

    The same number on the same sheet with the same pen gives the same picture.
    """
    seed = random.randrange(1, SEEDS) if seed is None else seed
    pattern = f"surprise:seed={seed}"
    plan.plan(
        pattern=pattern,
        rig_file=rig_file,
        sheet=sheet,
        landscape=landscape,
        margin_mm=margin_mm,
        pictures=pictures,
        as_json=as_json,
    )
    if as_json:
        return
    given = [
        *(("--sheet", sheet) if sheet is not None else ()),
        *(() if landscape is None else ("--landscape" if landscape else "--portrait",)),
        *(("--margin", f"{margin_mm:g}") if margin_mm is not None else ()),
    ]
    output.say(f"this is number {seed}; to get it again: {next_steps.command('surprise', '--seed', seed, *given)}")
    output.say(f"to draw it: {next_steps.command('draw', '--pattern', pattern, *given)}")
