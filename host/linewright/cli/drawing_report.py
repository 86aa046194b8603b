"""Output of `draw` and `resume`."""

from __future__ import annotations

import sys
from dataclasses import asdict
from typing import TYPE_CHECKING

import typer

from linewright.cli import output
from linewright.cli.progress import StopOnSignals
from linewright.cli.terminal import Terminal
from linewright.system import signals

if TYPE_CHECKING:
    from linewright.drawing.strokes import Pen
    from linewright.program.program import Program
    from linewright.tasks.draw_task import Drawn, DrawTask
    from linewright.tasks.target import Target


def asks_pens(said: bool | None, target: Target, *, as_json: bool) -> bool:
    """Whether to stop for pen changes: as the user said, else if a user can be asked at a real machine."""
    on_hand = not target.on_virtual_rig and sys.stdin.isatty() and not as_json
    return on_hand if said is None else said


def note_idle_pens(named: tuple[Pen, ...], program: Program) -> None:
    """Report named pens that draw nothing and are not needed."""
    used = {program.drawing.pens[group.pen].name for group in program.groups}
    if idle := [pen.name for pen in named if pen.name not in used]:
        output.warn(
            f"not needed: {', '.join(idle)}; nothing in this drawing is drawn with {'it' if len(idle) == 1 else 'them'}"
        )


def carry_out(task: DrawTask, *, as_json: bool) -> None:
    """Draw, and print the result.

    Raises
    ------
    LinewrightError : the drawing failed.
    Stopped : the user stopped it.
    """
    from linewright.cli.exit_codes import EXIT_LINK
    from linewright.tasks import drawing

    if not as_json:
        for note in task.notes():
            output.warn(note)
    with StopOnSignals() as stop:
        try:
            with Terminal(as_json=as_json, stop=stop, rig=None if task.is_virtual else task.rig) as front:
                drawn = drawing.draw(task, front)
        except KeyboardInterrupt:
            if not stop.drawing:
                output.error("stopped before anything was drawn", "", as_json=as_json)
            else:
                message = "stopped at once, while the pen was moving; the board stops by itself and raises the pen"
                output.error(message, f"{drawing.CARRY_ON} this drawing", as_json=as_json)
            raise output.Stopped(stop.number or signals.INTERRUPT) from None
    if drawn.result is None:
        output.say("every stroke was drawn already; there is nothing left to do", stderr=True)
        return
    _tell(drawn, as_json=as_json)
    if not drawn.finished:
        if drawn.can_carry_on and not as_json:
            output.say(f"{drawing.CARRY_ON} this drawing", stderr=True)
        raise output.Stopped(stop.number or signals.INTERRUPT)
    if drawn.too_far_off and task.drift is not None:
        output.warn(
            f"at the end the machine was off by more than {task.drift.limit_mm:g} mm; it is homed again. "
            "Look for what blocked it, or reduce the speed"
        )
        raise typer.Exit(EXIT_LINK)


def _summary(drawn: Drawn, program: Program) -> dict[str, object]:
    from linewright import units
    from linewright.cli.tables import drawings as report

    task, result, trace = drawn.task, drawn.result, drawn.trace
    assert result is not None, "something was drawn"
    deviation = trace.deviation if trace is not None else None
    return {
        **program.describe(),
        "warnings": list(task.notes()),
        "sheet": program.sheet.name,
        "rehearsal": task.target.rehearses,
        "finished": result.finished,
        "first_stroke": report.strokes_begun(program, result.first_record),
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
        "pictures": [str(path) for path in drawn.pictures],
    }


def _tell(drawn: Drawn, *, as_json: bool) -> None:
    task, result = drawn.task, drawn.result
    assert result is not None, "something was drawn"
    if as_json:
        output.emit_json(_summary(drawn, task.program))
        return
    from linewright.cli.tables import drawings as report

    table = report.draw_table(
        task.program, task.name, result, drawn.trace, rehearsal=task.target.rehearses, pace=task.pace
    )
    output.console().print(table)
    for path in drawn.pictures:
        output.say(str(path))
