"""One drawing from the command line, from the open port to the last word about it: what `draw` and `resume` share."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import typer

from linewright.cli import cautions, keys, logbook, output, progress
from linewright.cli.pen_change import PenChange

if TYPE_CHECKING:
    from linewright.drift import DriftCheck
    from linewright.journal import Journal, Story
    from linewright.program import Program
    from linewright.recovery import Place
    from linewright.rig import Rig
    from linewright.session import Control, DrawResult, Progress, Session
    from linewright.virtual.trace import TraceReport


_CARRY_ON: Final = "`linewright resume` carries on"


@dataclass(frozen=True)
class Task:
    """What is to be drawn, where, and what is to be said about it.

    Parameters
    ----------
    name : of the picture, for people.
    rig_file : where the rig was read from; None: the default rig.
    ask_pens : what the user said about stopping for another pen; None: nothing.
    pictures : folder for what was drawn; None: no pictures.
    drift : when to home again and compare; None: not at all.
    story : journal of the drawing to carry on; None: it begins now.
    at_park : the user has put the pen to its park position.
    """

    name: str
    program: Program
    warnings: tuple[str, ...]
    rig: Rig
    rig_file: Path | None
    port: str
    ask_pens: bool | None
    pictures: Path | None
    as_json: bool
    drift: DriftCheck | None = None
    story: Story | None = None
    at_park: bool = False

    @property
    def stem(self) -> str:
        """Of the names of its picture files."""
        from linewright.views import album

        return album.stem(self.name)

    @property
    def is_virtual(self) -> bool:
        """Whether there is no machine to mind."""
        return self.port.startswith("virtual")

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


def carry_out(task: Task) -> None:
    """Connect, home, draw, and say how it went.

    Raises
    ------
    LinewrightError : whatever stopped it.
    Stopped : the user stopped it.
    """
    from linewright import recovery
    from linewright.session import Control, Session
    from linewright.transport import VirtualTransport, open_transport

    if not task.as_json:
        for note in task.notes():
            output.warn(note)
    control = Control()
    with progress.StopOnSignals() as stop:
        try:
            transport = open_transport(task.port, rig=task.rig)
        except KeyboardInterrupt:
            output.error("stopped before anything was drawn", "", as_json=task.as_json)
            raise output.Stopped(stop.number or signal.SIGINT) from None
        cautions.remember(task.port)
        try:
            session = Session(transport, task.rig)
            with progress.ProgressBar(shown=not task.as_json) as bar, _journal(task, session) as book:
                bar.say("homing")
                place = _take_up(task, session, book)
                result = None
                if place.tail is None:
                    session.go_to(task.program.end_steps)
                else:
                    stop.asks(control.abandon)
                    with logbook.noted(task, place, "" if book is None else book.began) as logged:
                        result = logged.result = _draw(task, session, control, book, bar, place)
                if book is not None:
                    book.end("finished" if result is None or result.finished else "abandoned")
            if result is None:
                output.say("every stroke was drawn already; there is nothing left to do", stderr=True)
                return
            trace = None
            if isinstance(transport, VirtualTransport):
                left = recovery.parts(task.program, place.stroke)[1]
                trace = transport.report(
                    left, vertex_steps=task.program.steps_at(left), keep_drawn=task.pictures is not None
                )
            _tell(task, result, trace, _pictures(task, trace))
            if not result.finished:
                if book is not None and book.begun and not task.as_json:
                    output.say(f"{_CARRY_ON} with this drawing", stderr=True)
                raise output.Stopped(stop.number or signal.SIGINT)
            _mind_drift(task, result)
        except KeyboardInterrupt:
            if not stop.drawing:
                output.error("stopped before anything was drawn", "", as_json=task.as_json)
            else:
                message = "left while the pen was moving; the board stops by itself, with the pen up"
                output.error(message, f"{_CARRY_ON} with this drawing", as_json=task.as_json)
            raise output.Stopped(stop.number or signal.SIGINT) from None
        finally:
            if isinstance(transport, VirtualTransport):
                transport.discard()
            else:
                transport.close()


def _take_up(task: Task, session: Session, book: Journal | None) -> Place:
    """Make the machine ready; returns where to begin."""
    from linewright import recovery
    from linewright.tail import Tail

    if task.story is None or book is None:
        session.home()
        return recovery.Place(0, Tail.of(task.program))
    if task.story.ended == "" and task.story.numbers:
        logbook.note_broken_off(task, task.story)
        book.end("broke off")
    at_park = task.at_park or task.is_virtual
    place = recovery.take_up(session, task.story, task.program, task.rig, book, at_park=at_park)
    if place.in_stroke and not task.as_json:
        output.say(f"the board has kept its place: it goes on in the middle of stroke {place.stroke + 1}", stderr=True)
    return place


def _mind_drift(task: Task, result: DrawResult) -> None:
    """All is drawn, but the machine was too far off at the end: say so, and let the exit code say so."""
    if task.drift is None or not any(drift.beyond(task.drift.limit_mm) for drift in result.drifts):
        return
    from linewright.cli import EXIT_LINK

    output.warn(
        f"the machine was further off at the end than {task.drift.limit_mm:g} mm; it is homed again. "
        "Look for what held it, or slow it down"
    )
    raise typer.Exit(EXIT_LINK)


def _draw(
    task: Task, session: Session, control: Control, book: Journal | None, bar: progress.ProgressBar, place: Place
) -> DrawResult:
    with keys.Keys(control, wanted=not task.as_json) as pressed:
        pens = PenChange(control, by_key=pressed.active)

        def on_progress(now: Progress) -> None:
            bar.show(now, pressed.hint)
            pressed.poll(now)
            if now.state == "pen":
                pens.ask(now)

        return session.draw(
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
    from linewright.journal import Journal

    session.greet()
    try:
        if task.story is not None:
            book = Journal.carry_on(task.story, task.program)
        else:
            book = Journal.create(task.program, picture=task.name, rig_file=task.rig_file, port=task.port)
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
    from linewright.views import album, overlay

    written = album.write(album.preview_scene(task.program, task.name), task.pictures, f"{task.stem}-preview")
    if trace is not None and trace.drawn is not None:
        scene = album.drawn_scene(task.program, trace.drawn, task.name)
        written += album.write(scene, task.pictures, f"{task.stem}-drawn")
        scene = album.trace_scene(task.program, trace, task.name)
        written += album.write(scene, task.pictures, f"{task.stem}-overlay", long_side_px=overlay.LONG_SIDE_PX)
    return written


def _summary(task: Task, result: DrawResult, trace: TraceReport | None, written: list[Path]) -> dict[str, object]:
    from linewright import units
    from linewright.views import report

    deviation = trace.deviation if trace is not None else None
    return {
        **task.program.describe(),
        "warnings": list(task.notes()),
        "sheet": task.program.sheet.name,
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
    from linewright.views import report

    output.console().print(report.draw_table(task.program, task.name, result, trace))
    for path in written:
        output.say(str(path))
