"""``linewright guess``: the guessing game."""

from __future__ import annotations

import random
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import option_groups, options, output, target
from linewright.cli.option_groups import SheetOptions
from linewright.cli.terminal import Terminal
from linewright.tasks import cautions, guess_game
from linewright.tasks.guess_game import PICTURE, GuessTask

if TYPE_CHECKING:
    from linewright.tasks.guess_game import Draw


def guess(
    players: Annotated[int, typer.Option("--players", metavar="N", min=1, max=2, help="Two take turns.")] = 1,
    rounds: Annotated[int, typer.Option("--rounds", metavar="N", min=1, max=50, help="Subjects to be guessed.")] = 1,
    port: Annotated[
        str | None,
        typer.Option(
            "--port",
            metavar="PORT",
            help="Draw on the machine at this port, as in `draw`; without it, the drawing is shown in a picture file.",
            show_default=False,
        ),
    ] = None,
    pictures: Annotated[Path, typer.Option("--pictures", "-p", metavar="FOLDER", help=f"Where {PICTURE} goes.")] = Path(
        "out"
    ),
    painted: Annotated[bool, typer.Option("--painted", help="Use your picture maker for the picture.")] = False,
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
    placement = option_groups.placement(SheetOptions(sheet=sheet))
    task = GuessTask(aimed, placement, pictures, painted, maker_file)
    if port is not None:
        for caution in cautions.before_moving(aimed.port):
            output.say(f"caution: {caution}", stderr=True)
    names = ["you"] if players == 1 else ["player 1", "player 2"]
    score = dict.fromkeys(names, 0)
    with Terminal(as_json=False) as front, guess_game.machine(task, front) as draw:
        turn = 0
        for number in range(rounds):
            if number and port is not None:
                _asked("lay a new sheet, then press Enter ")
            secret = guessing.pick(rng)
            turn = _round(secret, task, draw, score, turn)
    output.say(f"points: {guessing.scored(score)}")


def _round(secret: str, task: GuessTask, draw: Draw | None, score: dict[str, int], turn: int) -> int:
    """One subject; returns whose turn is next."""
    from linewright.drawing.strokes import Drawing
    from linewright.sources.words import guessing

    names = list(score)
    picture = task.picture(secret)
    parts = guessing.stages(picture.drawing)
    seen: list[Drawing] = []
    for shown, part in enumerate(parts, 1):
        seen.append(part)
        if draw is None:
            output.say(str(task.show(Drawing.one_after_the_other(seen), picture)))
        worth = guessing.worth(shown, len(parts))
        output.say(f"part {shown} of {len(parts)}; a right guess is worth {wording_points(worth)}")
        with guess_game.drawn_meanwhile(draw, picture, part):
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
    output.say(f"the drawing is complete; it was {guessing.with_article(secret)}")
    return turn


def wording_points(count: int) -> str:
    """``3 points``."""
    from linewright import wording

    return wording.count(count, "point")


def _asked(prompt: str) -> str | None:
    """A line typed by a player; None at the end of input."""
    try:
        return " ".join(input(prompt).split())[:200]
    except EOFError:
        output.say("")
        return None
