"""What a virtual rig drew, read from its tape."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linewright.simulation.replay import TraceReport
    from linewright.tasks.target import Target


def read_tape(file: Path, target: Target, sheet: str | None, folder: Path) -> tuple[TraceReport, list[Path]]:
    """What is on a tape, and the pictures of the paper that were written; none where nothing was drawn.

    Parameters
    ----------
    target : its rig says where the sheet lies and how wide the pen's line is.
    sheet : its name or size; None: the rig's own.
    folder : for the pictures.

    Raises
    ------
    InputError
        If the file is no tape, or a picture cannot be written.
    SheetError
        If there is no such sheet.
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
