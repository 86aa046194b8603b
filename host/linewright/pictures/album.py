"""Picture files of a drawing: preview and speed map before it, trace and overlay after it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from linewright import units, wording
from linewright.drawing.strokes import Drawing
from linewright.errors import InputError
from linewright.files import replacing
from linewright.pictures import overlay, preview, speed_map
from linewright.pictures.raster import LONG_SIDE_PX, to_png
from linewright.pictures.scene import Scene, Table, inks_of
from linewright.pictures.svg_writer import to_svg

if TYPE_CHECKING:
    from collections.abc import Callable

    from linewright.program.program import Program
    from linewright.sheet.position import SheetPosition
    from linewright.sheet.sizes import Sheet
    from linewright.simulation.replay import TraceReport

DONE_COLOUR: Final = "#c9c6c0"
"""Colour of ink that is already on paper."""


_WRITERS: Final = {".svg": lambda scene: to_svg(scene).encode(), ".png": to_png}


def writer(file: Path) -> Callable[[Scene], bytes]:
    """The function that renders a scene for a file of this name.

    Raises
    ------
    InputError
        The name ends in neither .svg nor .png.
    """
    if file.suffix.lower() not in _WRITERS:
        raise InputError(f"{file} is neither .svg nor .png", hint="use one of these endings")
    return _WRITERS[file.suffix.lower()]


def stem(name: str) -> str:
    """Base name of a picture's output files: its own name, with the suffix unless that is .svg.

    Examples
    --------
    >>> stem("demo/heron.svg"), stem("demo/heron.jpg")
    ('heron', 'heron-jpg')
    """
    path = Path(name)
    ending = path.suffix.lower().removeprefix(".")
    if not re.fullmatch("[a-z0-9]{1,5}", ending):  # the name may be a text with a full stop
        return path.name
    return path.stem if ending == "svg" else f"{path.stem}-{ending}"


def caption(program: Program, name: str) -> str:
    """One line with time, number of strokes and lengths."""
    return "  \u00b7  ".join(
        (
            name,
            program.sheet.name,
            wording.count(len(program.drawing), "stroke"),
            f"{wording.length(program.pen_down_mm)} of ink",
            f"{wording.length(program.travel_mm)} of travel",
            wording.duration(program.predicted_s),
        )
    )


def preview_scene(program: Program, name: str) -> Scene:
    """Preview of the drawing."""
    return preview.preview(
        program.drawing,
        Table(program.sheet, program.sheet_position),
        pen_width_mm=program.pen_width_mm,
        start_mm=program.start_mm,
        caption=caption(program, name),
        title=name,
    )


def pen_scenes(program: Program, name: str) -> list[tuple[str, Scene]]:
    """For each pen a word for its file name, and a scene with its strokes and their time."""
    scenes = []
    for number, group in enumerate(program.groups, 1):
        pen = program.drawing.pens[group.pen]
        part = program.drawing.select(np.arange(*group.strokes))
        seconds = units.ticks_to_s(program.group_ticks(group))
        line = "  \u00b7  ".join(
            (name, f"pen {pen.name}", wording.count(len(part), "stroke"), wording.duration(seconds))
        )
        scene = preview.preview(
            part,
            Table(program.sheet, program.sheet_position),
            pen_width_mm=program.pen_width_mm,
            start_mm=program.start_mm,
            caption=line,
            title=f"{name}: {pen.name}",
            show_travel=False,
        )
        word = re.sub(r"[^a-z0-9]+", "-", pen.name.lower()).strip("-") or "pen"
        scenes.append((f"{number}-{word}", scene))
    return scenes


def left_scene(program: Program, stroke: int, name: str) -> Scene:
    """The remaining strokes if ``stroke`` is the next one, with finished ones in grey."""
    numbers = np.arange(len(program.drawing))
    done, left = program.drawing.select(numbers[:stroke]), program.drawing.select(numbers[stroke:])
    grey = replace(done, pens=tuple(replace(pen, colour=DONE_COLOUR) for pen in done.pens))
    table = Table(program.sheet, program.sheet_position)
    counts = f"{wording.count(len(left), 'stroke')} left, {wording.count(len(done), 'stroke')} drawn"
    scene = preview.preview(
        left,
        table,
        pen_width_mm=program.pen_width_mm,
        caption=f"{name}  \u00b7  {counts}",
        title=f"{name}: left",
        show_travel=False,
    )
    ground = table.ground()
    drawn = inks_of(grey, table, pen_width_mm=program.pen_width_mm)
    return replace(scene, items=(*ground, *drawn, *scene.items[len(ground) :]))


def speed_scene(program: Program, name: str) -> Scene:
    """The drawing coloured by speed."""
    path = program.trajectory
    track = speed_map.Track(path.points_mm, path.speed_mm_s[:, 0], path.speed_mm_s[:, 1], path.stroke >= 0)
    table = Table(program.sheet, program.sheet_position, speed_map.LEGEND_MM)
    return speed_map.speed_map(track, table, pen_width_mm=program.pen_width_mm, title=f"{name}: speed")


def tape_scene(drawn: Drawing, sheet: Sheet, lies: SheetPosition, pen_width_mm: float, name: str) -> Scene:
    """The strokes of a tape without a known plan, machine mm."""
    points, starts = overlay.thinned(drawn.points_mm, drawn.starts, overlay.THIN_MM)
    return preview.preview(
        Drawing(points, starts, drawn.pen, drawn.pens),
        Table(sheet, lies),
        pen_width_mm=pen_width_mm,
        caption=f"{name}  \u00b7  as drawn",
        title=name,
        show_travel=False,
    )


def drawn_scene(program: Program, drawn: Drawing, name: str) -> Scene:
    """The drawn strokes, in the pens' colours where they correspond to planned strokes."""
    planned = program.drawing
    coloured = drawn
    if len(drawn) == len(planned):
        coloured = Drawing(drawn.points_mm, drawn.starts, planned.pen, planned.pens)
    points, starts = overlay.thinned(coloured.points_mm, coloured.starts, overlay.THIN_MM)
    return preview.preview(
        Drawing(points, starts, coloured.pen, coloured.pens),
        Table(program.sheet, program.sheet_position),
        pen_width_mm=program.pen_width_mm,
        caption=f"{name}  \u00b7  as drawn",
        title=f"{name}: drawn",
        show_travel=False,
    )


def overlay_scene(
    program: Program, drawn: Drawing, name: str, *, worst: overlay.Worst | None = None, notes: tuple[str, ...] = ()
) -> Scene:
    """The drawn path over the planned one, with a magnified view of the worst place."""
    return overlay.overlay(
        program.drawing,
        drawn,
        Table(program.sheet, program.sheet_position, overlay.FOOTER_MM),
        pen_width_mm=program.pen_width_mm,
        worst_place=worst,
        notes=notes,
        title=f"{name}: planned and drawn",
    )


def trace_scene(program: Program, trace: TraceReport, name: str) -> Scene:
    """The overlay for a tape of the virtual rig, with the worst place from its own comparison."""
    if trace.drawn is None:
        raise ValueError("the trace was read without the drawn path")
    worst, notes = None, [f"one step is {program.step_mm:.4g} mm"]
    if trace.deviation is not None:
        worst = overlay.Worst(trace.deviation.max_mm, trace.deviation.worst_at_mm)
        notes.insert(0, f"largest deviation {trace.deviation.max_mm:.4f} mm, in the square")
    return overlay_scene(program, trace.drawn, name, worst=worst, notes=tuple(notes))


def write(scene: Scene, folder: Path, stem: str, *, long_side_px: int = LONG_SIDE_PX) -> list[Path]:
    """Write ``stem.svg`` and ``stem.png`` into a folder, which is created if necessary.

    Raises
    ------
    InputError
        The files cannot be written.
    """
    files = [folder / f"{stem}.svg", folder / f"{stem}.png"]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file, content in zip(
            files, (to_svg(scene).encode(), to_png(scene, long_side_px=long_side_px)), strict=True
        ):
            with replacing(file) as stream:
                stream.write(content)
    except OSError as error:
        raise InputError(
            f"cannot write pictures to {folder}: {error.strerror or error}", hint="name another folder with --pictures"
        ) from error
    return files
