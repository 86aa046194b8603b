"""Task: install this version's code on a board, and test it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from linewright.tasks.connection import connected

if TYPE_CHECKING:
    from pathlib import Path

    from linewright.board.flashing import FlashResult
    from linewright.board.self_test import CheckResult
    from linewright.tasks.front import Front
    from linewright.tasks.target import Target


@dataclass(frozen=True)
class Flashed:
    """Result of flashing a board.

    Parameters
    ----------
    result : the copied files.
    warnings : remarks for the user.
    checks : results of the test afterwards.
    """

    result: FlashResult
    warnings: tuple[str, ...]
    checks: tuple[CheckResult, ...]

    @property
    def passed(self) -> bool:
        """Whether no check has failed."""
        return all(check.outcome != "failed" for check in self.checks)


@dataclass(frozen=True)
class Updated:
    """Result of updating a board.

    Parameters
    ----------
    before : digest of the board's code before; None: no answer, or another protocol.
    digest : digest of this version's code.
    flashed : None: the board had this version already.
    """

    before: int | None
    digest: int
    flashed: Flashed | None


def flash(target: Target, front: Front, *, compiled: bool = True, tell_rig: bool = False) -> Flashed:
    """Copy the code to a board, restart and test it.

    Parameters
    ----------
    target : its port is a serial port.
    compiled : compile for the board's processor; False: copy the sources.
    tell_rig : the board drives the target's rig, so the test may send the settings, which raises the pen.

    Raises
    ------
    InputError : the port is no serial port.
    Mismatch : the board has the right files but runs others.
    LinkError : as from the port and the board's prompt.
    """
    from linewright.board import flashing
    from linewright.board.prompt import Prompt
    from linewright.board.self_test import check_board
    from linewright.errors import Mismatch

    with Prompt(serial_path(target.port)) as prompt:
        result = flashing.flash(
            prompt,
            compiled=compiled,
            on_progress=lambda done, total: front.progress("copying", done / max(total, 1)),
        )
        front.progress("starting the board")
        prompt.restart()
    with connected(target, front) as (session, _):
        greeting = session.greeting or session.hello()
        if not greeting.same_code:
            raise Mismatch(
                f"the board has the right files, but reports code {greeting.digest:08x} instead of {result.digest:08x}",
                hint="unplug it, plug it in again, and try `linewright board check`",
            )
        front.progress("testing the board")
        checks = tuple(check_board(session, target.rig, tell_rig=tell_rig))
    warnings = list(result.warnings)
    if target.rig_file is not None and target.rig.chip not in (greeting.board, "virtual"):
        warnings.append(f"the rig file says {target.rig.board}, but the board is {greeting.board}")
    elif target.rig_file is not None and (note := _named_otherwise(target.rig.board, result.board.machine)):
        warnings.append(note)
    return Flashed(result, tuple(warnings), checks)


def update(target: Target, front: Front, *, compiled: bool = True, tell_rig: bool = False) -> Updated:
    """Install this version's code on a board that runs another; parameters as of `flash`.

    A board that does not answer, such as a new one, gets the code as well.
    """
    from linewright.board import files

    serial_path(target.port)
    before, digest = _code_of(target, front), files.digest()
    if before == digest:
        return Updated(before, digest, None)
    found = (
        ("no code with this protocol version answers") if before is None else f"the board runs other code, {before:08x}"
    )
    front.say(f"{found}; installing this version's, {digest:08x}")
    return Updated(before, digest, flash(target, front, compiled=compiled, tell_rig=tell_rig))


def _code_of(target: Target, front: Front) -> int | None:
    """Digest of the code that a board runs; None if none answers with this protocol."""
    from linewire import messages
    from linewright.errors import Mismatch, NoAnswer

    # Only a board with this code can report its identity, so it is asked after flashing.
    with connected(target, front, met=False) as (session, _):
        try:
            greeting = session.hello()
        except (NoAnswer, Mismatch):
            return None
        if not greeting.same_code and session.fresh_report()["state"] in (messages.DRAWING, messages.HOLDING):
            front.note("the board has an unfinished drawing and loses it; `linewright resume` homes and continues it")
        return greeting.digest


def put_image(path: Path, drive: Path | None, front: Front) -> tuple[Path, str]:
    """Install MicroPython's image on a board in BOOTSEL mode; returns its drive and its chip.

    Parameters
    ----------
    path : a UF2 file.
    drive : folder of the board's drive; None: the only one found.

    Raises
    ------
    InputError : the image or the drive is not suitable; nothing has been written.
    FlashError : the board has not accepted it.
    """
    from linewright.board import image

    whole = image.read(path)
    found, chip = image.find_drive(drive)
    image.put(whole, found, chip, lambda done: front.progress("copying the image", done))
    return found, chip


def _named_otherwise(said: str, machine: str) -> str:
    """Warning if the rig file names another board than the board reports; "" otherwise."""
    from linewright.rig.boards import BOARDS, called

    is_called = called(machine)
    if is_called == said or said == "virtual" or not is_called or not BOARDS[is_called].machine:
        return ""
    return (
        f'the rig file says {said}, and the board calls itself {machine}: with board = "{is_called}" in it, '
        "`linewright rig check` knows its pins"
    )


def serial_path(port: str) -> str:
    """The device path of a serial port.

    Raises
    ------
    InputError : the port is of another kind.
    """
    from linewright.errors import InputError

    kind, _, path = port.partition(":")
    if kind != "serial" or not path:
        raise InputError(
            f"{port!r} is not a serial port",
            hint="write serial:PATH, such as serial:/dev/ttyACM0; a virtual rig needs no flashing, because it always "
            "runs this version's code",
        )
    return path


def at_serial_port(target: Target, port: str) -> Target:
    """The machine at a serial port named for flashing."""
    return replace(target, port=port, port_named=True)
