"""Asking for pen changes during a drawing."""

from __future__ import annotations

import sys
import threading
from typing import TYPE_CHECKING

from linewright.cli import output

if TYPE_CHECKING:
    from linewright.board.session_values import Control, Progress


class PenChange:
    """Asks for each pen once. Without keys it reads the answer in a separate thread.

    Parameters
    ----------
    control : notified when the pen is mounted.
    by_key : the answer is a key of `linewright.cli.keys`.
    senses_power : the board senses the motor supply.
    finds_its_place : homing is possible; otherwise the user has to move the pen to its park position.
    """

    def __init__(self, control: Control, *, by_key: bool, senses_power: bool, finds_its_place: bool) -> None:
        self._control = control
        self._by_key = by_key
        # No question if the board senses the supply: it stops then, and `resume` homes.
        park = "" if finds_its_place else "put the pen to its park position, then "
        then = "" if by_key else " and Enter"
        self._or_home = "" if senses_power else f"; if the motor supply was switched off: {park}h{then} homes first"
        self._drawing_with = ""  # the mounted pen
        self._asked_at: int | None = None  # record of the last request
        self._reader: threading.Thread | None = None

    def see(self, now: Progress) -> None:
        """Note the pen that draws."""
        self._drawing_with = now.pen.name

    def ask(self, now: Progress) -> None:
        """Ask for the pen that the drawing waits for, unless already done."""
        if self._asked_at == now.records_done:
            return
        self._asked_at = now.records_done
        if now.pen.name == self._drawing_with:
            what = f"the pen '{now.pen.name}' needs ink, sharpening or a dip"
        else:
            what = f"mount the pen '{now.pen.name}'"
        output.prose(f"{what}, then press Enter{self._or_home}", stderr=True)
        if not self._by_key and (self._reader is None or not self._reader.is_alive()):
            self._reader = threading.Thread(target=self._read, daemon=True)
            self._reader.start()

    def _read(self) -> None:
        if typed := sys.stdin.readline():
            self._control.pen_changed(home=typed.strip().lower() == "h")
        else:
            # End of input is no answer: drawing on with the wrong pen would spoil the sheet.
            output.say(
                "the input has ended, so nobody can press Enter; the drawing waits until it is stopped", stderr=True
            )
