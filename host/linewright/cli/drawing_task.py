"""One drawing from the command line, from the open port to the last word about it: what `draw` and `resume` share."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import typer

from linewright.cli import cautions, keys, logbook, output, progress, target
from linewright.cli.pen_change import PenChange
from linewright.cli.task import Task

if TYPE_CHECKING:
    from linewright.board.session import Session
    from linewright.board.session_values import Control, DrawResult, Progress
    from linewright.run.journal import Journal
    from linewright.run.recovery import Place
    from linewright.simulation.replay import TraceReport


_CARRY_ON: Final = "`linewright resume` carries on"


def carry_out(task: Task) -> None:
    """Connect, home, draw, and say how it went.

    Raises
    ------
    LinewrightError : whatever stopped it.
    Stopped : the user stopped it.
    """
    from linewright.board.session_values import Control

    if not task.as_json:
        for note in task.notes():
            output.warn(note)
    control = Control()
    if task.pace < 1.0:
        control.slow_to(task.pace)
    _ask_for_first_pen(task)
    with progress.StopOnSignals() as stop:
        try:
            with target.connected(task.target, said=not task.as_json) as (session, met):
                cautions.remember(met.port)
                _with_machine(replace(task, target=met), session, control, stop)
        except KeyboardInterrupt:
            if not stop.drawing:
                output.error("stopped before anything was drawn", "", as_json=task.as_json)
            else:
                message = "left while the pen was moving; the board stops by itself, with the pen up"
                output.error(message, f"{_CARRY_ON} with this drawing", as_json=task.as_json)
            raise output.Stopped(stop.number or signal.SIGINT) from None


def _with_machine(task: Task, session: Session, control: Control, stop: progress.StopOnSignals) -> None:
    """Home, draw, and say how it went, on a machine that has answered."""
    from linewright.run import recovery
    from linewright.virtual.port import VirtualTransport

    with progress.ProgressBar(shown=not task.as_json) as bar, _journal(task, session) as book:
        bar.say("homing")
        place = _take_up(task, session, book)
        result = None
        if place.tail is None:
            session.go_to(task.program.end_steps)
        else:
            stop.asks(control.abandon)
            if task.outline and task.story is None:
                bar.say("going round the drawing, pen up")
                _go_round(task, session, place)
            with logbook.noted(task, place, "" if book is None else book.began) as logged:
                result = logged.result = _draw(task, session, control, book, bar, place)
        if book is not None:
            book.end("finished" if result is None or result.finished else "abandoned")
    if result is None:
        output.say("every stroke was drawn already; there is nothing left to do", stderr=True)
        return
    trace = None
    if isinstance(session.link, VirtualTransport):
        left = recovery.parts(task.program, place.stroke)[1]
        trace = session.link.report(
            left, vertex_steps=task.program.steps_at(left), keep_drawn=task.pictures is not None
        )
    _tell(task, result, trace, _pictures(task, trace))
    if not result.finished:
        if book is not None and book.begun and not task.as_json:
            output.say(f"{_CARRY_ON} with this drawing", stderr=True)
        raise output.Stopped(stop.number or signal.SIGINT)
    _mind_drift(task, result)


def _take_up(task: Task, session: Session, book: Journal | None) -> Place:
    """Make the machine ready; returns where to begin."""
    from linewright.run import part, recovery

    if task.story is None or book is None:
        session.home()
        return part.from_stroke(task.program, task.from_stroke, task.rig)
    if task.story.ended == "" and task.story.numbers:
        logbook.note_broken_off(task, task.story)
        book.end("broke off")
    at_park = task.at_park or task.is_virtual
    place = recovery.take_up(session, task.story, task.program, task.rig, book, at_park=at_park)
    if place.in_stroke and not task.as_json:
        output.say(f"the board has kept its place: it goes on in the middle of stroke {place.stroke + 1}", stderr=True)
    return place


def _ask_for_first_pen(task: Task) -> None:
    """Ask for the pen that the drawing begins with, before anything moves.

    Raises
    ------
    InputError : nobody answers.
    """
    from linewright.errors import InputError

    if not task.asks_for_pens or task.story is not None:
        return
    first = next(group for group in task.program.groups if task.from_stroke - 1 < group.strokes[1])
    pen = task.program.drawing.pens[first.pen]
    output.say(f"put the pen '{pen.name}' in, then press Enter", stderr=True)
    if not sys.stdin.readline():
        raise InputError(
            f"nobody is there to put the pen '{pen.name}' in", hint="draw from a terminal, or with --same-pen"
        )


def _go_round(task: Task, session: Session, place: Place) -> None:
    """The pen, raised, goes round the box that the drawing keeps to, so that the sheet can be laid right."""
    from linewright.run import part

    for corner in part.outline_mm(task.program, place.stroke):
        session.jog((float(corner[0]), float(corner[1])))


def _mind_drift(task: Task, result: DrawResult) -> None:
    """All is drawn, but the machine was too far off at the end: say so, and let the exit code say so."""
    if task.drift is None or not any(drift.beyond(task.drift.limit_mm) for drift in result.drifts):
        return
    from linewright.cli.exit_codes import EXIT_LINK

    output.warn(
        f"the machine was further off at the end than {task.drift.limit_mm:g} mm; it is homed again. "
        "Look for what held it, or slow it down"
    )
    raise typer.Exit(EXIT_LINK)


def _draw(
    task: Task, session: Session, control: Control, book: Journal | None, bar: progress.ProgressBar, place: Place
) -> DrawResult:
    from linewright.run import course

    with keys.Keys(control, wanted=not task.as_json, pace=task.pace) as pressed:
        pens = PenChange(control, by_key=pressed.active)

        def on_progress(now: Progress) -> None:
            bar.show(now, pressed.hint)
            pressed.poll(now)
            if now.state == "pen":
                pens.ask(now)
            elif now.state == "drawing":
                pens.see(now)

        return course.draw(
            session,
            task.program,
            on_progress=on_progress,
            control=control,
            ask_for_pens=task.asks_for_pens,
            tail=place.tail,
            witness=book,
            drift=task.drift,
        )


@contextmanager
def _journal(task: Task, session: Session) -> Iterator[Journal | None]:
    """The journal of the drawing, told how it ends. Without one it is drawn all the same, and that is said."""
    from linewright.errors import InputError, LinewrightError, LinkError
    from linewright.run.journal import Journal

    session.greet()
    try:
        if task.story is not None:
            book = Journal.carry_on(task.story, task.program)
        else:
            book = Journal.create(task.program, picture=task.name, rig_file=task.target.rig_file, port=task.port)
    except InputError as error:
        if task.story is not None:
            raise
        output.warn(f"this drawing cannot be carried on if it breaks off: {error}")
        yield None
        return
    with book:
        try:
            yield book
        except (KeyboardInterrupt, LinewrightError) as error:
            book.end("abandoned" if isinstance(error, KeyboardInterrupt) else "failed", str(error))
            if isinstance(error, LinkError) and book.begun and "linewright resume" not in error.hint:
                # Not "then try again": that would draw it all once more, over what is on paper.
                first = error.hint.removesuffix(", then try again")
                error.hint = f"{first}; then {_CARRY_ON} with this drawing" if first else f"{_CARRY_ON} with it"
            raise
        finally:
            if book.trouble:
                output.warn(book.trouble)


def _pictures(task: Task, trace: TraceReport | None) -> list[Path]:
    if task.pictures is None:
        return []
    from linewright.pictures import album, overlay

    written = album.write(album.preview_scene(task.program, task.name), task.pictures, f"{task.stem}-preview")
    if trace is not None and trace.drawn is not None:
        scene = album.drawn_scene(task.program, trace.drawn, task.name)
        written += album.write(scene, task.pictures, f"{task.stem}-drawn")
        scene = album.trace_scene(task.program, trace, task.name)
        written += album.write(scene, task.pictures, f"{task.stem}-overlay", long_side_px=overlay.LONG_SIDE_PX)
    return written


def _summary(task: Task, result: DrawResult, trace: TraceReport | None, written: list[Path]) -> dict[str, object]:
    from linewright import units
    from linewright.cli.tables import drawings as report

    deviation = trace.deviation if trace is not None else None
    return {
        **task.program.describe(),
        "warnings": list(task.notes()),
        "sheet": task.program.sheet.name,
        "rehearsal": task.target.rehearses,
        "finished": result.finished,
        "first_stroke": report.strokes_begun(task.program, result.first_record),
        "first_record": result.first_record,
        "records_done": result.records_done,
        "played_s": units.ticks_to_s(result.played_ticks),
        "played_ticks": result.played_ticks,
        "final_position_error_steps": result.final_position_error_steps if result.finished else None,
        "retransmitted_frames": result.retransmitted_frames,
        "damaged_frames": result.damaged_frames,
        "bytes_sent": result.bytes_sent,
        "starved": result.starved,
        "underruns": result.underruns,
        "drift": [asdict(drift) for drift in result.drifts],
        "max_deviation_mm": None if deviation is None else deviation.max_mm,
        "pulses_checked": None if trace is None else sum(check.checked for check in trace.checks),
        "pulses_broken": None if trace is None else trace.broken,
        "lost_steps": None if trace is None else list(trace.lost_steps),
        "pictures": [str(path) for path in written],
    }


def _tell(task: Task, result: DrawResult, trace: TraceReport | None, written: list[Path]) -> None:
    if task.as_json:
        output.emit_json(_summary(task, result, trace, written))
        return
    from linewright.cli.tables import drawings as report

    output.console().print(report.draw_table(task.program, task.name, result, trace, rehearsal=task.target.rehearses))
    for path in written:
        output.say(str(path))
