"""Task: reading the tape of a virtual rig."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linewright.simulation.replay import TraceReport
    from linewright.tasks.target import Target


def read_tape(file: Path, target: Target, sheet: str | None, folder: Path) -> tuple[TraceReport, list[Path]]:
    """Contents of a tape, and the written pictures of the paper; no pictures if nothing was drawn.

    Parameters
    ----------
    target : its rig has the sheet's position and the line width.
    sheet : name or size; None: the rig's own.
    folder : folder of the pictures.

    Raises
    ------
    InputError
        The file is no tape, or a picture cannot be written.
    SheetError
        There is no such sheet.
    """
    from linewright.pictures import album
    from linewright.rig.sheet_place import sheet_on
    from linewright.simulation.replay import read_trace

    rig = target.rig
    lies = sheet_on(rig, sheet)
    trace = read_trace(file, keep_drawn=True)
    if trace.drawn is None or not len(trace.drawn):
        return trace, []
    scene = album.tape_scene(trace.drawn, lies, rig.sheet.position, rig.pen.width_mm, file.name)
    return trace, album.write(scene, folder, f"{file.stem}-tape")
