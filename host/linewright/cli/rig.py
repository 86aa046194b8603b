"""``linewright rig``: create, check and edit rig files, draw the wiring."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import next_steps, options, output, target
from linewright.cli.commands import Commands
from linewright.tasks.results import write_file

app = Commands(
    help="Describe your machine: write its rig file, check it, draw the wiring.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

EXIT_UNSOUND = 2
"""Exit code for a valid file of a machine that must not be switched on, as for invalid input."""

Target = Annotated[
    Path | None, typer.Option("--output", "-o", metavar="FILE", help="Write it there instead of printing it.")
]
File = Annotated[
    Path | None,
    typer.Argument(metavar="FILE", help="Your rig file; the usual one if not given.", readable=False),
]


@app.command()
def new(
    to: Annotated[Path, typer.Option("--output", "-o", metavar="FILE", help="File to write.")] = Path("rig.toml"),
    answers_file: Annotated[
        Path | None,
        typer.Option("--answers", metavar="FILE", help="Answers as JSON, keyed by the names of the questions."),
    ] = None,
    answer: Annotated[
        list[str] | None, typer.Option("--answer", metavar="NAME=VALUE", help="One answer; may be repeated.")
    ] = None,
    usual: Annotated[
        bool, typer.Option("--usual", help="Ask nothing; use the values of common parts for the rest.")
    ] = False,
    questions: Annotated[bool, typer.Option("--questions", help="Print the questions as JSON, and leave.")] = False,
    as_json: options.AsJson = False,
) -> int:
    """Ask about your machine and write its rig file.

    Every figure is explained; what you do not know may stay unknown. Speeds and accelerations follow from motors,
    supply, pulleys and masses. Answers may come from a file, from options, or both; the rest is asked.
    """
    from linewright.cli import new_rig

    if questions:
        from linewright.rig.questions import described

        output.emit_json({"questions": described()})
        return 0
    return new_rig.make(to, answers_file, answer or [], usual=usual, as_json=as_json)


@app.command()
def default(to: Target = None) -> None:
    """Print the commented default rig, as an example."""
    from linewright.rig.rig import Rig

    _write(Rig.default_text(), to)


@app.command()
def schema(to: Target = None) -> None:
    """Print the JSON schema, for editors."""
    from linewright.rig.rig import Rig

    _write(Rig.schema_text(), to)


@app.command()
def check(
    file: File = None,
    reasons: Annotated[bool, typer.Option("--reasons", help="Also give the reasons of passed checks.")] = False,
    as_json: options.AsJson = False,
) -> int:
    """Check a machine before it is switched on.

    Pins, supplies, driver current with the voltage to set, logic levels, endstops, limits against the motors' torque,
    travel against the sheet. A file that is not valid is refused with every problem and its line.
    """
    from linewright.cli.tables import rig as rig_report
    from linewright.rig.doubts import doubts
    from linewright.rig.review import review

    aimed = target.of_rig(file)
    rig, file = aimed.rig, aimed.rig_file
    if not as_json:
        _say_which(file, "check")
    findings = review(rig)
    sound = not any(one.blocks for one in findings)
    if as_json:
        output.emit_json(
            {
                "file": None if file is None else str(file),
                "rig": rig.name,
                "fingerprint": rig.fingerprint(),
                "sound": sound,
                "warnings": list(doubts(rig)),
                "findings": [one.describe() for one in findings],
            }
        )
    else:
        console = output.console()
        console.print(rig_report.review_table(findings, reasons=reasons), soft_wrap=False)
        output.say("")
        output.say(rig_report.verdict(findings, str(file or "the default rig")))
    return 0 if sound else EXIT_UNSOUND


@app.command()
def wiring(
    file: File = None,
    to: Annotated[
        list[Path] | None,
        typer.Option("--output", "-o", metavar="FILE", help="Write the picture there, .svg or .png; may be repeated."),
    ] = None,
    as_json: options.AsJson = False,
) -> None:
    """Show what is to be wired to what: a table, and a picture with -o.

    With fuses, common ground, the switch of the motors' power, capacitors, and cautions.
    """
    from linewright.cli.tables import rig as rig_report
    from linewright.pictures import album
    from linewright.pictures.wiring_picture import wiring_scene
    from linewright.rig.wiring import Wiring

    writers = [(picture, album.writer(picture)) for picture in to or []]
    aimed = target.of_rig(file)
    rig, file = aimed.rig, aimed.rig_file
    plan = Wiring.of(rig)
    scene = wiring_scene(rig, plan)
    for picture, write in writers:
        # Always overwritten, because the picture is made again when the rig file changes.
        write_file(write(scene), picture, over=True)
    if as_json:
        of = {"file": None if file is None else str(file), "rig": rig.name}
        output.emit_json({**of, "pictures": [str(path) for path in to or []], **asdict(plan)})
        return
    _say_which(file, "wiring")
    output.console().print(rig_report.wiring_table(plan), soft_wrap=False)
    output.say("")
    for i, caution in enumerate(plan.cautions, 1):
        output.prose(f"{i}. {caution}")
    for picture in to or []:
        output.say(f"{picture} written")


@app.command()
def use(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="Your rig file; if not given, show the usual rig.", readable=False),
    ] = None,
    nothing: Annotated[bool, typer.Option("--none", help="Forget the usual rig.")] = False,
    as_json: options.AsJson = False,
) -> None:
    """Make a rig the usual one: every command then means it without --rig."""
    from linewright.board import machines
    from linewright.errors import InputError
    from linewright.rig.rig import Rig

    if nothing and file is not None:
        raise InputError("--none and a file were given", hint="give one of them")
    if file is not None and str(file) == target.DEFAULT and not file.exists():
        file, nothing = None, True  # as with `--rig default`
    if file is not None:
        name = Rig.load(file).name
        machines.use(file)
    elif nothing:
        machines.use(None)
    usual = machines.usual()
    if as_json:
        output.emit_json({"usual": None if usual is None else str(usual)})
    elif file is not None:
        output.say(f"{name} ({file}) is the usual rig now: every command uses it unless --rig names another")
    elif usual is None:
        output.say("there is no usual rig; without --rig, commands use the default rig")
    else:
        output.say(f"the usual rig is {usual}")


@app.command()
def show(file: File = None, as_json: options.AsJson = False) -> None:
    """Show what follows: steps per mm, reach, speeds."""
    from linewright.cli.tables import drawings as report
    from linewright.rig.board_settings import board_settings

    rig = target.of_rig(file, said=not as_json).rig
    if as_json:
        output.emit_json(
            {
                "rig": rig.name,
                "board": rig.board,
                "kinematics": rig.kinematics.type,
                "reach_mm": [rig.x.travel_mm, rig.y.travel_mm],
                "steps_per_mm": rig.steps_per_mm.tolist(),
                "fingerprint": rig.fingerprint(),
                "board_settings": board_settings(rig),
            }
        )
        return
    output.console().print(report.rig_table(rig))


def _say_which(file: Path | None, command: str) -> None:
    """Print the machine first, because the user may wire by the output."""
    output.say(
        f"the default rig; name yours: {next_steps.command('rig', command, 'rig.toml')}"
        if file is None
        else f"the rig of {file}"
    )
    output.say("")


def _write(text: str, to: Path | None) -> None:
    if to is None:
        output.say(text.rstrip("\n"))
        return
    write_file(text.encode(), to)
    output.say(f"{to} written")
