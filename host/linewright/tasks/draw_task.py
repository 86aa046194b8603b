"""A drawing task and its result."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.errors import InputError

if TYPE_CHECKING:
    from linewright.board.drift import DriftCheck
    from linewright.board.session_values import DrawResult
    from linewright.program.program import Program
    from linewright.rig.rig import Rig
    from linewright.run.story import Manner, Story
    from linewright.simulation.replay import TraceReport
    from linewright.tasks.target import Target


@dataclass(frozen=True)
class DrawTask:
    """Options of a drawing.

    Parameters
    ----------
    name : name of the picture, for messages.
    target : the machine.
    ask_pens : stop before each pen but the first for a pen change.
    pictures : folder for pictures of what was drawn; None: no pictures.
    drift : when to home again and compare; None: never.
    story : journal of the drawing to resume; None: a new drawing.
    at_park : the user has moved the pen to its park position.
    from_stroke : first stroke, from 1; None: the first one, or the resume point.
    pace : initial share of the planned speed, above 0, up to 1.
    outline : trace the drawing's bounding box with the pen up first.
    pens_said : the user's choice about pen changes; None: none.
    one_of_several : only one pen of a drawing is drawn, so this pen is requested by name.
    reads_tape : on a virtual rig started for this drawing, read the tape afterwards; the rig ends.
    """

    name: str
    program: Program
    warnings: tuple[str, ...]
    target: Target
    ask_pens: bool = False
    pictures: Path | None = None
    drift: DriftCheck | None = None
    story: Story | None = None
    at_park: bool = False
    from_stroke: int | None = None
    pace: float = 1.0
    outline: bool = False
    pens_said: bool | None = None
    one_of_several: bool = False
    reads_tape: bool = True

    @property
    def stem(self) -> str:
        """Base name of its picture files."""
        from linewright.pictures import album

        return album.stem(self.name)

    @property
    def rig(self) -> Rig:
        """Rig of the machine."""
        return self.target.rig

    @property
    def port(self) -> str:
        """Port of the machine."""
        return self.target.port

    @property
    def is_virtual(self) -> bool:
        """Whether a virtual rig draws."""
        return self.target.on_virtual_rig

    @property
    def asks_for_pens(self) -> bool:
        """Whether to stop for pen changes."""
        return self.ask_pens and (len(self.program.groups) > 1 or self.one_of_several or self.pens_said is True)

    @property
    def manner(self) -> Manner:
        """Options stored in the journal for resuming."""
        from linewright.run.story import Manner

        return Manner(self.pens_said, self.pace, self.drift)

    def with_only(self, pen: str) -> DrawTask:
        """The same task with only one pen's part.

        Raises
        ------
        InputError : no pen of the program has this name.
        """
        from linewright.run import part

        program = part.only_pen(self.program, pen)
        warnings = part.of_its_pens(self.warnings, program)
        return replace(self, program=program, warnings=warnings, one_of_several=True)

    def notes(self) -> tuple[str, ...]:
        """Remarks to show before it begins."""
        notes = list(self.warnings)
        pens = len(self.program.groups)
        if self.story is None and not self.rig.finds_its_place and not self.is_virtual:
            x, y = self.rig.park.position_mm
            notes.append(
                f"the rig has no endstops: the pen is assumed to stand at its park position now (x {x:g}, y {y:g} mm)"
            )
        if pens > 1 and not self.asks_for_pens and not self.is_virtual:
            each = "both pens" if pens == 2 else f"all {pens} pens"
            change = "; to change pens, draw from a terminal, or with --ask-pens, which waits for Enter before each pen"
            notes.append(
                f"{each} of this picture are drawn with the mounted pen{change if self.pens_said is None else ''}"
            )
        if self.port.startswith("serial:") and self.rig.board == "virtual":
            notes.append(
                'the rig file says board = "virtual", so its pins and switches have not been checked; '
                "name the board that drives this machine"
            )
        return tuple(notes)


@dataclass(frozen=True)
class Drawn:
    """Result of a drawing.

    Parameters
    ----------
    task : the task, with the board's identity in its target.
    result : None if all strokes were drawn already.
    trace : on the virtual rig, the drawn path and the pulse checks.
    pictures : written files.
    can_carry_on : strokes remain, and there is a journal to resume from.
    """

    task: DrawTask
    result: DrawResult | None
    trace: TraceReport | None = None
    pictures: tuple[Path, ...] = ()
    can_carry_on: bool = False

    @property
    def finished(self) -> bool:
        """Whether no stroke remains."""
        return self.result is None or self.result.finished

    @property
    def too_far_off(self) -> bool:
        """Whether a drift above the limit was found."""
        limit = self.task.drift
        return (
            limit is not None
            and self.result is not None
            and any(found.beyond(limit.limit_mm) for found in self.result.drifts)
        )


def programs_in(source: str | None) -> list[str]:
    """The programs in a folder, by name; empty if the source is no folder.

    Raises
    ------
    InputError : the folder has no program or cannot be read.
    """
    from linewright.planning import pipeline

    if source is None:
        return []
    try:
        inside = sorted(Path(source).iterdir())
    except (FileNotFoundError, NotADirectoryError, ValueError):  # ValueError: a name with a character of code 0
        return []
    except OSError as error:
        hint = "name a program or a folder that you may read"
        raise InputError(f"cannot open the folder {source}: {error.strerror or error}", hint=hint) from None
    found = [str(path) for path in inside if pipeline.is_job(path)]
    if not found:
        raise InputError(
            f"there is no program in the folder {source}", hint="`linewright plan *.svg -o FOLDER` saves programs there"
        )
    return found
