"""``linewright resume``: carry on with a drawing that was broken off."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import cautions, drawing_task, options, output, target
from linewright.cli.task import Task

if TYPE_CHECKING:
    from linewright.program.program import Program
    from linewright.run.journal import Story


def resume(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="NAME", help="Which drawing, by its picture or as --list names it; the newest where not given."
        ),
    ] = None,
    port: options.Port = None,
    rig_file: options.RigFile = None,
    sheet: Annotated[
        str | None,
        typer.Option("--sheet", "-s", metavar="SIZE", help="What lies on the table: refused unless it is the same."),
    ] = None,
    ask_pens: options.AskPens = None,
    check_drift: options.CheckDrift = None,
    drift_limit_mm: options.DriftLimit = None,
    show: Annotated[bool, typer.Option("--show", help="Show what is done and what is left; nothing moves.")] = False,
    list_all: Annotated[bool, typer.Option("--list", help="List the drawings that can be carried on.")] = False,
    yes: Annotated[
        bool, typer.Option("--yes", "-y", help="Do not ask whether the sheet still lies where it lay.")
    ] = False,
    at_park: Annotated[
        bool,
        typer.Option("--at-park", help="The pen has been put to its park position by hand; for rigs without endstops."),
    ] = False,
    pictures: options.Pictures = None,
    as_json: options.AsJson = False,
) -> None:
    """Carry on with a drawing that was broken off.

    Says what was being drawn and how far it got, homes, and goes on with the first stroke that is not finished. A
    board that has held the pen's place ever since is not homed; it goes on where the pen was lifted. Refused when the
    rig, the program or the sheet is not the same.
    """
    from linewright.board.drift import DriftCheck
    from linewright.rig.doubts import doubts
    from linewright.run import journal, recovery

    if list_all:
        _list(journal.unfinished(), [error.message for error in journal.damaged().values()], as_json=as_json)
        return
    story = recovery.choose(name)
    before = Path(story.rig_file or target.DEFAULT)
    if show:
        rig = target.of_rig(rig_file or before, said=not as_json).rig
    else:
        aimed = target.aim(rig_file or before, port, said=not as_json, before=story.port)
        rig = aimed.rig
    program = story.load_program()
    recovery.check(story, program, rig, sheet)
    stroke = recovery.strokes_done(program, story.records_done)
    if show:
        _show(story, program, stroke, pictures if pictures is not None else Path("out"), as_json=as_json)
        return
    task = Task(
        name=story.picture,
        program=program,
        warnings=(*doubts(rig), *program.warnings),
        target=aimed,
        ask_pens=ask_pens,
        pictures=pictures,
        as_json=as_json,
        drift=DriftCheck.of(rig, check_drift, drift_limit_mm),
        story=story,
        at_park=at_park,
    )
    if not as_json:
        _tell(story, program, stroke)
    for caution in (*cautions.before_moving(aimed.port), cautions.SAME_PLACE):
        output.prose(f"caution: {caution}", stderr=True)
    if sys.stdin.isatty() and not (yes or as_json or task.is_virtual):
        typer.confirm("carry on?", abort=True)
    drawing_task.carry_out(task)


def _tell(story: Story, program: Program, stroke: int) -> None:
    from linewright.cli.tables import drawings as report

    output.console().print(report.story_table(story, program, stroke))


def _show(story: Story, program: Program, stroke: int, folder: Path, *, as_json: bool) -> None:
    from linewright.pictures import album

    stem = album.stem(story.picture)
    written = album.write(album.left_scene(program, stroke, story.picture), folder, f"{stem}-left")
    if as_json:
        output.emit_json({**_facts(story), "pictures": [str(path) for path in written]})
        return
    _tell(story, program, stroke)
    for path in written:
        output.say(str(path))


def _list(stories: list[Story], damaged: list[str], *, as_json: bool) -> None:
    if as_json:
        output.emit_json({"drawings": [_facts(story) for story in stories], "damaged": damaged})
        return
    for message in damaged:
        output.warn(message)
    for story in stories:
        done = f"{story.strokes_done} of {story.strokes} strokes"
        output.say(f"{story.folder.name}  {story.picture} on {story.sheet}, {done}, begun {story.began}")
    if not stories:
        output.say("there is no drawing to carry on")


def _facts(story: Story) -> dict[str, object]:
    return {
        "name": story.folder.name,
        "picture": story.picture,
        "sheet": story.sheet,
        "rig": story.rig_name,
        "rig_fingerprint": story.rig_fingerprint,
        "port": story.port,
        "began": story.began,
        "last": story.last,
        "ended": story.ended,
        "records_done": story.records_done,
        "records": story.records,
        "strokes_done": story.strokes_done,
        "strokes": story.strokes,
    }
