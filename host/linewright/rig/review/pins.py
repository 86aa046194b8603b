"""Pins: does the board have them, are they free, and are the motors' lines consecutive where required?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from linewright.rig.boards import BOARDS, ROW
from linewright.rig.questions import runs_of
from linewright.rig.review.findings import ReviewFinding

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

ABOUT = "pins"


def findings(rig: Rig) -> Iterator[ReviewFinding]:
    """Findings about pins; `checks` finds pins that are used twice."""
    if rig.board == "virtual":
        real = 'set board to that of a real machine, such as "rp2040"'
        yield ReviewFinding("good", ABOUT, "a virtual rig has no pins", why=real)
        return
    board = BOARDS[rig.board]
    found = [*_beyond(rig), *_row(rig), *_own(rig)]
    yield from found
    if board.pins is None:
        yield ReviewFinding(
            "unknown",
            ABOUT,
            f"the free GPIO of a {rig.board} board depend on its model",
            why="some pins connect its flash memory or select its boot mode, some are inputs only",
            do="compare [pins] with its pin diagram before you wire it",
        )
    elif not found:
        used = sorted(pin for _, pin in rig.pins if pin is not None)
        yield ReviewFinding(
            "good", ABOUT, f"GPIO {', '.join(map(str, used))} of the {rig.board} are free and in the right order"
        )


def _beyond(rig: Rig) -> Iterator[ReviewFinding]:
    board = BOARDS[rig.board]
    for name, pin in rig.pins:
        if pin is None:
            continue
        if board.pins is not None and pin not in board.pins and pin not in board.own:
            yield ReviewFinding(
                "wrong",
                ABOUT,
                f"pins.{name} = {pin}: this board has GPIO {runs_of(sorted(board.pins))}",
                do="choose one of them",
            )
        elif rig.board == "rp2350" and pin > 29:
            yield ReviewFinding(
                "doubtful",
                ABOUT,
                f"pins.{name} = {pin}: only the large RP2350 has GPIO above 29",
                why="the small package ends at GPIO 29 (RP2350 data sheet, 1.2)",
                do="count the chip's pins: the large package has 80",
            )


def _row(rig: Rig) -> Iterator[ReviewFinding]:
    board = BOARDS[rig.board]
    if not board.in_a_row:
        return
    first = rig.pins.step_a
    wanted = {name: first + i for i, name in enumerate(ROW)}
    if any(getattr(rig.pins, name) != pin for name, pin in wanted.items()):
        have = ", ".join(f"{name} = {getattr(rig.pins, name)}" for name in ROW)
        need = ", ".join(f"{name} = {pin}" for name, pin in wanted.items())
        yield ReviewFinding(
            "wrong",
            ABOUT,
            f"the motors' lines are not consecutive: {have}",
            why="on this board one PIO program sets all four at once, as consecutive pins in this order",
            do=f"wire them as {need}, or begin at another GPIO",
        )
    if first > board.highest_step_a:
        yield ReviewFinding(
            "wrong",
            ABOUT,
            f"pins.step_a = {first}: four consecutive GPIO can begin at most at GPIO {board.highest_step_a}",
            do="begin it lower",
        )


def _own(rig: Rig) -> Iterator[ReviewFinding]:
    board = BOARDS[rig.board]
    any_of_them = not board.machine
    for name, pin in rig.pins:
        why = board.own.get(pin) if pin is not None else None
        if why:
            yield ReviewFinding(
                "doubtful" if any_of_them or pin in (board.pins or ()) else "wrong",
                ABOUT,
                f"pins.{name} = {pin}: {'on boards of the Pico shape ' if any_of_them else ''}GPIO {pin} is not free",
                why=f"{why} (board data sheet, pinout)",
                do="take another GPIO" + (", unless your board has it on a pin" if any_of_them else ""),
            )
