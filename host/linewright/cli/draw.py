"""``linewright draw``: a picture, or a program kept earlier, onto the paper."""

from __future__ import annotations

import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linewright.cli import cautions, options, output, progress

if TYPE_CHECKING:
    from linewright.pipeline import Job
    from linewright.rig import Rig
    from linewright.session import Control, DrawResult, Progress
    from linewright.virtual.trace import TraceReport

Port = Annotated[
    str,
    typer.Option(
        "--port",
        help="virtual, serial:PATH (such as serial:/dev/ttyACM0) or socket:HOST:PORT. "
        "virtual takes options: virtual:backlash_x_mm=0.2,interpreter=micropython.",
    ),
]
AskPens = Annotated[
    bool | None,
    typer.Option(
        "--ask-pens/--same-pen",
        help="Stop before each pen and wait for Enter, or draw everything with the pen that is in. "
        "On a real machine with a terminal it asks.",
        show_default=False,
    ),
]


def draw(
    file: options.PictureOrJob,
    rig_file: options.RigFile = None,
    port: Port = "virtual",
    sheet: options.SheetName = None,
    landscape: options.Landscape = None,
    margin_mm: options.Margin = None,
    fit: options.Fit = True,
    turn: options.TurnOption = options.Turn.AUTO,
    pen_by: options.PenByOption = options.PenBy.COLOUR,
    ask_pens: AskPens = None,
    pictures: Annotated[
        Path | None,
        typer.Option(
            "--pictures",
            "-p",
            metavar="FOLDER",
            help="Write the preview there, and on the virtual rig also what the pen drew.",
        ),
    ] = None,
    as_json: options.AsJson = False,
) -> None:
    """Draw a picture or a kept program.

    Plans, connects, homes, draws, and says how it went. Ctrl-C stops with the pen up.
    """
    from linewright import pipeline
    from linewright.errors import InputError

    rig = options.load_rig(rig_file)
    if pipeline.is_job(file):
        if (sheet, landscape, margin_mm) != (None, None, None) or not fit or turn is not options.Turn.AUTO:
            raise InputError(
                f"{file} has its place on the sheet already", hint="plan the picture again to place it differently"
            )
        job = pipeline.load(file, rig)
    else:
        job = pipeline.prepare(file, rig, options.placement(sheet, landscape, margin_mm, fit, turn, pen_by))
    for caution in cautions.before_moving(port):
        output.say(f"caution: {caution}", stderr=True)
    task = _Task(file.name, file.stem, job, rig, port, ask_pens, pictures, as_json)
    if not as_json:
        for warning in task.warnings:
            output.warn(warning)
    _draw(task)


class _Task:
    """One drawing from the command line."""

    def __init__(
        self,
        name: str,
        stem: str,
        job: Job,
        rig: Rig,
        port: str,
        ask_pens: bool | None,
        pictures: Path | None,
        as_json: bool,
    ) -> None:
        self.name, self.stem, self.job, self.rig, self.port = name, stem, job, rig, port
        self.pictures, self.as_json = pictures, as_json
        self.warnings = job.warnings
        pens = len(job.program.groups)
        on_hand = not port.startswith("virtual") and sys.stdin.isatty() and not as_json
        self.ask_pens = pens > 1 and (on_hand if ask_pens is None else ask_pens)
        if pens > 1 and not self.ask_pens and not port.startswith("virtual"):
            self.warnings += (f"all {pens} pens of this picture are drawn with the one that is in",)


def _draw(task: _Task) -> None:
    from linewright.session import Control, Session
    from linewright.transport import VirtualTransport, open_transport

    program = task.job.program
    control = Control()
    transport = open_transport(task.port, rig=task.rig)
    cautions.remember(task.port)
    try:
        with progress.ProgressBar(shown=not task.as_json) as bar:
            session = Session(transport, task.rig)
            session.greet()
            bar.say("homing")
            session.home()
            pens = _PenChange(control)

            def on_progress(now: Progress) -> None:
                bar.show(now)
                if now.state == "pen":
                    pens.ask(now.pen.name)

            try:
                with progress.StopOnCtrlC(control.abandon) as stop:
                    result = session.draw(program, on_progress=on_progress, control=control, ask_for_pens=task.ask_pens)
            except KeyboardInterrupt:
                message = "left while the pen was moving; the board stops by itself, with the pen up"
                output.error(message, "home again before the next drawing", as_json=task.as_json)
                raise output.Stopped from None
        trace = None
        if isinstance(transport, VirtualTransport):
            trace = transport.report(program.drawing, keep_drawn=task.pictures is not None)
        written = _pictures(task, trace)
        if task.as_json:
            output.emit_json(_summary(task, result, trace, written))
        else:
            _tell(task, result, trace, written)
        if stop.asked and not result.finished:
            raise output.Stopped
    finally:
        if isinstance(transport, VirtualTransport):
            transport.discard()
        else:
            transport.close()


class _PenChange:
    """Asks for another pen, once, and hears the answer beside the drawing's own loop."""

    def __init__(self, control: Control) -> None:
        self._control = control
        self._waiting = threading.Event()

    def ask(self, pen: str) -> None:
        if self._waiting.is_set():
            return
        self._waiting.set()
        output.say(f"put the pen '{pen}' in, then press Enter", stderr=True)
        threading.Thread(target=self._wait, daemon=True).start()

    def _wait(self) -> None:
        sys.stdin.readline()
        self._control.pen_changed()
        self._waiting.clear()


def _pictures(task: _Task, trace: TraceReport | None) -> list[Path]:
    if task.pictures is None:
        return []
    from linewright.views import album, overlay

    program = task.job.program
    written = album.write(album.preview_scene(program, task.name), task.pictures, f"{task.stem}-preview")
    if trace is not None and trace.drawn is not None:
        written += album.write(album.drawn_scene(program, trace.drawn, task.name), task.pictures, f"{task.stem}-drawn")
        scene = album.trace_scene(program, trace, task.name)
        written += album.write(scene, task.pictures, f"{task.stem}-overlay", long_side_px=overlay.LONG_SIDE_PX)
    return written


def _summary(task: _Task, result: DrawResult, trace: TraceReport | None, written: list[Path]) -> dict[str, object]:
    from linewright import units

    deviation = trace.deviation if trace is not None else None
    return {
        **task.job.program.describe(),
        "warnings": list(task.warnings),
        "sheet": task.job.program.sheet.name,
        "finished": result.finished,
        "records_done": result.records_done,
        "played_s": units.ticks_to_s(result.played_ticks),
        "played_ticks": result.played_ticks,
        "final_position_error_steps": result.final_position_error_steps if result.finished else None,
        "retransmitted_frames": result.retransmitted_frames,
        "damaged_frames": result.damaged_frames,
        "bytes_sent": result.bytes_sent,
        "starved": result.starved,
        "underruns": result.underruns,
        "max_deviation_mm": None if deviation is None else deviation.max_mm,
        "pulses_checked": None if trace is None else sum(check.checked for check in trace.checks),
        "pulses_broken": None if trace is None else trace.broken,
        "pictures": [str(path) for path in written],
    }


def _tell(task: _Task, result: DrawResult, trace: TraceReport | None, written: list[Path]) -> None:
    from linewright.views import report

    output.console().print(report.draw_table(task.job.program, task.name, result, trace))
    for path in written:
        output.say(str(path))
