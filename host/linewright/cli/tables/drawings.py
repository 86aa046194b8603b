"""Tables about drawings, plain without a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

from rich.table import Table

from linewright import units, wording

if TYPE_CHECKING:
    from linewright.board.session_values import DrawResult
    from linewright.planning.batch import Planned
    from linewright.program.program import Program
    from linewright.rig.rig import Rig
    from linewright.run.log import LogEntry
    from linewright.run.story import Story
    from linewright.simulation.replay import TraceReport


_MOMENTS: Final = {"start": "at the start", "pens": "between pens", "end": "at the end"}


def _facts(title: str) -> Table:
    table = Table(title=title, title_justify="left", box=None, show_header=False, pad_edge=False)
    table.add_column(style="bold", no_wrap=True)
    table.add_column()
    return table


def plan_table(program: Program, name: str) -> Table:
    """Figures of a planned drawing."""
    drawing = program.drawing
    sheet = program.sheet
    table = _facts(name)
    table.add_row("sheet", f"{sheet.name}, {sheet.width_mm:g} x {sheet.height_mm:g} mm, margin {sheet.margin_mm:g} mm")
    left, top, right, bottom = drawing.bounds_mm()
    table.add_row("size drawn", f"{right - left:.1f} x {bottom - top:.1f} mm")
    table.add_row("time", f"{wording.duration(program.predicted_s)} on the rig '{program.rig_name}'")
    table.add_row(
        "strokes",
        f"{wording.count(len(drawing), 'stroke')} with {wording.count(drawing.vertices, 'vertex', 'vertices')}",
    )
    ink, travel = wording.length(program.pen_down_mm), wording.length(program.travel_mm)
    table.add_row("lengths", f"{ink} of ink, {travel} of travel")
    for pen in dict.fromkeys(group.pen for group in program.groups):
        turns = [group for group in program.groups if group.pen == pen]  # more than one where it is to be filled again
        strokes = sum(group.strokes[1] - group.strokes[0] for group in turns)
        seconds = units.ticks_to_s(sum(program.group_ticks(group) for group in turns))
        again = "" if len(turns) == 1 else f", put in {wording.count(len(turns), 'time')}"
        words = f"{wording.count(strokes, 'stroke')}, {wording.duration(seconds)}{again}"
        table.add_row(f"pen {drawing.pens[pen].name}", words)
    table.add_row(
        "to the board", f"{wording.count(program.ramps, 'ramp')} in {wording.count(program.frame_bytes, 'byte')}"
    )
    return table


def batch_table(results: Sequence[Planned]) -> Table:
    """Results of several drawings; on a narrow terminal names are wrapped, but no figures."""
    table = Table(box=None, pad_edge=False)
    table.add_column("drawing", style="bold", overflow="fold")
    for name in ("time", "strokes", "ink", "travel"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("sheet", no_wrap=True)
    for one in results:
        facts = one.facts
        if one.code:
            table.add_row(one.source, "failed")
            continue
        table.add_row(
            one.source,
            wording.duration(facts["predicted_s"]),
            str(facts["strokes"]),
            wording.length(facts["pen_down_mm"]),
            wording.length(facts["travel_mm"]),
            facts["sheet"],
        )
    planned = [one.facts["predicted_s"] for one in results if not one.code]
    if len(planned) > 1:
        table.add_row("together", wording.duration(sum(planned)), end_section=True)
    return table


def rig_table(rig: Rig) -> Table:
    """Values that follow from a rig file."""
    table = _facts(rig.name)
    a, b = rig.steps_per_mm
    table.add_row("board", rig.board)
    table.add_row("kinematics", rig.kinematics.type)
    table.add_row("reach", f"{rig.x.travel_mm:g} x {rig.y.travel_mm:g} mm")
    table.add_row("steps per mm", f"{a:g} (motor A), {b:g} (motor B)")
    for name, axis in (("x", rig.x), ("y", rig.y)):
        table.add_row(
            f"axis {name}",
            f"{axis.speed_mm_s:g} mm/s, {axis.accel_mm_s2:g} mm/s\u00b2, endstop {axis.endstop}",
        )
    top = min(rig.a.step_rate_hz / a, rig.b.step_rate_hz / b)
    table.add_row("motors allow", f"{top:g} mm/s by their step rate")
    table.add_row("pen", f"{rig.pen.width_mm:g} mm wide, up {rig.pen.up_us} us, down {rig.pen.down_us} us")
    x, y = rig.sheet.offset_mm
    table.add_row("sheet", f"{rig.sheet.size} at ({x:g}, {y:g}) mm, margin {rig.sheet.margin_mm:g} mm")
    table.add_row("fingerprint", rig.fingerprint())
    return table


def draw_table(
    program: Program,
    name: str,
    result: DrawResult,
    trace: TraceReport | None,
    *,
    rehearsal: bool = False,
    pace: float = 1.0,
) -> Table:
    """Result of a drawing, with the pulse checks on the virtual rig.

    Parameters
    ----------
    pace : requested share of the planned speed.
    """
    table = _facts(name)
    if rehearsal:
        table.add_row("SIMULATION", "on the virtual rig: nothing real has moved, and no paper has ink")
    played_s = units.ticks_to_s(result.played_ticks)
    if result.finished:
        off = result.played_ticks - result.predicted_ticks
        predicted_s = units.ticks_to_s(result.predicted_ticks)
        slower = "" if pace == 1.0 else f" at full speed; drawn at {pace:.0%} of it"
        exactly = "as predicted to the tick" if not off else f"predicted {wording.duration(predicted_s)}{slower}"
        strokes = len(program.drawing) - strokes_begun(program, result.first_record)
        table.add_row("drawn", f"{wording.count(strokes, 'stroke')} in {wording.duration(played_s)}, {exactly}")
        error = result.final_position_error_steps
        exact = "exact to the step" + (" by the board's own count" if result.drifts else "")
        table.add_row("final position", exact if not error else f"off by {wording.count(error, 'step')}: home again")
    else:
        begun = strokes_begun(program, result.records_done)
        place = f"in stroke {begun} of {len(program.drawing)}" if begun else "before the first stroke"
        table.add_row(
            "stopped",
            f"pen up, after {wording.duration(played_s)} of {wording.duration(program.predicted_s)}, {place}",
        )
    for drift in result.drifts:
        table.add_row("drift", f"{_MOMENTS[drift.moment]}: {drift.words}")
    link = f"{wording.count(result.bytes_sent, 'byte')} in {wording.count(result.frames_sent, 'frame')}"
    if result.retransmitted_frames:
        link += f", {result.retransmitted_frames} sent again"
    table.add_row("link", link)
    if result.starved:
        table.add_row("", f"the pen waited {wording.count(result.starved, 'time')} for data: the link is slow")
    if trace is not None:
        table.add_row("pulses", pulses(trace))
        if any(trace.lost_steps):
            lost = " and ".join(f"{n} of motor {motor}" for n, motor in zip(trace.lost_steps, "AB", strict=True) if n)
            table.add_row("lost steps", f"{lost}: the motors could not follow; the board cannot detect this")
        if trace.deviation is not None and result.finished:
            table.add_row(
                "deviation",
                f"{trace.deviation.max_mm:.4f} mm at most from the planned line (one step: {program.step_mm:.4g} mm)",
            )
    return table


_ENDINGS: Final = {
    "": "without notice: the program or the laptop crashed or lost power",
    "abandoned": "stopped by you, with the pen up",
    "failed": "stopped by an error of the link or the board",
    "broke off": "without notice: the program or the laptop crashed or lost power",
}
"""Endings in a journal, and their descriptions."""


def story_table(story: Story, program: Program, stroke: int) -> Table:
    """An interrupted drawing, and what remains if ``stroke`` is the next one."""
    table = _facts(story.picture)
    table.add_row("sheet", story.sheet)
    table.add_row("begun", f"{story.began}, last entry {story.last}")
    table.add_row("ended", _ENDINGS.get(story.ended, story.ended))
    table.add_row("drawn", f"{stroke} of {wording.count(len(program.drawing), 'stroke')}")
    if stroke < len(program.drawing):
        lift = int(program.pen_stops[2 * stroke])
        left_s = units.ticks_to_s(int(program.predicted_ticks - program.ticks_before[lift]))
        pen = program.drawing.pens[int(program.drawing.pen[stroke])]
        manner = story.manner
        slow = "" if manner.pace == 1.0 else f" at full speed; it continues at {manner.pace:.0%} of that"
        table.add_row("left", f"{wording.duration(left_s)}{slow}, from stroke {stroke + 1} on, with the pen {pen.name}")
    else:
        table.add_row("left", "nothing")
    return table


LOG_COLUMNS: Final = 110
"""Below this terminal width the log is printed with one fact per line."""


def log_lines(entries: list[LogEntry]) -> Table:
    """The log for a narrow terminal, newest first."""
    table = Table(box=None, pad_edge=False, show_header=False)
    for cells in _log_cells(entries):
        began, *rest = cells
        if table.row_count:
            table.add_row("", "")
        table.add_row("began (UTC)", began)
        for head, cell in zip(_LOG_HEADS[1:], rest, strict=True):
            if cell:
                table.add_row(head, cell)
    return table


_LOG_HEADS: Final = ("began (UTC)", "picture", "rig", "strokes", "took", "outcome")


def log_table(entries: list[LogEntry]) -> Table:
    """The log, newest first."""
    table = Table(*_LOG_HEADS, box=None, pad_edge=False)
    for cells in _log_cells(entries):
        table.add_row(*cells)
    return table


def _log_cells(entries: list[LogEntry]) -> Iterator[tuple[str, ...]]:
    for entry in entries:
        took = "" if entry.played_s is None else wording.duration(entry.played_s)
        if entry.played_s is not None and abs(entry.played_s - entry.predicted_s) >= 1.0:
            took += f" (predicted {wording.duration(entry.predicted_s)})"
        strokes = wording.grouped(entry.strokes)
        if entry.first_stroke:
            strokes = f"{wording.grouped(entry.first_stroke + 1)} to {strokes}"
        outcome = f"{entry.outcome}: {entry.fault}" if entry.fault else entry.outcome
        if entry.rehearsal:
            outcome = f"SIMULATION, {outcome}"
        if not entry.fault and entry.drift_x_mm is not None:
            outcome += f", drift x {entry.drift_x_mm:+z.2f} mm, y {entry.drift_y_mm:+z.2f} mm"
        yield entry.began.replace("T", " ").rstrip("Z"), entry.picture, entry.rig, strokes, took, outcome


def pulses(trace: TraceReport) -> str:
    """Results of the checks of a tape."""
    made = wording.count(trace.steps_a + trace.steps_b, "step pulse")
    if not trace.broken:
        return f"{made}, all within limits"
    names = ", ".join(check.name for check in trace.checks if check.broken)
    return f"{made}; {trace.broken} BROKEN LIMITS: {names}"


def strokes_begun(program: Program, records_done: int) -> int:
    """Number of strokes started after this many finished records."""
    return int(program.stroke_of_record[:records_done].max(initial=-1)) + 1
