"""The command table. Commands import heavy modules when they run, so that ``--help`` is fast."""

from __future__ import annotations

from typing import Annotated

import typer

from linewright.cli import (
    arrange,
    board,
    compare,
    desk,
    draw,
    exercise,
    fit,
    guess,
    lines,
    log,
    maker,
    methods,
    plan,
    ports,
    resume,
    rig,
    sheet,
    surprise,
    tape,
    trial,
    tune,
    virtual,
    words,
)
from linewright.cli.commands import Commands
from linewright.version import __version__

app = Commands(
    name="linewright",
    help="Draws any picture with a home-built two-axis pen machine.",
    epilog="Lengths are millimetres, speeds mm/s, angles degrees.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command("desk")(desk.desk)
app.command("lines")(lines.lines)
app.add_typer(arrange.app, name="arrange")
app.command("methods")(methods.methods)
app.command("compare")(compare.compare)
app.command("plan")(plan.plan)
app.command("draw")(draw.draw)
app.add_typer(maker.app, name="maker")
app.command("surprise")(surprise.surprise)
app.add_typer(words.app, name="words")
app.command("guess")(guess.guess)
app.command("resume")(resume.resume)
app.add_typer(board.app, name="board")
app.command("log")(log.log)
app.command("ports")(ports.ports)
app.add_typer(rig.app, name="rig")
app.add_typer(sheet.app, name="sheet")
app.command("trial")(trial.trial)
app.command("fit")(fit.fit)
app.command("tune")(tune.tune)
app.command("exercise")(exercise.exercise)
app.command("virtual")(virtual.virtual)
app.command("tape")(tape.tape)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"linewright {__version__}")
        raise typer.Exit


@app.callback()
def _top(
    _asked: Annotated[
        bool, typer.Option("--version", help="Print the version and leave.", callback=_version, is_eager=True)
    ] = False,
    _debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of a bug instead of saving it.")] = False,
) -> None:
    """Draws any picture with a home-built two-axis pen machine."""
