"""``linewright board``: install the code on a board, inspect it, move the machine by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import options, output, target
from linewright.cli.commands import Commands
from linewright.cli.terminal import Terminal
from linewright.tasks import cautions

if TYPE_CHECKING:
    from linewright.board.self_test import CheckResult
    from linewright.board.status import BoardStatus
    from linewright.bringup.onlooker import Onlooker
    from linewright.tasks.flashing import Flashed
    from linewright.tasks.hand_moves import MachineReport
    from linewright.tasks.target import Target

app = Commands(
    help="Install the code on a board, check the board, and move the machine by hand.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

EXIT_FAILED = 3
"""A check has failed: board or link is not usable, as with other link failures."""

# Negative numbers look like options to the parser, so unknown options are allowed and parsed as numbers here.
_NEGATIVE = {"ignore_unknown_options": True}


@app.command()
def flash(
    port: Annotated[
        str | None, typer.Option("--port", metavar="PORT", help="serial:PATH, such as serial:/dev/ttyACM0.")
    ] = None,
    rig_file: options.RigFile = None,
    image: Annotated[
        Path | None,
        typer.Option(
            "--image", metavar="FILE", help="First install this MicroPython image (.uf2) on a board in BOOTSEL mode."
        ),
    ] = None,
    drive: Annotated[
        Path | None,
        typer.Option(
            "--drive", metavar="FOLDER", help="Drive of that board; needed if several boards are in BOOTSEL mode."
        ),
    ] = None,
    source: Annotated[bool, typer.Option("--source", help="Copy the files as they are, not compiled.")] = False,
    as_json: options.AsJson = False,
) -> int:
    """Put this version's code on a board that runs MicroPython, and test it there.

    Files are compiled for its processor and checked one by one. May be repeated; other files on the board stay.
    With --rig, the test is that of `board check`, which raises the pen; without, it looks at link, code and queue.
    A board without MicroPython gets that first, with --image.
    """
    if image is not None:
        _put_image(image, drive, as_json=as_json)
        return 0
    if port is None:
        from linewright.errors import InputError

        raise InputError("no port is named", hint="`linewright ports` lists them; then --port serial:PATH")
    from linewright.tasks import flashing

    flashing.serial_path(port)
    aimed = flashing.at_serial_port(target.of_rig(rig_file, said=not as_json), port)
    if rig_file is not None:
        _caution(aimed)
    with _repeatable(as_json) as front:
        done = flashing.flash(aimed, front, compiled=not source, tell_rig=rig_file is not None)
    if as_json:
        output.emit_json({"port": port, **_flashed(done)})
    else:
        _tell_flashed(done, port)
    return 0 if done.passed else EXIT_FAILED


@app.command()
def update(
    port: options.Port = None,
    rig_file: options.RigFile = None,
    source: Annotated[bool, typer.Option("--source", help="Copy the files as they are, not compiled.")] = False,
    as_json: options.AsJson = False,
) -> int:
    """Tell whether the board runs this version's code, and put that there if it does not.

    As `board flash` does it: checked file by file, what else is on the board stays, and the board is tested afterwards.
    """
    from linewright.tasks import flashing

    aimed = target.aim(rig_file, port, said=not as_json)
    # A board found through its remembered port is known to drive this rig.
    tell_rig = rig_file is not None or not aimed.port_named
    if tell_rig:
        _caution(aimed)
    with _repeatable(as_json) as front:
        updated = flashing.update(aimed, front, compiled=not source, tell_rig=tell_rig)
    done = updated.flashed
    if as_json:
        said = {
            "port": aimed.port,
            "before": None if updated.before is None else f"{updated.before:08x}",
            "digest": f"{updated.digest:08x}",
            "updated": done is not None,
        }
        output.emit_json(said if done is None else {**said, **_flashed(done)})
    elif done is None:
        output.say(f"the board runs this version's code, {updated.digest:08x}: nothing to do")
    else:
        _tell_flashed(done, aimed.port)
    return 0 if done is None or done.passed else EXIT_FAILED


@contextmanager
def _repeatable(as_json: bool) -> Iterator[Terminal]:
    """Front for a copy that Ctrl-C may interrupt and that can be repeated."""
    try:
        with Terminal(as_json=as_json) as front:
            yield front
    except KeyboardInterrupt:
        output.error(
            "stopped; the board still runs its previous code",
            "run it again: it continues where it stopped",
            as_json=as_json,
        )
        raise output.Stopped from None


def _flashed(done: Flashed) -> dict[str, object]:
    """For JSON: what was copied, warnings, and the results of the test."""
    return {**done.result.describe(), "warnings": list(done.warnings), "passed": done.passed, **_checks(done.checks)}


def _checks(findings: Iterable[CheckResult]) -> dict[str, object]:
    return {
        "checks": [{"name": one.name, "outcome": one.outcome, "said": one.said, "hint": one.hint} for one in findings]
    }


def _tell_flashed(done: Flashed, port: str) -> None:
    from linewright.cli.tables import board as board_report

    for warning in done.warnings:
        output.warn(warning)
    output.console().print(board_report.flash_table(done.result, port))
    output.say("")
    output.console().print(board_report.check_table(done.checks, "tested"))


def _put_image(image: Path, drive: Path | None, *, as_json: bool) -> None:
    from linewright.tasks import flashing

    with Terminal(as_json=as_json) as front:
        found, chip = flashing.put_image(image, drive, front)
    if as_json:
        output.emit_json({"image": str(image), "drive": str(found), "chip": chip})
        return
    output.say(f"the {chip} at {found} has installed {image.name} and restarted")
    output.say("now `linewright ports` shows its port, and `linewright board flash --port PORT` installs the code")


@app.command()
def info(port: options.Port = None, rig_file: options.RigFile = None, as_json: options.AsJson = False) -> None:
    """Show what the board says: code, limits, state, fault, position.

    Changes nothing and moves nothing.
    """
    from linewright.cli.tables import board as board_report
    from linewright.tasks import hand_moves

    aimed = target.aim(rig_file, port, said=not as_json)
    with _stoppable(as_json) as front:
        stands = hand_moves.info(aimed, front)
    at, status = stands.target, stands.status
    if as_json:
        output.emit_json({"port": at.port, "unique": at.unique, "rehearsal": at.rehearses, **status.describe()})
        return
    output.console().print(board_report.status_table(status, at.port))


@app.command()
def check(port: options.Port = None, rig_file: options.RigFile = None, as_json: options.AsJson = False) -> int:
    """Test link, code, settings, switches, queue and clock.

    No motor moves; a board that has just started raises the pen.
    """
    from linewright.cli.tables import board as board_report
    from linewright.tasks import hand_moves

    aimed = _aimed(rig_file, port, as_json)
    with _stoppable(as_json) as front:
        at, findings = hand_moves.check(aimed, front)
    failed = [finding.name for finding in findings if finding.outcome == "failed"]
    if as_json:
        output.emit_json({"port": at.port, "passed": not failed, **_checks(findings)})
    else:
        output.console().print(board_report.check_table(findings, at.port))
    return EXIT_FAILED if failed else 0


@app.command()
def home(port: options.Port = None, rig_file: options.RigFile = None, as_json: options.AsJson = False) -> None:
    """Find the endstops, several times each, and say how well they agree.

    Without endstops, where the pen is becomes the park position. A drawing that was left unfinished is abandoned.
    """
    from linewright.tasks import hand_moves

    aimed = _aimed(rig_file, port, as_json)
    with _stoppable(as_json) as front:
        stands = hand_moves.home(aimed, front)
    if as_json:
        output.emit_json({"port": stands.target.port, "switches": stands.switches, **stands.status.describe()})
        return
    for axis, found in stands.switches.items():
        output.say(f"{axis}: {found['passes']:g} approaches within {found['spread_mm']:.4f} mm")
    _say_position(stands.status)


@app.command("bring-up")
def bring_up(
    port: options.Port = None,
    rig_file: options.RigFile = None,
    start: Annotated[str | None, typer.Option("--from", metavar="STEP", help="Begin at this step.")] = None,
    start_over: Annotated[bool, typer.Option("--start-over", help="Discard earlier results.")] = False,
    show_me: Annotated[
        bool, typer.Option("--show-me", help="Watch it on the virtual rig, with simulated answers.")
    ] = False,
    as_json: options.AsJson = False,
) -> int:
    """Bring a new machine to life, step by step in a safe order.

    Board, endstops, drivers, each motor, pen, homing, repeatability, ends of the travel. What is wired the wrong way
    round is found; what the rig file can put right is written into it, with the old file kept. Answer "stop" at any
    question, and carry on another day.
    """
    from linewright.bringup.steps import STEPS
    from linewright.cli.bring_up import DialogueScreen, standard_input
    from linewright.errors import InputError
    from linewright.tasks import bringing_up

    if show_me and port is None:
        port = target.VIRTUAL
    named = replace(target.of_rig(rig_file), port=port or "")
    bringing_up.BringUpTask(named, show_me=show_me).check()
    task = bringing_up.BringUpTask(_aimed(rig_file, port, as_json), start, start_over, show_me)

    def screen(onlooker: Onlooker | None, keep_alive: Callable[[], object]) -> DialogueScreen:
        lines = None if show_me else standard_input()  # standard input is read only after the board has answered
        return DialogueScreen(lambda line: output.say(line, stderr=as_json), lines, onlooker, keep_alive)

    try:
        with _stoppable(as_json) as front:
            brought = bringing_up.bring_up(task, front, screen)
    except EOFError:
        raise InputError(
            "the input has ended before bring-up was done; the machine is at rest, pen up, motors off",
            hint="run it in a terminal; the same command continues at this step",
        ) from None
    at, walked, hands = brought.target, brought.walked, brought.hands
    failed = [name for name, state in walked.states.items() if state == "failed"]
    if as_json:
        output.emit_json(
            {
                "port": at.port,
                "rehearsal": at.rehearses,
                "complete": walked.complete,
                "stopped": walked.stopped,
                "steps": [
                    {
                        "name": step.name,
                        "state": walked.states.get(step.name, "todo"),
                        "said": walked.said.get(step.name),
                    }
                    for step in STEPS
                ],
                "corrections": hands.corrections,
                "kept": None if hands.kept is None else str(hands.kept),
            }
        )
    else:
        from linewright.cli.tables import board as board_report

        output.say("")
        output.console().print(board_report.bring_up_table(STEPS, walked, hands))
    if failed:
        return EXIT_FAILED
    if walked.stopped:
        raise output.Stopped  # stopped by the user, as with Ctrl-C
    return 0


@app.command(context_settings=_NEGATIVE)
def jog(
    x_mm: Annotated[float, typer.Argument(metavar="X", help="mm to the right; with --to, the position.")],
    y_mm: Annotated[float, typer.Argument(metavar="Y", help="mm down; with --to, the position.")],
    to: Annotated[bool, typer.Option("--to", help="X and Y are a machine position instead of a distance.")] = False,
    port: options.Port = None,
    rig_file: options.RigFile = None,
    as_json: options.AsJson = False,
) -> None:
    """Move the pen by X and Y millimetres, or to a place.

    Straight, pen up, within the machine's reach and at the rig's own speed. The machine must be homed.
    """
    from linewright.tasks import hand_moves

    aimed = _aimed(rig_file, port, as_json)
    with _stoppable(as_json) as front:
        stands = hand_moves.jog(aimed, front, (x_mm, y_mm), to_place=to)
    _tell(stands, as_json)


@app.command()
def pen(
    height: Annotated[str, typer.Argument(metavar="up|down|US", help="up, down, or a servo pulse in microseconds.")],
    tried: Annotated[
        bool, typer.Option("--try", help="Do not ask before a height beyond up_us and down_us; listen for a hum.")
    ] = False,
    port: options.Port = None,
    rig_file: options.RigFile = None,
    as_json: options.AsJson = False,
) -> None:
    """Raise or lower the pen, or try a height of the servo.

    Give the servo its own supply: its stall current is more than a USB port owes you.
    """
    from linewright.cli.tables import board as board_report
    from linewright.tasks import hand_moves

    aimed = _aimed(rig_file, port, as_json)
    with _stoppable(as_json) as front:
        stands = hand_moves.pen(aimed, front, height, tried=tried)
    if as_json:
        output.emit_json({"port": stands.target.port, "servo_us": stands.servo_us, **stands.status.describe()})
        return
    where = board_report.pen(stands.status) if height.isdecimal() else height
    output.say(f"pen at {stands.servo_us} us ({where})")


@app.command()
def cut(port: options.Port = None, rig_file: options.RigFile = None, as_json: options.AsJson = False) -> None:
    """Motors off at once, pen up; the position is lost.

    A drawing in another window holds the port: stop it there with Ctrl-C, or switch the motors' supply off.
    """
    from linewright.tasks import hand_moves

    aimed = target.aim(rig_file, port, said=not as_json)
    with _stoppable(as_json) as front:
        at = hand_moves.cut(aimed, front)
    if as_json:
        output.emit_json({"port": at.port, "cut": True})
        return
    output.say("motors off, pen up; home before the next move")


def _aimed(rig_file: Path | None, port: str | None, as_json: bool) -> Target:
    """The machine of a command that may move it, with its cautions."""
    aimed = target.aim(rig_file, port, said=not as_json)
    _caution(aimed)
    return aimed


def _caution(aimed: Target) -> None:
    for caution in cautions.before_moving(aimed.port):
        output.prose(f"caution: {caution}", stderr=True)


@contextmanager
def _stoppable(as_json: bool) -> Iterator[Terminal]:
    """The front of a task that Ctrl-C may stop, after which the machine is at rest with the pen up."""
    try:
        with Terminal(as_json=as_json) as front:
            yield front
    except KeyboardInterrupt:
        output.error("stopped", "`linewright board info` says where the machine stands", as_json=as_json)
        raise output.Stopped from None


def _tell(stands: MachineReport, as_json: bool) -> None:
    if as_json:
        output.emit_json({"port": stands.target.port, **stands.status.describe()})
        return
    _say_position(stands.status)


def _say_position(status: BoardStatus) -> None:
    from linewright.cli.tables import board as board_report

    output.say(f"position: {board_report.position(status)}")
