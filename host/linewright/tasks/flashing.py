"""Putting this version's code on a board, and making sure that it runs there."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from linewright.tasks.connection import connected

if TYPE_CHECKING:
    from pathlib import Path

    from linewright.board.flashing import FlashResult
    from linewright.tasks.front import Front
    from linewright.tasks.target import Target


def flash(target: Target, front: Front, *, compiled: bool = True) -> tuple[FlashResult, tuple[str, ...]]:
    """Copy the code, restart the board and hear it greet; returns what was done, and what to know.

    Parameters
    ----------
    target : its port is a serial port's.
    compiled : compile for the board's processor; False: copy the sources.

    Raises
    ------
    InputError : that is no serial port.
    Mismatch : the board has the right files and runs others.
    LinkError : as from the port and the board's prompt.
    """
    from linewright.board import flashing
    from linewright.board.prompt import Prompt
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
            f"the board has the right files, but greets with code {greeting.digest:08x} instead of {result.digest:08x}",
            hint="unplug it, plug it in again, and try `linewright board check`",
        )
    warnings = list(result.warnings)
    if target.rig_file is not None and target.rig.chip not in (greeting.board, "virtual"):
        warnings.append(f"the rig file says {target.rig.board}, this is {greeting.board}")
    elif target.rig_file is not None and (note := _named_otherwise(target.rig.board, result.board.machine)):
        warnings.append(note)
    return result, tuple(warnings)


def put_image(path: Path, drive: Path | None, front: Front) -> tuple[Path, str]:
    """Give a board in BOOTSEL mode MicroPython's image; returns its drive and its chip.

    Parameters
    ----------
    path : a UF2 file.
    drive : the folder of the board's drive; None: the only one that shows up.

    Raises
    ------
    InputError : the image or the drive will not do; nothing has been written.
    FlashError : the board has not taken it.
    """
    from linewright.board import image

    whole = image.read(path)
    found, chip = image.find_drive(drive)
    image.put(whole, found, chip, lambda done: front.progress("copying the image", done))
    return found, chip


def _named_otherwise(said: str, machine: str) -> str:
    """What to know where the rig file names another board than the one that calls itself so; "" where it does not."""
    from linewright.rig.board_pins import BOARDS, called

    is_called = called(machine)
    if is_called == said or said == "virtual" or not is_called or not BOARDS[is_called].machine:
        return ""
    return (
        f'the rig file says {said}, and the board calls itself {machine}: with board = "{is_called}" in it, '
        "`linewright rig check` knows its pins"
    )


def serial_path(port: str) -> str:
    """The device of a serial port.

    Raises
    ------
    InputError : it is another kind of port.
    """
    from linewright.errors import InputError

    kind, _, path = port.partition(":")
    if kind != "serial" or not path:
        raise InputError(
            f"{port!r} is not a board's serial port",
            hint="write serial:PATH, such as serial:/dev/ttyACM0; a virtual rig needs no flashing, it runs this "
            "version's code already",
        )
    return path


def at_serial_port(target: Target, port: str) -> Target:
    """The machine at a serial port that is named for flashing."""
    return replace(target, port=port, port_named=True)
