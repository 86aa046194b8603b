"""Tasks: listing, inspecting and resuming interrupted drawings."""

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
    """An interrupted drawing, checked against a rig.

    Parameters
    ----------
    story : contents of its journal.
    stroke : the first stroke that is not on paper.
    """

    story: Story
    program: Program
    stroke: int

    @property
    def pen(self) -> str:
        """Name of the next pen if the drawing has several; else empty."""
        drawing = self.program.drawing
        if len(self.program.groups) < 2 or self.stroke >= len(drawing):
            return ""
        return drawing.pens[int(drawing.pen[self.stroke])].name


def facts(story: Story) -> dict[str, object]:
    """Values of a journal as one flat dict."""
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
    """Journals of drawings that can be resumed, newest first."""
    from linewright.run import journal

    return journal.unfinished()


def damaged() -> list[str]:
    """Errors of journals that cannot be used, one line each."""
    from linewright.run import journal

    return [error.message for error in journal.damaged().values()]


def find(name: str | None = None) -> Story:
    """The drawing to resume: the newest, or the newest of this name.

    Raises
    ------
    InputError : there is none.
    """
    from linewright.run import recovery

    return recovery.choose(name)


def look(story: Story, rig: Rig, sheet: str | None = None) -> BrokenOff:
    """Finished and remaining parts of a drawing. Nothing moves.

    Parameters
    ----------
    rig : rig of the machine that resumes.
    sheet : the sheet named by the user; None: not stated.

    Raises
    ------
    ProgramError : the saved program is damaged, or the rig moves differently.
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
    """The task that draws the rest with the original options, for `linewright.tasks.drawing.draw`.

    Parameters
    ----------
    drift : when to home again; None: as in the original drawing.

    Raises
    ------
    InputError : strokes before ``from_stroke`` are missing.
    """
    from linewright.errors import InputError
    from linewright.rig.doubts import doubts

    if from_stroke is not None and not 1 <= from_stroke <= broken.stroke + 1:
        raise InputError(
            f"beginning at stroke {from_stroke} leaves strokes out: {broken.stroke} of {broken.story.strokes} are "
            "drawn",
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
    """Write pictures of the finished and the remaining strokes; returns their paths."""
    from linewright.pictures import album

    name = broken.story.picture
    return album.write(album.left_scene(broken.program, broken.stroke, name), folder, f"{album.stem(name)}-left")
