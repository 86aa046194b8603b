"""``linewright words``: list what sentences can contain, and add things."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import options, output
from linewright.cli.commands import Commands
from linewright.tasks.results import write_file

if TYPE_CHECKING:
    from linewright.sources.words.store import Thing

app = Commands(
    help="List and show the things that --sentence can draw, and add your own.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Search = Annotated[
    str | None,
    typer.Argument(metavar="WORD", help="Only things with this in their name, synonyms or theme.", show_default=False),
]


@app.command("list")
def list_words(word: Search = None, as_json: options.AsJson = False) -> None:
    """List things, modifiers, doings and scenes."""
    from linewright.sources.words import own
    from linewright.sources.words.modifiers import MODIFIERS
    from linewright.sources.words.scenes import SCENES
    from linewright.sources.words.store import things
    from linewright.sources.words.verbs import VERBS

    mine, wrong = own.load()
    found = _found(word)
    if as_json:
        listed = [{"name": t.name, "theme": t.theme, "also": list(t.also)} for t in found]
        values = {"things": listed, "modifiers": sorted(MODIFIERS), "verbs": sorted(VERBS), "scenes": sorted(SCENES)}
        output.emit_json({**values, "warnings": wrong})
        return
    for line in wrong:
        output.warn(line)
    themes: dict[str, list[str]] = {}
    for thing in found:
        also = f" ({', '.join(thing.also)})" if word is not None and thing.also else ""
        themes.setdefault(thing.theme, []).append(thing.name + also)
    for theme, names in themes.items():
        output.prose(f"{theme}: {', '.join(names)}")
    if word is None:
        output.prose(f"modifiers: {', '.join(MODIFIERS)}")
        output.prose(f"actions: {', '.join(sorted(VERBS))}")
        output.prose(f"scenes: {', '.join(SCENES)}")
        output.say(
            f"{len(things()) + len(mine)} things; `linewright words list WORD` searches them, `linewright words sheet "
            "all.png` shows them"
        )
    elif not found:
        output.say(f"nothing is called {word!r}{_nearest(word)}")


@app.command("sheet")
def sheet(
    to: Annotated[Path, typer.Argument(metavar="FILE.png", help="The picture to write.")],
    word: Search = None,
    as_json: options.AsJson = False,
) -> None:
    """Write a picture of things with their names."""
    from linewright.cli.progress import ProgressBar
    from linewright.errors import InputError
    from linewright.pictures.contact_sheet import refuse_other_than_png
    from linewright.pictures.word_sheet import word_sheet
    from linewright.rig.rig import Rig
    from linewright.sources.words import own
    from linewright.sources.words.staging import Stage
    from linewright.sources.words.store import things

    refuse_other_than_png(to)
    stage = Stage({**things(), **own.load()[0]}, 1)
    found = [thing for thing in _found(word) if not thing.worn or thing.on_body or thing.natural().shapes]
    if not found:
        raise InputError(
            f"nothing is called {word!r}{_nearest(word or '')}", hint="`linewright words list` lists all things"
        )
    with ProgressBar(shown=not as_json) as bar:
        data = word_sheet(
            ((t.name, stage.shown(t.name)) for t in found),
            Rig.default().pen.width_mm,
            bar.share,
        )
    write_file(data, to, over=True)
    if as_json:
        output.emit_json({"picture": str(to), "things": [t.name for t in found]})
    else:
        output.say(str(to))


@app.command("add")
def add(
    file: Annotated[Path, typer.Argument(metavar="FILE.svg", help="SVG file with the lines of the thing.")],
    name: Annotated[str, typer.Option("--name", metavar="WORD", help="Name of the thing, in the singular.")],
    point: Annotated[
        list[str] | None,
        typer.Option(
            "--point",
            metavar="PLACE=X,Y",
            help="A named point in mm from the top left corner, such as top=20,5; may be repeated. Names: top, eyes, "
            "neck, mouth, hand, seat, in, grip, feet, back.",
            show_default=False,
        ),
    ] = None,
    size: Annotated[float, typer.Option("--size", metavar="SHARE", help="Height relative to an adult.")] = 0.6,
    living: Annotated[bool, typer.Option("--living", help="The thing can act, for example read and ride.")] = False,
    replace: Annotated[bool, typer.Option("--replace", help="Replace your own thing of this name.")] = False,
    as_json: options.AsJson = False,
) -> None:
    """Make a thing of an SVG; it is kept in your config folder."""
    from linewright.sources.words import own
    from linewright.sources.words.guessing import with_article
    from linewright.sources.words.store import names

    called = own.plain_name(name)
    places = dict(_point(text) for text in point or ())
    over = called in names()
    path = own.add(file, name, places, size=size, living=living, replace=replace)
    if as_json:
        output.emit_json({"file": str(path), "name": called, "replaces": over})
        return
    if over:
        output.warn(f"the built-in store has {name!r} as well; yours is drawn from now on")
    output.prose(f'{path}: try it with `linewright plan --sentence "{with_article(called)} in the rain"`')


def _found(word: str | None) -> list[Thing]:
    from linewright.sources.words import own
    from linewright.sources.words.store import things

    everything = {**things(), **own.load()[0]}.values()
    wanted = (word or "").lower().strip()
    return [t for t in everything if any(f" {wanted}" in f" {text}" for text in (t.name, t.theme, *t.also))]


def _nearest(word: str) -> str:
    from linewright.sources.words.lexicon import Lexicon
    from linewright.sources.words.store import names

    near = Lexicon(names()).near(word.lower())
    return f"; nearest to it is {' or '.join(near)}" if near else ""


def _point(text: str) -> tuple[str, tuple[float, float]]:
    from linewright.errors import InputError

    name, _, at = text.partition("=")
    try:
        x, y = (float(number) for number in at.split(","))
    except ValueError:
        raise InputError(
            f"--point {text!r} is not a point", hint="write it as PLACE=X,Y in mm, such as top=20,5"
        ) from None
    return name.strip(), (x, y)
