"""`Task`: one drawing as the command line asks for it."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linewright.board.drift import DriftCheck
    from linewright.cli.target import Target
    from linewright.program.program import Program
    from linewright.rig.rig import Rig
    from linewright.run.journal import Story


@dataclass(frozen=True)
class Task:
    """What is to be drawn, where, and what is to be said about it.

    Parameters
    ----------
    name : of the picture, for people.
    target : the machine.
    ask_pens : what the user said about stopping for another pen; None: nothing.
    pictures : folder for what was drawn; None: no pictures.
    drift : when to home again and compare; None: not at all.
    story : journal of the drawing to carry on; None: it begins now.
    at_park : the user has put the pen to its park position.
    from_stroke : where a new drawing begins, from 1 on.
    pace : share of the planned speed to begin with, above 0, up to 1.
    outline : whether the pen goes round the drawing's box first, raised.
    """

    name: str
    program: Program
    warnings: tuple[str, ...]
    target: Target
    ask_pens: bool | None
    pictures: Path | None
    as_json: bool
    drift: DriftCheck | None = None
    story: Story | None = None
    at_park: bool = False
    from_stroke: int = 1
    pace: float = 1.0
    outline: bool = False

    @property
    def stem(self) -> str:
        """Of the names of its picture files."""
        from linewright.pictures import album

        return album.stem(self.name)

    @property
    def rig(self) -> Rig:
        """Of the machine."""
        return self.target.rig

    @property
    def port(self) -> str:
        """Where the machine is."""
        return self.target.port

    @property
    def is_virtual(self) -> bool:
        """Whether there is no machine to mind."""
        return self.target.on_virtual_rig

    @property
    def asks_for_pens(self) -> bool:
        """Whether it stops between pens."""
        if len(self.program.groups) < 2:
            return False
        on_hand = not self.is_virtual and sys.stdin.isatty() and not self.as_json
        return on_hand if self.ask_pens is None else self.ask_pens

    def notes(self) -> tuple[str, ...]:
        """What to know before it begins."""
        notes = list(self.warnings)
        pens = len(self.program.groups)
        if self.story is None and not self.rig.finds_its_place and not self.is_virtual:
            x, y = self.rig.park.position_mm
            notes.append(f"without endstops, the pen is taken to stand at its park position now (x {x:g}, y {y:g} mm)")
        if pens > 1 and not self.asks_for_pens and not self.is_virtual:
            notes.append(
                f"all {pens} pens of this picture are drawn with the one that is in; to change them, draw it from a "
                "terminal or with --ask-pens, which waits for Enter before each"
            )
        if self.port.startswith("serial:") and self.rig.board == "virtual":
            notes.append(
                'the rig file says board = "virtual", so its pins and switches have not been checked; '
                "name the board that drives this machine"
            )
        return tuple(notes)
