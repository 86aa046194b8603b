"""One drawing as it is asked for, and how it went."""

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
    """What is to be drawn, and where.

    Parameters
    ----------
    name : of the picture, for people.
    target : the machine.
    ask_pens : stop before each pen but the first and wait until it is in.
    pictures : folder for pictures of what was drawn; None: no pictures.
    drift : when to home again and compare; None: not at all.
    story : journal of the drawing to carry on; None: it begins now.
    at_park : the user has put the pen to its park position.
    from_stroke : where to begin, from 1 on; None: at the beginning, or where it was broken off.
    pace : share of the planned speed to begin with, above 0, up to 1.
    outline : whether the pen goes round the drawing's box first, raised.
    pens_said : what the user has said of stopping between pens; None: nothing.
    one_of_several : it is what one pen of a drawing draws, so that this pen is asked for by its name.
    reads_tape : on a virtual rig that was started for this drawing, read afterwards what the pen drew; the rig ends.
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
        """Whether no real machine moves."""
        return self.target.on_virtual_rig

    @property
    def asks_for_pens(self) -> bool:
        """Whether it stops before each pen."""
        return self.ask_pens and (len(self.program.groups) > 1 or self.one_of_several or self.pens_said is True)

    @property
    def manner(self) -> Manner:
        """How the drawing was asked for, kept so that it can be carried on."""
        from linewright.run.story import Manner

        return Manner(self.pens_said, self.pace, self.drift)

    def with_only(self, pen: str) -> DrawTask:
        """The same with only what one pen draws.

        Raises
        ------
        InputError : no pen of the program has this name.
        """
        from linewright.run import part

        program = part.only_pen(self.program, pen)
        warnings = part.of_its_pens(self.warnings, program)
        return replace(self, program=program, warnings=warnings, one_of_several=True)

    def notes(self) -> tuple[str, ...]:
        """What to know before it begins."""
        notes = list(self.warnings)
        pens = len(self.program.groups)
        if self.story is None and not self.rig.finds_its_place and not self.is_virtual:
            x, y = self.rig.park.position_mm
            notes.append(f"without endstops, the pen is taken to stand at its park position now (x {x:g}, y {y:g} mm)")
        if pens > 1 and not self.asks_for_pens and not self.is_virtual:
            each = "both pens" if pens == 2 else f"all {pens} pens"
            change = "; to change them, draw it from a terminal or with --ask-pens, which waits for Enter before each"
            notes.append(
                f"{each} of this picture are drawn with the one that is in{change if self.pens_said is None else ''}"
            )
        if self.port.startswith("serial:") and self.rig.board == "virtual":
            notes.append(
                'the rig file says board = "virtual", so its pins and switches have not been checked; '
                "name the board that drives this machine"
            )
        return tuple(notes)


@dataclass(frozen=True)
class Drawn:
    """How a drawing went.

    Parameters
    ----------
    task : as it was carried out: its target knows which board has answered.
    result : None where every stroke was drawn already.
    trace : on the virtual rig, what the pen drew and what the pulses were like.
    pictures : files that were written.
    can_carry_on : there is something left, and a journal that knows where.
    """

    task: DrawTask
    result: DrawResult | None
    trace: TraceReport | None = None
    pictures: tuple[Path, ...] = ()
    can_carry_on: bool = False

    @property
    def finished(self) -> bool:
        """Whether nothing is left to be drawn."""
        return self.result is None or self.result.finished

    @property
    def too_far_off(self) -> bool:
        """Whether homing again has found the machine further off than the limit."""
        limit = self.task.drift
        return (
            limit is not None
            and self.result is not None
            and any(found.beyond(limit.limit_mm) for found in self.result.drifts)
        )


def programs_in(source: str | None) -> list[str]:
    """The programs in a folder, by name; none where the source is no folder.

    Raises
    ------
    InputError : there is none in it, or it cannot be looked into.
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
        raise InputError(f"cannot look into {source}: {error.strerror or error}", hint=hint) from None
    found = [str(path) for path in inside if pipeline.is_job(path)]
    if not found:
        raise InputError(
            f"there is no program in the folder {source}", hint="`linewright plan *.svg -o FOLDER` keeps some there"
        )
    return found
