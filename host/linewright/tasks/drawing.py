"""Drawing, from opening the port to the last stroke: with journal, log and pen changes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from linewright.tasks import cautions, logbook
from linewright.tasks.connection import connected
from linewright.tasks.draw_task import Drawn, DrawTask
from linewright.tasks.front import Cancelled

if TYPE_CHECKING:
    from linewright.board.session import Session
    from linewright.board.session_values import Control, DrawResult
    from linewright.program.program import Program
    from linewright.run.journal import Journal
    from linewright.run.recovery import ResumePoint
    from linewright.simulation.replay import TraceReport
    from linewright.tasks.front import Front
    from linewright.tasks.target import Target

CARRY_ON: Final = "`linewright resume` continues"


def draw(task: DrawTask, front: Front) -> Drawn:
    """Connect, home, draw.

    Raises
    ------
    LinewrightError : the drawing failed; the hint says whether it can be resumed.
    """
    preview = _preview(task)  # first, so that an unwritable folder fails before anything moves
    _ask_for_first_pen(task, front)
    with connected(task.target, front) as (session, met):
        cautions.remember(met.port)
        drawn = _on_machine(replace(task, target=met), session, front)
        return replace(drawn, pictures=(*preview, *drawn.pictures))


@contextmanager
def part_by_part(target: Target, front: Front) -> Iterator[Callable[[Program, Control], None]]:
    """Connect and home; yields a function that draws one program after another, without journal, log and pen
    changes.
    """
    from linewright.run import course

    with connected(target, front) as (session, met):
        cautions.remember(met.port)
        session.greet()
        session.home()

        def play(program: Program, control: Control) -> None:
            course.draw(session, program, control=control)

        yield play


def _on_machine(task: DrawTask, session: Session, front: Front) -> Drawn:
    """Home and draw on a machine that has answered."""
    from linewright.run import recovery
    from linewright.virtual.port import VirtualTransport

    with _journal(task, session, front) as book:
        front.progress("homing")
        place = _take_up(task, session, book, front)
        result = None
        if place.tail is None:
            session.go_to(task.program.end_steps)
        else:
            if task.outline and task.story is None:
                front.progress("moving around the drawing, pen up")
                _go_round(task, session, place)
            with logbook.noted(task, place, "" if book is None else book.began, front) as logged:
                result = logged.result = _drawn(task, session, book, place, front)
        if book is not None:
            book.end("finished" if result is None or result.finished else "abandoned")
    if result is None:
        return Drawn(task, None)
    trace = None
    if task.reads_tape and isinstance(session.link, VirtualTransport):
        left = recovery.parts(task.program, place.stroke)[1]
        trace = session.link.report(
            left, vertex_steps=task.program.steps_at(left), keep_drawn=task.pictures is not None
        )
    can_carry_on = not result.finished and book is not None and book.begun
    return Drawn(task, result, trace, tuple(_pictures(task, trace)), can_carry_on)


def _take_up(task: DrawTask, session: Session, book: Journal | None, front: Front) -> ResumePoint:
    """Prepare the machine; returns where to start."""
    from linewright.run import part, recovery

    if task.story is None or book is None:
        session.home()
        return part.from_stroke(task.program, task.from_stroke or 1, task.rig)
    if task.story.ended == "" and task.story.numbers:
        logbook.note_broken_off(task, task.story, front)
        book.end("broke off")
    place = recovery.take_up(
        session,
        task.story,
        task.program,
        task.rig,
        book,
        at_park=task.at_park,
        unattended=task.is_virtual,
        from_stroke=task.from_stroke,
    )
    if place.in_stroke:
        front.say(
            f"the board has kept the pen's position: drawing continues in the middle of stroke {place.stroke + 1}"
        )
    return place


def _ask_for_first_pen(task: DrawTask, front: Front) -> None:
    """Ask for the first pen before anything moves.

    Raises
    ------
    InputError : no answer.
    """
    from linewright.errors import InputError

    if not task.asks_for_pens or task.story is not None:
        return
    first = next(group for group in task.program.groups if (task.from_stroke or 1) - 1 < group.strokes[1])
    pen = task.program.drawing.pens[first.pen]
    if not front.ready(f"mount the pen '{pen.name}'"):
        raise InputError(
            f"the pen '{pen.name}' must be mounted, and there is no terminal to ask on",
            hint="draw from a terminal, or with --same-pen",
        )


def _go_round(task: DrawTask, session: Session, place: ResumePoint) -> None:
    """Trace the drawing's bounding box with the pen up, so that the user can align the sheet."""
    from linewright.run import part

    for corner in part.outline_mm(task.program, place.stroke):
        session.jog((float(corner[0]), float(corner[1])))


def _drawn(task: DrawTask, session: Session, book: Journal | None, place: ResumePoint, front: Front) -> DrawResult:
    from linewright.board.session_values import Control
    from linewright.run import course

    control = Control()
    if task.pace < 1.0:
        control.slow_to(task.pace)
    with front.steering(control, task.pace) as told:
        return course.draw(
            session,
            task.program,
            on_progress=told,
            control=control,
            ask_for_pens=task.asks_for_pens,
            tail=place.tail,
            witness=book,
            drift=task.drift,
        )


@contextmanager
def _journal(task: DrawTask, session: Session, front: Front) -> Iterator[Journal | None]:
    """Context manager: the journal of the drawing, closed with its result. If it cannot be written, the drawing goes on
    without it and a remark says so.
    """
    from linewright.errors import InputError, LinewrightError, LinkError
    from linewright.run.journal import Journal

    session.greet()
    try:
        if task.story is not None:
            book = Journal.carry_on(task.story, task.program)
        else:
            book = Journal.create(
                task.program,
                picture=task.name,
                rig_file=task.target.rig_file,
                port=task.port,
                manner=task.manner,
            )
    except InputError as error:
        if task.story is not None:
            raise
        front.note(f"this drawing cannot be resumed if it is interrupted: {error}")
        yield None
        return
    with book:
        try:
            yield book
        except (KeyboardInterrupt, Cancelled, LinewrightError) as error:
            book.end("failed" if isinstance(error, LinewrightError) else "abandoned", str(error))
            if isinstance(error, LinkError) and book.begun and "linewright resume" not in error.hint:
                # Not "then try again", which would draw everything once more on top.
                first = error.hint.removesuffix(", then try again")
                error.hint = f"{first}; then {CARRY_ON} this drawing" if first else f"{CARRY_ON} it"
            raise
        finally:
            if book.trouble:
                front.note(book.trouble)


def _preview(task: DrawTask) -> list[Path]:
    if task.pictures is None:
        return []
    from linewright.pictures import album

    return album.write(album.preview_scene(task.program, task.name), task.pictures, f"{task.stem}-preview")


def _pictures(task: DrawTask, trace: TraceReport | None) -> list[Path]:
    written: list[Path] = []
    if task.pictures is not None and trace is not None and trace.drawn is not None:
        from linewright.pictures import album, overlay

        scene = album.drawn_scene(task.program, trace.drawn, task.name)
        written += album.write(scene, task.pictures, f"{task.stem}-drawn")
        scene = album.trace_scene(task.program, trace, task.name)
        written += album.write(scene, task.pictures, f"{task.stem}-overlay", long_side_px=overlay.LONG_SIDE_PX)
    return written
