"""``linewright resume``: continue an interrupted drawing."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import drawing_report, options, output, target
from linewright.errors import InputError
from linewright.tasks import cautions

if TYPE_CHECKING:
    from linewright.tasks.resuming import BrokenOff


def resume(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="NAME", help="The drawing, by the name of its picture or as --list names it; default: the newest."
        ),
    ] = None,
    port: options.Port = None,
    rig_file: options.RigFile = None,
    sheet: Annotated[
        str | None,
        typer.Option(
            "--sheet",
            "-s",
            metavar="SIZE",
            help="The sheet on the machine; an error if the drawing was begun on another.",
        ),
    ] = None,
    ask_pens: options.AskPens = None,
    check_drift: options.CheckDrift = None,
    drift_limit_mm: options.DriftLimit = None,
    show: Annotated[bool, typer.Option("--show", help="Show what is drawn and what is left; nothing moves.")] = False,
    list_all: Annotated[bool, typer.Option("--list", help="List the drawings that can be resumed.")] = False,
    yes: Annotated[
        bool,
        typer.Option(
            "--yes",
            "-y",
            help="Do not ask whether the sheet still lies in place; needed on a real machine without a terminal.",
        ),
    ] = False,
    at_park: Annotated[
        bool,
        typer.Option(
            "--at-park", help="The pen stands at its park position, moved there by hand; for rigs without endstops."
        ),
    ] = False,
    from_stroke: Annotated[
        int | None,
        typer.Option(
            "--from-stroke",
            metavar="N",
            help="The first stroke that is missing on the paper, if the motors lost power while the pen drew.",
        ),
    ] = None,
    pictures: options.Pictures = None,
    as_json: options.AsJson = False,
) -> None:
    """Carry on with a drawing that was broken off.

    Says what was being drawn and how far it got, homes, and goes on where the pen was lifted, or with the first stroke
    that is not finished. A board that senses the motors' power and has held the pen's place ever since is not homed.
    Refused when the rig, the program or the sheet is not the same.
    """
    from linewright.board.drift import DriftCheck
    from linewright.tasks import resuming

    if list_all:
        _list(as_json=as_json)
        return
    story = resuming.find(name)
    before = Path(story.rig_file or target.DEFAULT)
    if show:
        aimed = target.of_rig(rig_file or before, said=not as_json)
    else:
        aimed = target.aim(rig_file or before, port, said=not as_json, before=story.port)
    broken = resuming.look(story, aimed.rig, sheet)
    if show:
        _show(broken, pictures if pictures is not None else Path("out"), as_json=as_json)
        return
    if not as_json:
        _tell(broken)
    place = cautions.same_place(broken.pen)
    for caution in (*cautions.before_moving(aimed.port), place, *cautions.motor_switch_used(aimed.rig)):
        output.prose(f"caution: {caution}", stderr=True)
    asks = not (yes or aimed.on_virtual_rig)
    if asks and (as_json or not sys.stdin.isatty()):
        raise InputError(
            "there is no terminal to ask whether the sheet still lies in place",
            hint="check the sheet, then resume from a terminal without --json, or with --yes",
        )
    if asks and from_stroke is None and broken.stroke and not aimed.rig.senses_motor_power:
        from_stroke = _first_missing(broken.stroke + 1)
    manner = story.manner
    drift = None  # as in the original drawing
    if manner.drift is None or check_drift is not None or drift_limit_mm is not None:
        drift = DriftCheck.of(aimed.rig, check_drift, drift_limit_mm)
    said = manner.ask_pens if ask_pens is None else ask_pens
    task = resuming.rest_of(
        broken,
        aimed,
        ask_pens=drawing_report.asks_pens(said, aimed, as_json=as_json),
        pens_said=said,
        pictures=pictures,
        drift=drift,
        at_park=at_park,
        from_stroke=from_stroke,
    )
    if asks:
        typer.confirm("carry on?", abort=True)
    drawing_report.carry_out(task, as_json=as_json)


def _first_missing(next_one: int) -> int | None:
    """The first stroke that is not on paper; None if that is the next one, which may be resumed within it."""
    output.prose("check the sheet: which is the first stroke that is missing?", stderr=True)
    found = int(typer.prompt("stroke", default=next_one, err=True))
    return None if found == next_one else found


def _tell(broken: BrokenOff) -> None:
    from linewright.cli.tables import drawings as report

    output.console().print(report.story_table(broken.story, broken.program, broken.stroke))


def _show(broken: BrokenOff, folder: Path, *, as_json: bool) -> None:
    from linewright.tasks import resuming

    written = resuming.picture_of_rest(broken, folder)
    if as_json:
        output.emit_json({**resuming.facts(broken.story), "pictures": [str(path) for path in written]})
        return
    _tell(broken)
    for path in written:
        output.say(str(path))


def _list(*, as_json: bool) -> None:
    from linewright.tasks import resuming

    stories, damaged = resuming.unfinished(), resuming.damaged()
    if as_json:
        output.emit_json({"drawings": [resuming.facts(story) for story in stories], "damaged": damaged})
        return
    for message in damaged:
        output.warn(message)
    for story in stories:
        done = f"{story.strokes_done} of {story.strokes} strokes"
        output.say(f"{story.folder.name}  {story.picture} on {story.sheet}, {done}, begun {story.began}")
    if not stories:
        output.say("there is no drawing to resume")
