"""``linewright board``: put the code on a board, look at it, move it by hand."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import cautions, options, output, target
from linewright.cli.commands import Commands

if TYPE_CHECKING:
    from linewright.board.session import Session
    from linewright.board.status import BoardStatus
    from linewright.cli.target import Target
    from linewright.rig.rig import Rig

app = Commands(
    help="Put the code on a board, look at it, move the machine by hand.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

EXIT_FAILED = 3
"""A check has failed: the board or its link is not fit for use, as with any other failure of the link."""

# Negative numbers look like options to the parser; so what it does not know is left to be read as a number.
_NEGATIVE = {"ignore_unknown_options": True}


@app.command()
def flash(
    port: Annotated[
        str,
        typer.Option("--port", metavar="PORT", help="serial:PATH, such as serial:/dev/ttyACM0.", show_default=False),
    ],
    rig_file: options.RigFile = None,
    source: Annotated[bool, typer.Option("--source", help="Copy the files as they are, not compiled.")] = False,
    as_json: options.AsJson = False,
) -> None:
    """Put this version's code on a board that runs MicroPython.

    Compiled for its processor, and checked file by file. May be repeated; what else is on the board stays there.
    """
    from linewright.board import flashing
    from linewright.board.prompt import Prompt
    from linewright.cli.progress import ProgressBar
    from linewright.cli.tables import board as board_report
    from linewright.errors import InputError, Mismatch

    kind, _, path = port.partition(":")
    if kind != "serial" or not path:
        raise InputError(
            f"{port!r} is not a board's serial port",
            hint="write serial:PATH, such as serial:/dev/ttyACM0; a virtual rig needs no flashing, it runs this "
            "version's code already",
        )
    aimed = replace(target.of_rig(rig_file, said=not as_json), port=port, port_named=True)
    try:
        with ProgressBar(shown=not as_json) as bar, Prompt(path) as prompt:
            result = flashing.flash(
                prompt, compiled=not source, on_progress=lambda done, total: bar.share("copying", done / max(total, 1))
            )
            bar.say("starting the board")
            prompt.restart()
    except KeyboardInterrupt:
        output.error("stopped; the board runs what it had", "run it again: it takes up where it was", as_json=as_json)
        raise output.Stopped from None
    with target.connected(aimed, said=not as_json) as (session, _):
        greeting = session.greeting or session.hello()
    if not greeting.same_code:
        raise Mismatch(
            f"the board has the right files, but greets with code {greeting.digest:08x} instead of {result.digest:08x}",
            hint="unplug it, plug it in again, and try `linewright board check`",
        )
    warnings = list(result.warnings)
    if aimed.rig_file is not None and aimed.rig.board not in (greeting.board, "virtual"):
        warnings.append(f"the rig file says {aimed.rig.board}, this is {greeting.board}")
    if as_json:
        output.emit_json({"port": port, **result.describe(), "warnings": warnings})
        return
    for warning in warnings:
        output.warn(warning)
    output.console().print(board_report.flash_table(result, port))


@app.command()
def info(port: options.Port = None, rig_file: options.RigFile = None, as_json: options.AsJson = False) -> None:
    """Show what the board says: code, limits, state, fault, position.

    Changes nothing and moves nothing.
    """
    with _session(port, rig_file, as_json) as (session, at):
        session.hello()
        _show(_status(session, at.rig), at, as_json)


@app.command()
def check(port: options.Port = None, rig_file: options.RigFile = None, as_json: options.AsJson = False) -> int:
    """Test link, code, settings, switches, queue and clock.

    No motor moves; a board that has just started raises the pen.
    """
    from linewright.board.self_test import check_board
    from linewright.cli.tables import board as board_report

    with _session(port, rig_file, as_json, moves=True) as (session, at):
        findings = list(check_board(session, at.rig))
    failed = [finding.name for finding in findings if finding.outcome == "failed"]
    if as_json:
        rows = [{"name": one.name, "outcome": one.outcome, "said": one.said, "hint": one.hint} for one in findings]
        output.emit_json({"port": at.port, "passed": not failed, "checks": rows})
    else:
        output.console().print(board_report.check_table(findings, at.port))
    return EXIT_FAILED if failed else 0


@app.command()
def home(port: options.Port = None, rig_file: options.RigFile = None, as_json: options.AsJson = False) -> None:
    """Find the endstops, several times each, and say how well they agree.

    Without endstops, where the pen is becomes the park position. A drawing that was left unfinished is abandoned.
    """
    with _session(port, rig_file, as_json, moves=True) as (session, at):
        rig = at.rig
        session.greet()
        if _status(session, rig).state in ("drawing", "holding"):
            output.warn("a drawing that was left unfinished is given up")
        homed = session.home()
        status = _status(session, rig)
    spreads = {}
    for axis, motor in (("x", rig.a), ("y", rig.b)):
        if passes := homed.get(f"{axis}_passes", 0):
            steps = homed[f"{axis}_spread_steps"]
            spreads[axis] = {"passes": passes, "spread_steps": steps, "spread_mm": steps / motor.steps_per_mm}
    if as_json:
        output.emit_json({"port": at.port, "switches": spreads, **status.describe()})
        return
    for axis, found in spreads.items():
        output.say(f"{axis}: {found['passes']} approaches within {found['spread_mm']:.4f} mm")
    _say_position(status)


@app.command("bring-up")
def bring_up(
    port: options.Port = None,
    rig_file: options.RigFile = None,
    start: Annotated[str | None, typer.Option("--from", metavar="STEP", help="Begin at this step.")] = None,
    start_over: Annotated[bool, typer.Option("--start-over", help="Forget what was found earlier.")] = False,
    show_me: Annotated[
        bool, typer.Option("--show-me", help="On the virtual rig: look on while somebody else answers.")
    ] = False,
    as_json: options.AsJson = False,
) -> int:
    """Bring a new machine to life, step by step in a safe order.

    Board, endstops, drivers, each motor, pen, homing, repeatability, ends of the travel. What is wired the wrong way
    round is found; what the rig file can put right is written into it, with the old file kept. Answer "stop" at any
    question, and carry on another day.
    """
    from linewright.bringup.dialogue import Dialogue
    from linewright.bringup.hands import Hands
    from linewright.bringup.notebook import Notebook, machine_key
    from linewright.bringup.onlooker import Onlooker
    from linewright.bringup.steps import STEPS
    from linewright.cli.bring_up import Screen, standard_input
    from linewright.errors import InputError
    from linewright.rig.rig import Rig
    from linewright.virtual.bystander import BesideProcess
    from linewright.virtual.port import VirtualTransport

    if show_me and port is None:
        port = target.VIRTUAL
    if show_me and not (port or "").startswith(target.VIRTUAL):
        raise InputError("--show-me needs a virtual rig", hint="at a real machine, the eyes and fingers are yours")
    if (port or "").startswith("serial:") and target.of_rig(rig_file).rig_file is None:
        raise InputError(
            "bring-up needs the rig file of your machine: --rig rig.toml",
            hint="`linewright rig new` asks about your machine and writes one",
        )
    with _session(port, rig_file, as_json, moves=True, silent=True) as (session, at):
        notebook = Notebook(lambda: machine_key(session, at.port, at.rig_file))
        earlier = not start_over and notebook.read(_rig_of_notes(at, show_me))
        if start_over:
            notebook.forget()
        file = _file_to_correct(at, show_me, anew=not earlier)
        rig = at.rig if file is None or file == at.rig_file else Rig.load(file)
        session.use(rig)
        hands = Hands(session, rig, file)
        onlooker = None
        if isinstance(session.link, VirtualTransport):
            onlooker = Onlooker(BesideProcess(session.link.rig), rig)
        lines = None if show_me else standard_input()
        screen = Screen(lambda line: output.say(line, stderr=as_json), lines, onlooker, hands.keep_alive)
        if file is not None and file != at.rig_file:
            screen.hear(
                "plain", f"This is a rehearsal: what it finds goes into the copy {file}; {at.rig_file} stays as it is."
            )
        if earlier:
            screen.hear("plain", f"Carrying on from {notebook.when} UTC; --start-over begins anew.")
        try:
            walked = Dialogue(STEPS, hands, screen, notebook).walk(start)
        except EOFError:
            raise InputError(
                "nobody answers any more; the machine stands, pen up, motors free",
                hint="run it in a terminal; the same command carries on where it was",
            ) from None
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
        raise output.Stopped  # left off by the user, as with Ctrl-C
    return 0


def _copy_of(rig_file: Path) -> Path:
    """Where a rehearsal writes."""
    return rig_file.with_name(f"{rig_file.stem}.rehearsal{rig_file.suffix}")


def _rig_of_notes(at: Target, show_me: bool) -> Rig:
    """The rig that a bring-up was left with: of a rehearsal, the copy that it has corrected."""
    from linewright.rig.rig import Rig

    if at.rig_file is not None and (at.rehearses or show_me) and _copy_of(at.rig_file).exists():
        return Rig.load(_copy_of(at.rig_file))
    return at.rig


def _file_to_correct(at: Target, show_me: bool, *, anew: bool) -> Path | None:
    """The file that corrections go into: the machine's own, or of a rehearsal a copy; None: the rig has no file."""
    if at.rig_file is None or not (at.rehearses or show_me):
        return at.rig_file
    copy = _copy_of(at.rig_file)
    if anew or not copy.exists():
        output.write_file(at.rig_file.read_bytes(), copy, over=True)
    return copy


@app.command(context_settings=_NEGATIVE)
def jog(
    x_mm: Annotated[float, typer.Argument(metavar="X", help="mm to the right; with --to, the place itself.")],
    y_mm: Annotated[float, typer.Argument(metavar="Y", help="mm down; with --to, the place itself.")],
    to: Annotated[bool, typer.Option("--to", help="X and Y are a machine position instead of a way.")] = False,
    port: options.Port = None,
    rig_file: options.RigFile = None,
    as_json: options.AsJson = False,
) -> None:
    """Move the pen by X and Y millimetres, or to a place.

    Straight, pen up, within the machine's reach and at the rig's own speed. The machine must be homed.
    """
    from linewright.errors import LinkError

    with _session(port, rig_file, as_json, moves=True) as (session, at):
        session.greet()
        here = _status(session, at.rig)
        if here.position_mm is None:
            lasting = "; a virtual rig that lasts: `linewright virtual --stay`" if at.on_virtual_rig else ""
            raise LinkError(
                "the board does not know where the pen is", hint=f"home first: `linewright board home`{lasting}"
            )
        x, y = (x_mm, y_mm) if to else (here.position_mm[0] + x_mm, here.position_mm[1] + y_mm)
        session.jog((x, y))
        _tell(_status(session, at.rig), at, as_json)


@app.command()
def pen(
    height: Annotated[str, typer.Argument(metavar="up|down|US", help="up, down, or a servo pulse in microseconds.")],
    port: options.Port = None,
    rig_file: options.RigFile = None,
    as_json: options.AsJson = False,
) -> None:
    """Raise or lower the pen, or try a height of the servo.

    Give the servo its own supply: its stall current is more than a USB port owes you.
    """
    from linewright.errors import InputError

    if height not in ("up", "down") and not height.isdecimal():
        raise InputError(f"{height!r} is no height of the pen", hint="write up, down, or a servo pulse such as 1400")
    with _session(port, rig_file, as_json, moves=True) as (session, at):
        heights = {"up": at.rig.pen.up_us, "down": at.rig.pen.down_us}
        servo_us = heights[height] if height in heights else int(height)
        session.greet()
        session.pen(servo_us)
        status = _status(session, at.rig)
    if as_json:
        output.emit_json({"port": at.port, "servo_us": servo_us, **status.describe()})
        return
    from linewright.cli.tables import board as board_report

    output.say(f"pen at {servo_us} us ({height if height in heights else board_report.pen(status)})")


@app.command()
def cut(port: options.Port = None, rig_file: options.RigFile = None, as_json: options.AsJson = False) -> None:
    """Motors off at once, pen up; the position is lost.

    A drawing in another window holds the port: stop it there with Ctrl-C, or switch the motors' supply off.
    """
    # Nobody is asked who they are first: this is about seconds.
    with _session(port, rig_file, as_json, met=False) as (session, at):
        session.cut()
    if as_json:
        output.emit_json({"port": at.port, "cut": True})
        return
    output.say("motors off, pen up; home before the next move")


@contextmanager
def _session(
    port: str | None,
    rig_file: Path | None,
    as_json: bool,
    *,
    moves: bool = False,
    met: bool = True,
    silent: bool = False,
) -> Iterator[tuple[Session, Target]]:
    """A session with the machine that is meant, not told its rig yet; with cautions where something may move."""
    aimed = target.aim(rig_file, port, said=not as_json)
    if moves:
        for caution in cautions.before_moving(aimed.port):
            output.prose(f"caution: {caution}", stderr=True)
    try:
        with target.connected(aimed, said=not as_json, met=met, silent=silent) as (session, known):
            if moves:
                cautions.remember(known.port)
            yield session, known
    except KeyboardInterrupt:
        # What was moving has been stopped by the session, the pen up.
        output.error("stopped", "`linewright board info` says where the machine stands", as_json=as_json)
        raise output.Stopped from None


def _status(session: Session, rig: Rig) -> BoardStatus:
    from linewright.board.status import BoardStatus

    greeting = session.greeting
    assert greeting is not None, "the session has greeted"
    return BoardStatus.of(greeting, session.fresh_report(), rig)


def _show(status: BoardStatus, at: Target, as_json: bool) -> None:
    if as_json:
        output.emit_json({"port": at.port, "unique": at.unique, "rehearsal": at.rehearses, **status.describe()})
        return
    from linewright.cli.tables import board as board_report

    output.console().print(board_report.status_table(status, at.port))


def _tell(status: BoardStatus, at: Target, as_json: bool) -> None:
    if as_json:
        output.emit_json({"port": at.port, **status.describe()})
        return
    _say_position(status)


def _say_position(status: BoardStatus) -> None:
    from linewright.cli.tables import board as board_report

    output.say(f"position: {board_report.position(status)}")
