"""``linewright surprise``: draw a random composition."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import next_steps, options, output, plan
from linewright.cli.expanded import expanded
from linewright.cli.option_groups import NameOptions, SheetOptions


@dataclass(frozen=True, kw_only=True)
class SurpriseOptions:
    """Options of `linewright surprise`."""

    seed: Annotated[
        int | None,
        typer.Option("--seed", metavar="N", min=0, max=2**31, help="Number of the pattern; default: a new one."),
    ] = None
    rig_file: options.RigFile = None
    on: SheetOptions
    pictures: Annotated[
        Path, typer.Option("--pictures", "-p", metavar="FOLDER", help="Folder for the preview pictures.")
    ] = Path("out")
    as_json: options.AsJson = False


@expanded
def surprise(given: SurpriseOptions) -> None:
    """Compose something to the sheet, and show it.

    The same number on the same sheet with the same pen gives the same picture.
    """
    from linewright.tasks.subject import composition

    seed, pattern = composition(given.seed)
    plan.carry_out(
        plan.PlanOptions(
            name=NameOptions(pattern=pattern),
            rig_file=given.rig_file,
            on=given.on,
            pictures=given.pictures,
            as_json=given.as_json,
        )
    )
    if given.as_json:
        return
    said = given.on.words()
    output.say(f"this is number {seed}; to get it again: {next_steps.command('surprise', '--seed', seed, *said)}")
    output.say(f"to draw it: {next_steps.command('draw', '--pattern', pattern, *said)}")
