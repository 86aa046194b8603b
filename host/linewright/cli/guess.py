"""``linewright guess``: something secret is drawn part by part, and guessed.

The secret stands in no file, no name and no line of output before the end; what is drawn goes to the board as strokes.
"""

from __future__ import annotations

import random
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import options, output, target
from linewright.cli.terminal import Terminal
from linewright.tasks import cautions
from linewright.tasks.results import write_file

if TYPE_CHECKING:
    from collections.abc import Callable

    from linewright.board.session_values import Control
    from linewright.drawing.strokes import Drawing
    from linewright.planning.pipeline import Placement
    from linewright.rig.rig import Rig
    from linewright.sources.picture import Picture, Wish
    from linewright.tasks.target import Target

    Draw = Callable[[Picture, Control], None]

PICTURE = "guess.png"
"""What can be seen so far; its name tells nothing."""


def guess(
    players: Annotated[int, typer.Option("--players", metavar="N", min=1, max=2, help="Two take turns.")] = 1,
    rounds: Annotated[int, typer.Option("--rounds", metavar="N", min=1, max=50, help="Subjects to be guessed.")] = 1,
    port: Annotated[
        str | None,
        typer.Option(
            "--port",
            metavar="PORT",
            help="Draw on the machine there, as in `draw`; without it, what is drawn is shown in a picture file.",
            show_default=False,
        ),
    ] = None,
    pictures: Annotated[Path, typer.Option("--pictures", "-p", metavar="FOLDER", help=f"Where {PICTURE} goes.")] = Path(
        "out"
    ),
    painted: Annotated[bool, typer.Option("--painted", help="Have the picture made by your picture maker.")] = False,
    maker_file: options.MakerFile = None,
    seed: Annotated[
        int | None, typer.Option("--seed", metavar="N", min=0, help="The same number gives the same subjects.")
    ] = None,
    rig_file: options.RigFile = None,
    sheet: options.SheetName = None,
) -> None:
    """Guess what is being drawn.

    A subject is made up and drawn in six parts, the telling strokes last. Type guesses while it draws; Enter draws the
    next part, `give up` ends. The fewer parts you need, the more points you get.
    """
    from linewright.sources.words import guessing

    rng = random.Random(seed)
    aimed = target.of_rig(rig_file) if port is None else target.aim(rig_file, port, said=True)
    rig = aimed.rig
    placement = options.placement(sheet, None, None)
    if port is not None:
        for caution in cautions.before_moving(aimed.port):
            output.say(f"caution: {caution}", stderr=True)
    names = ["you"] if players == 1 else ["player 1", "player 2"]
    score = dict.fromkeys(names, 0)
    with _machine(aimed, placement) as draw:
        turn = 0
        for number in range(rounds):
            if number and port is not None:
                _asked("lay a new sheet, then press Enter ")
            secret = guessing.pick(rng)
            picture = _picture(secret, rig, placement, painted=painted, maker_file=maker_file)
            turn = _round(secret, picture, rig, draw, pictures, score, turn)
    output.say(f"points: {guessing.scored(score)}")


def _round(
    secret: str,
    picture: Picture,
    rig: Rig,
    draw: Draw | None,
    folder: Path,
    score: dict[str, int],
    turn: int,
) -> int:
    """One subject; returns whose turn it is next."""
    from linewright.drawing.strokes import Drawing
    from linewright.sources.words import guessing

    names = list(score)
    parts = guessing.stages(picture.drawing)
    seen: list[Drawing] = []
    for stage, part in enumerate(parts, 1):
        seen.append(part)
        if draw is None:
            _show(Drawing.one_after_the_other(seen), picture, rig, folder)
        worth = max(len(parts) + 1 - stage, 1)
        output.say(f"part {stage} of {len(parts)}; a right guess is worth {wording_points(worth)}")
        with _drawing(draw, replace(picture, drawing=part)):
            while True:
                who = names[turn % len(names)]
                said = _asked(f"{'guess' if len(names) == 1 else who}: ")
                if said is None or said.lower() in ("give up", "i give up"):
                    output.say(f"it was {guessing.with_article(secret)}")
                    return turn + 1
                if not said:
                    break
                verdict = guessing.judge(said, secret)
                output.say(verdict.words)
                turn += 1
                if verdict.kind == "right":
                    score[who] += worth
                    return turn
    output.say(f"all is drawn; it was {guessing.with_article(secret)}")
    return turn


@contextmanager
def _drawing(draw: Draw | None, picture: Picture) -> Iterator[None]:
    """A part is drawn while its guesses are asked for; a fault ends the game, and Ctrl-C stops the machine."""
    if draw is None:
        yield
        return
    from linewright.board.session_values import Control

    control = Control()
    wrong: list[BaseException] = []

    def work() -> None:
        try:
            draw(picture, control)
        except BaseException as error:  # told to whoever plays, in the main thread
            wrong.append(error)

    pen = threading.Thread(target=work)
    pen.start()
    try:
        yield
    except BaseException:
        control.abandon()
        raise
    finally:
        pen.join()
    if wrong:
        raise wrong[0]


def wording_points(count: int) -> str:
    """``3 points``."""
    from linewright import wording

    return wording.count(count, "point")


def _asked(prompt: str) -> str | None:
    """A line from whoever plays; None when there is nobody left."""
    try:
        return " ".join(input(prompt).split())[:200]
    except EOFError:
        output.say("")
        return None


def _picture(secret: str, rig: Rig, placement: Placement, *, painted: bool, maker_file: Path | None) -> Picture:
    """The secret as strokes on the sheet. A picture maker's file has no telling name, and is gone afterwards."""
    from linewright.planning import pipeline
    from linewright.rig.sheet_place import sheet_on
    from linewright.sources.words.guessing import with_article

    wish = pipeline.wish_for(rig, sheet_on(rig, placement.sheet), placement)
    if not painted:
        return _stored(secret, wish)
    from linewright.maker import find_maker
    from linewright.maker.making import bytes_of

    data, suffix = bytes_of(with_article(secret), find_maker(maker_file))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"picture{suffix}"
        file.write_bytes(data)
        return pipeline.read_picture(str(file), pipeline.Lines(), wish)


def _stored(secret: str, wish: Wish) -> Picture:
    from linewright.sources.picture import Picture
    from linewright.sources.words.staging import Stage
    from linewright.sources.words.store import things
    from linewright.sources.words.way import placed

    drawing, width_mm, height_mm = placed(Stage(things(), 1).plain(secret).art, wish)
    return Picture(drawing, width_mm, height_mm)


def _show(drawing: Drawing, picture: Picture, rig: Rig, folder: Path) -> None:
    """What has been drawn so far, as a picture file."""
    from linewright.pictures.preview import preview
    from linewright.pictures.raster import to_png
    from linewright.pictures.scene import Table
    from linewright.sheet.sizes import Sheet

    sheet = Sheet(picture.width_mm, picture.height_mm, 0.0, "guess")
    scene = preview(drawing, Table(sheet), pen_width_mm=rig.pen.width_mm, show_travel=False, title="what is it?")
    folder.mkdir(parents=True, exist_ok=True)
    write_file(to_png(scene), folder / PICTURE, over=True)
    output.say(str(folder / PICTURE))


@contextmanager
def _machine(aimed: Target, placement: Placement) -> Iterator[Draw | None]:
    """What draws a part on the machine that is meant; nothing without a port."""
    if not aimed.port:
        yield None
        return
    from linewright.planning import pipeline
    from linewright.tasks import drawing

    with Terminal(as_json=False) as front, drawing.part_by_part(aimed, front) as play:
        yield lambda picture, control: play(pipeline.planned(picture, aimed.rig, placement).program, control)
