"""Carrying on with a drawing that was broken off: which there are, what is left of one, and what must be the same."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.tasks.draw_task import DrawTask

if TYPE_CHECKING:
    from linewright.board.drift import DriftCheck
    from linewright.program.program import Program
    from linewright.rig.rig import Rig
    from linewright.run.story import Story
    from linewright.tasks.target import Target


@dataclass(frozen=True)
class BrokenOff:
    """A drawing that can be carried on with the rig that it was checked against.

    Parameters
    ----------
    story : what its journal tells.
    stroke : the next one that is not on paper.
    """

    story: Story
    program: Program
    stroke: int

    @property
    def pen(self) -> str:
        """The name of the pen that draws next, where the drawing has several; else empty."""
        drawing = self.program.drawing
        if len(self.program.groups) < 2 or self.stroke >= len(drawing):
            return ""
        return drawing.pens[int(drawing.pen[self.stroke])].name


def facts(story: Story) -> dict[str, object]:
    """What its journal tells of a drawing, as one flat table."""
    return {
        "name": story.folder.name,
        "picture": story.picture,
        "sheet": story.sheet,
        "rig": story.rig_name,
        "rig_fingerprint": story.rig_fingerprint,
        "port": story.port,
        "began": story.began,
        "last": story.last,
        "ended": story.ended,
        "records_done": story.records_done,
        "records": story.records,
        "strokes_done": story.strokes_done,
        "strokes": story.strokes,
    }


def unfinished() -> list[Story]:
    """What the journals tell of drawings that can be carried on, the newest first."""
    from linewright.run import journal

    return journal.unfinished()


def damaged() -> list[str]:
    """What is wrong with journals that cannot be used, one line for each."""
    from linewright.run import journal

    return [error.message for error in journal.damaged().values()]


def find(name: str | None = None) -> Story:
    """The drawing that is meant: the newest, or the newest of this name.

    Raises
    ------
    InputError : there is none.
    """
    from linewright.run import recovery

    return recovery.choose(name)


def look(story: Story, rig: Rig, sheet: str | None = None) -> BrokenOff:
    """What is done and what is left. Nothing moves.

    Parameters
    ----------
    rig : of the machine that is to carry on.
    sheet : what the user says lies on the table; None: they say nothing.

    Raises
    ------
    ProgramError : the kept program is damaged, or the rig moves differently.
    SheetError : the sheet is another.
    """
    from linewright.run import recovery

    program = story.load_program()
    recovery.check(story, program, rig, sheet)
    return BrokenOff(story, program, recovery.strokes_done(program, story.records_done))


def rest_of(
    broken: BrokenOff,
    target: Target,
    *,
    ask_pens: bool = False,
    pens_said: bool | None = None,
    pictures: Path | None = None,
    drift: DriftCheck | None = None,
    at_park: bool = False,
    from_stroke: int | None = None,
) -> DrawTask:
    """The task that draws what is left, as it was asked for; `linewright.tasks.drawing.draw` carries it out.

    Parameters
    ----------
    drift : when to home again; None: as the drawing was begun.

    Raises
    ------
    InputError : what lies before ``from_stroke`` is not all drawn.
    """
    from linewright.errors import InputError
    from linewright.rig.doubts import doubts

    if from_stroke is not None and not 1 <= from_stroke <= broken.stroke + 1:
        raise InputError(
            f"stroke {from_stroke} is not the first that is left: {broken.stroke} of {broken.story.strokes} are drawn",
            hint=f"--from-stroke takes 1 to {broken.stroke + 1} here",
        )

    return DrawTask(
        name=broken.story.picture,
        program=broken.program,
        warnings=(*doubts(target.rig), *broken.program.warnings),
        target=target,
        ask_pens=ask_pens,
        pictures=pictures,
        drift=drift or broken.story.manner.drift,
        pace=broken.story.manner.pace,
        pens_said=pens_said,
        story=broken.story,
        at_park=at_park,
        from_stroke=from_stroke,
    )


def picture_of_rest(broken: BrokenOff, folder: Path) -> list[Path]:
    """Write pictures of what is done and what is left; returns their paths."""
    from linewright.pictures import album

    name = broken.story.picture
    return album.write(album.left_scene(broken.program, broken.stroke, name), folder, f"{album.stem(name)}-left")
