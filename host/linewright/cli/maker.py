"""``linewright maker``: set up and test the picture maker behind --sentence."""

from __future__ import annotations

from typing import Annotated

import typer

from linewright.cli import options, output
from linewright.cli.commands import Commands

app = Commands(
    help="Set up a picture maker for sentences: a program or an HTTP address of your choice.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@app.command("example")
def example() -> None:
    """Print a commented file to start from."""
    from linewright.maker import EXAMPLE

    output.say(EXAMPLE.rstrip())


@app.command("new")
def new(maker_file: options.MakerFile = None) -> None:
    """Write that file where --sentence looks for it; one that is there is left alone."""
    from linewright.maker import new_maker

    path = new_maker(maker_file)
    output.say(f"{path}: edit it, then test it with `linewright maker check`")


@app.command("check")
def check(
    maker_file: options.MakerFile = None,
    sentence: Annotated[
        str | None,
        typer.Option(
            "--sentence", metavar="WORDS", help="Also request a picture of this sentence.", show_default=False
        ),
    ] = None,
    as_json: options.AsJson = False,
) -> None:
    """Check the picture maker's file, and with --sentence the maker itself."""
    import os
    import shutil

    from linewright.cli.progress import ProgressBar
    from linewright.errors import MakerError
    from linewright.maker import find_maker, picture_of
    from linewright.maker.setup import filled

    maker = find_maker(maker_file)
    if maker.endpoint is not None:
        for text in (maker.endpoint.url, *maker.endpoint.headers.values()):
            filled(text, os.environ)  # raises for variables that are not set
    if maker.command is not None and shutil.which(maker.command.words[0]) is None:
        raise MakerError(
            f"the file is valid, but the program {maker.command.words[0]!r} cannot be started",
            hint="name your program in `words` of the maker's file, with its folder if it is not on the PATH; or use "
            "[endpoint] instead of [command]",
        )
    what = f"the program {maker.command.words[0]}" if maker.command is not None else ""
    if maker.endpoint is not None:
        what = f"the address {maker.endpoint.url}"
    made = None
    if sentence is not None:
        with ProgressBar(shown=not as_json) as bar:
            made = picture_of(sentence, maker, anew=True, report=bar.share)
    if as_json:
        picture = None if made is None else str(made.path)
        notes = [] if made is None else list(made.notes)
        output.emit_json({"maker": what, "asked_for": maker.wording, "picture": picture, "warnings": notes})
        return
    output.say(f"the file is valid: {what}; prompt: {maker.wording!r}")
    if made is None:
        output.say('try it: linewright maker check --sentence "a heron in a rain hat"')
        return
    for note in made.notes:
        output.warn(note)
    output.say(f"it made a picture: {made.path}")
