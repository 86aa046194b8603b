"""Reports as text: tables that a person reads, plain where there is no terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich import box
from rich.table import Table

from linewright import units
from linewright.views import wording

if TYPE_CHECKING:
    from linewright.program import Program
    from linewright.rig import Rig


def _facts(title: str) -> Table:
    table = Table(title=title, title_justify="left", box=box.SIMPLE, show_header=False, pad_edge=False)
    table.add_column(style="bold", no_wrap=True)
    table.add_column()
    return table


def plan_table(program: Program, name: str) -> Table:
    """What a drawing will take."""
    drawing = program.drawing
    sheet = program.sheet
    table = _facts(name)
    table.add_row("sheet", f"{sheet.name}, {sheet.width_mm:g} x {sheet.height_mm:g} mm, margin {sheet.margin_mm:g} mm")
    table.add_row("time", f"{wording.duration(program.predicted_s)} on the rig '{program.rig_name}'")
    table.add_row(
        "strokes",
        f"{wording.count(len(drawing), 'stroke')} with {wording.count(drawing.vertices, 'vertex', 'vertices')}",
    )
    table.add_row("way", f"{wording.length(program.pen_down_mm)} of ink, {wording.length(program.travel_mm)} of travel")
    for group in program.groups:
        pen = drawing.pens[group.pen]
        first, end = group.strokes
        seconds = units.ticks_to_s(program.group_ticks(group))
        table.add_row(f"pen {pen.name}", f"{wording.count(end - first, 'stroke')}, {wording.duration(seconds)}")
    table.add_row(
        "to the board", f"{wording.count(program.ramps, 'ramp')} in {wording.count(program.frame_bytes, 'byte')}"
    )
    return table


def rig_table(rig: Rig) -> Table:
    """What follows from a rig file."""
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
