"""Resuming an interrupted drawing: its progress, the rest of it, and the conditions.

If the board has kept running, it knows the progress better than the journal, because it kept drawing queued records
after its host died. If its motors have also held the pen since, the machine is not homed again, and the drawing
continues at the step where the pen was lifted.

Motors that are not supervised may have lost power and position unnoticed; then the machine is homed anyway, if it can.

Otherwise whole strokes count. A finished stroke is not drawn again; an unfinished one is drawn again from its start,
because a line inked twice shows less than a gap or a seam.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linewire.records import RAMP
from linewright.errors import InputError, LinkError, SheetError
from linewright.program.remainder import Tail
from linewright.run import journal
from linewright.sheet.sizes import Sheet

if TYPE_CHECKING:
    from linewright.board.session import Session
    from linewright.board.session_values import Witness
    from linewright.drawing.strokes import Drawing
    from linewright.program.program import Program
    from linewright.rig.rig import Rig
    from linewright.run.story import Story


def choose(name: str | None) -> Story:
    """The drawing to resume: the newest, or the newest whose folder or picture is called ``name``.

    Raises
    ------
    InputError : there is none.
    """
    stories, damaged = journal.unfinished(), journal.damaged()
    if name is None and damaged and next(iter(damaged)) == journal.by_age()[0]:
        error = next(iter(damaged.values()))
        others = f"; or name another: {', '.join(s.folder.name for s in stories)}" if stories else ""
        raise InputError(f"the newest drawing cannot be resumed: {error.message}", hint=error.hint + others)
    for story in stories:
        if name is None or name in (story.folder.name, story.picture):
            return story
    for folder, error in damaged.items():
        if name == folder.name:
            raise error
    unread = f"; unreadable journals: {len(damaged)}, see `linewright resume --list`" if damaged else ""
    if not stories:
        raise InputError(
            "there is no drawing to resume", hint="every drawing that was begun has been finished" + unread
        )
    raise InputError(
        f"there is no unfinished drawing {name!r}",
        hint=f"there are {', '.join(s.folder.name for s in stories)}{unread}",
    )


def check(story: Story, program: Program, rig: Rig, sheet: str | None = None) -> None:
    """Refuse a rig that moves differently, and another sheet.

    Parameters
    ----------
    sheet : the sheet named by the user, by name or size; None: not stated.

    Raises
    ------
    ProgramError : the rig moves differently.
    SheetError : the sheet is another.
    """
    program.check_rig(rig)
    if sheet is None:
        return
    lies = Sheet.named(sheet)
    was, now = sorted((program.sheet.width_mm, program.sheet.height_mm)), sorted((lies.width_mm, lies.height_mm))
    if was != now:
        raise SheetError(
            f"'{story.picture}' is being drawn on {story.sheet}, not on {lies.width_mm:g} x {lies.height_mm:g} mm",
            hint="lay the half-drawn sheet back exactly where it was, or draw the picture again",
        )


@dataclass(frozen=True)
class ResumePoint:
    """Where a drawing resumes.

    Parameters
    ----------
    stroke : the next stroke, or the unfinished one.
    tail : the rest of the program; None if there is none.
    """

    stroke: int
    tail: Tail | None

    @property
    def in_stroke(self) -> bool:
        """Whether part of the stroke is on paper and is not drawn again."""
        return self.tail is not None and self.tail.reached != self.tail.first


def take_up(
    session: Session,
    story: Story,
    program: Program,
    rig: Rig,
    witness: Witness,
    *,
    at_park: bool = False,
    unattended: bool = False,
    from_stroke: int | None = None,
) -> ResumePoint:
    """Prepare the machine for resuming, and determine where to resume.

    It stops the board, asks it for its progress, records that progress (the board forgets it at the next motion), and
    homes the machine unless it certainly kept its position.

    Parameters
    ----------
    at_park : the user has moved the pen to its park position; used if homing is not possible.
    unattended : a virtual rig: nobody can move the pen there, and nothing can have moved it.
    from_stroke : the first stroke that is not on paper, from 1, by the user; None: by journal and board.

    Raises
    ------
    LinkError, BoardFault : as `Session.settle` and `Session.home`; or the position is lost and cannot be found.
    """
    standing = session.settle()
    if from_stroke is not None:
        stroke = from_stroke - 1
        witness.back(stroke)
        _home(session, rig, at_park=at_park, unattended=unattended)
        return ResumePoint(stroke, _from(program, stroke, rig))
    done = story.records_done
    tail = None
    if standing.program in story.numbers:
        done = max(done, standing.records_done, story.numbers[standing.program])
        if standing.position_kept:
            done += _all_of_it_done(program, done, standing.steps)
            tail = Tail.in_stroke(program, done, standing.steps, rig)
        witness.done(done)
    unsure = not rig.senses_motor_power and (rig.finds_its_place or at_park)
    if unsure or not standing.position_kept:
        _home(session, rig, at_park=at_park, unattended=unattended)
    stroke = strokes_done(program, done)
    if tail is None and stroke < len(program.drawing):
        tail = _from(program, stroke, rig)
    return ResumePoint(stroke, tail)


def _home(session: Session, rig: Rig, *, at_park: bool, unattended: bool) -> None:
    if not (rig.finds_its_place or at_park or unattended):
        x, y = rig.park.position_mm
        raise LinkError(
            f"the board has lost its position, and the rig '{rig.name}' has no endstops for homing",
            hint=f"put the pen to its park position by hand (x {x:g}, y {y:g} mm), then add --at-park",
        )
    session.home()


def _from(program: Program, stroke: int, rig: Rig) -> Tail:
    return Tail.of(program, record_of(program, stroke) if stroke else 0, lower_ms=rig.pen.lower_ms)


def _all_of_it_done(program: Program, record: int, steps: tuple[int, int]) -> bool:
    """Whether the pen is at the end of a ramp that the board has not yet counted as finished."""
    if record >= len(program) or program.kind[record] != RAMP:
        return False
    return bool((program.position_steps[record + 1] == steps).all())


def strokes_done(program: Program, records_done: int) -> int:
    """Number of strokes on paper after this many finished records."""
    return int(np.searchsorted(journal.stroke_ends(program), records_done, side="right"))


def record_of(program: Program, stroke: int) -> int:
    """The record that lowers the pen for a stroke, at which a program can be restarted."""
    return int(program.pen_stops[2 * stroke])


def parts(program: Program, stroke: int) -> tuple[Drawing, Drawing]:
    """The drawn and the remaining strokes, if ``stroke`` is the next one."""
    numbers = np.arange(len(program.drawing))
    return program.drawing.select(numbers[:stroke]), program.drawing.select(numbers[stroke:])
