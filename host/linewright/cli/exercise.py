"""``linewright exercise``: a long test for lost steps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import options, output, target
from linewright.cli.terminal import Terminal
from linewright.tasks import cautions

if TYPE_CHECKING:
    from linewright.calibration.exercise import Bout

Bouts = Annotated[
    int, typer.Option("--bouts", metavar="N", min=1, max=10_000, help="Number of bouts; 12 cover every kind once.")
]
Moves = Annotated[int, typer.Option("--moves", metavar="N", min=1, max=1000, help="Fast moves in each bout.")]
PenDown = Annotated[bool, typer.Option("--pen-down", help="Draw on the fast ways; put scrap paper under the pen.")]
Seed = Annotated[int, typer.Option("--seed", metavar="N", min=0, help="Seed for the order of bouts and the positions.")]


def exercise(
    rig_file: options.RigFile = None,
    port: options.Port = None,
    bouts: Bouts = 24,
    moves: Moves = 4,
    pen_down: PenDown = False,
    seed: Seed = 0,
    as_json: options.AsJson = False,
) -> int:
    """Move the machine hard for a while, homing now and then, and tell which axis loses steps, how fast and which way.

    Exit code 3 when steps were lost. Ctrl-C stops it with the pen up.
    """
    from linewright.cli.tables import exercise as exercise_report
    from linewright.tasks import exercising

    aimed = target.aim(rig_file, port, said=not as_json)
    rig = aimed.rig
    for caution in cautions.before_moving(aimed.port):
        output.prose(f"caution: {caution}", stderr=True)

    def tell(number: int, bout: Bout) -> None:
        if not as_json:
            output.say(f"{number + 1:4d} of {bouts}: {exercise_report.bout_words(bout, rig)}", stderr=True)

    try:
        with Terminal(as_json=as_json) as front:
            tally = exercising.exercise(
                aimed, front, bouts=bouts, moves=moves, pen_down=pen_down, seed=seed, on_bout=tell
            )
    except KeyboardInterrupt:
        output.error(
            "stopped; the machine may have moved, and the board was told to stop with the pen up",
            "`linewright board info` says where the machine stands",
            as_json=as_json,
        )
        raise output.Stopped from None
    lost = any(bout.lost for bout in tally.bouts)
    if as_json:
        output.emit_json({**tally.describe(rig), "lost": lost})
    else:
        output.console().print(exercise_report.tally_table(tally, rig))
        for line in tally.verdict(rig):
            output.prose(line)
    return 3 if lost else 0
