"""``linewright rig``: write, check and show the rig file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from linewright.cli import options, output

app = typer.Typer(
    help="Write, check and show the rig file.",
    invoke_without_command=True,
    rich_markup_mode=None,
)

Target = Annotated[
    Path | None, typer.Option("--output", "-o", metavar="FILE", help="Write it there instead of printing it.")
]
File = Annotated[
    Path | None,
    typer.Argument(metavar="[FILE]", help="Your rig file; the default rig without one.", readable=False),
]


@app.callback()
def _rig(context: typer.Context) -> None:
    """Write, check and show the rig file; alone, print the commented default."""
    if context.invoked_subcommand is None:
        default()


@app.command()
def default(to: Target = None) -> None:
    """Print the commented default, to start from."""
    from linewright.rig import Rig

    _write(Rig.default_text(), to)


@app.command()
def schema(to: Target = None) -> None:
    """Print the JSON schema, for editors."""
    from linewright.rig import Rig

    _write(Rig.schema_text(), to)


@app.command()
def check(file: File = None, as_json: options.AsJson = False) -> None:
    """Check a file: every problem, with its line."""
    rig = options.load_rig(file)
    warnings = rig.warnings()
    if as_json:
        output.emit_json({"rig": rig.name, "fingerprint": rig.fingerprint(), "warnings": list(warnings)})
        return
    for warning in warnings:
        output.warn(warning)
    output.say(f"{file or 'the default rig'} is sound")


@app.command()
def show(file: File = None, as_json: options.AsJson = False) -> None:
    """Show what follows: steps per mm, reach, speeds."""
    from linewright.views import report

    rig = options.load_rig(file)
    if as_json:
        output.emit_json(
            {
                "rig": rig.name,
                "board": rig.board,
                "kinematics": rig.kinematics.type,
                "reach_mm": [rig.x.travel_mm, rig.y.travel_mm],
                "steps_per_mm": rig.steps_per_mm.tolist(),
                "fingerprint": rig.fingerprint(),
                "board_settings": rig.settings(),
            }
        )
        return
    output.console().print(report.rig_table(rig))


def _write(text: str, to: Path | None) -> None:
    if to is None:
        output.say(text.rstrip("\n"))
        return
    from linewright.errors import InputError
    from linewright.files import replacing

    if to.exists():
        raise InputError(f"{to} exists already", hint="name another file, or remove that one first")
    try:
        with replacing(to) as stream:
            stream.write(text.encode())
    except OSError as error:
        hint = "check the folder, its permissions and the free space"
        raise InputError(f"cannot write {to}: {error.strerror or error}", hint=hint) from error
    output.say(f"{to} written")
