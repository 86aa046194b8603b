"""``linewright tape``: show what a virtual rig drew."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import options, output, target


def tape(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="As `linewright virtual --tape` wrote it.", readable=False)
    ],
    rig_file: options.RigFile = None,
    sheet: options.SheetName = None,
    pictures: Annotated[Path, typer.Option("--pictures", "-p", metavar="FOLDER", help="Picture file to write.")] = Path(
        "out"
    ),
    as_json: options.AsJson = False,
) -> int:
    """Show what a virtual rig has drawn, and whether every pulse was within its limits.

    Exit code 3 when one was not. The rig file gives the position of the sheet and the width of the pen's line.
    """
    from linewright import wording
    from linewright.cli.exit_codes import EXIT_LINK
    from linewright.cli.tables import drawings
    from linewright.tasks.tapes import read_tape

    trace, written = read_tape(file, target.of_rig(rig_file, said=not as_json), sheet, pictures)
    strokes = 0 if trace.drawn is None else len(trace.drawn)
    if as_json:
        output.emit_json(
            {
                "tape": str(file),
                "strokes": strokes,
                "total_s": trace.total_s,
                "steps": [trace.steps_a, trace.steps_b],
                "lost_steps": list(trace.lost_steps),
                "pulses_broken": trace.broken,
                "damaged": trace.damaged,
                "pictures": [str(path) for path in written],
            }
        )
    else:
        output.say(
            f"{wording.count(strokes, 'stroke')} in {wording.duration(trace.total_s)} since the rig was switched on"
        )
        output.say(drawings.pulses(trace))
        if any(trace.lost_steps):
            output.say(f"lost steps: {trace.lost_steps[0]} of A, {trace.lost_steps[1]} of B")
        if trace.damaged:
            output.warn("the tape ends early: later pulses were not recorded")
        for path in written:
            output.say(str(path))
    return EXIT_LINK if trace.broken else 0
