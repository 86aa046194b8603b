"""Pens with speed, heights, offset or ink of their own: each part is planned for its pen, and the parts are joined to
one program.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from linewright import wording
from linewright.drawing.strokes import Drawing
from linewright.errors import PlanError, RigError
from linewright.motion.planner import plan
from linewright.program.program import END, REST, PenGroup, Program

if TYPE_CHECKING:
    from collections.abc import Sequence

    from linewright.drawing.strokes import Pen
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

COLUMNS = ("kind", "da", "db", "v_end", "servo_us", "dwell_ms", "rest_ticks", "ticks")
"""Columns of a program, one value per record. ``stroke_of_record`` is joined separately, because its numbers shift."""


def plan_for_pens(drawing: Drawing, rig: Rig, *, sheet: Sheet | None = None) -> Program:
    """Plan a drawing whose pens may have their own speed, heights, tip offset and amount of ink.

    A pen that runs out of ink draws in several groups; the machine parks between them, as for a pen change.

    Parameters
    ----------
    drawing : in machine coordinates, mm.
    rig, sheet : as `plan` takes them.

    Raises
    ------
    PlanError
        As `plan`; or the heights of a pen are outside the rig's range.
    """
    if all(drawing.pens[i].is_plain for i in np.unique(drawing.pen)):
        return plan(drawing, rig, sheet=sheet)
    lengths_mm = drawing.stroke_lengths_mm()
    programs: list[Program] = []
    notes: list[str] = []
    for index, pen in enumerate(drawing.pens):
        strokes = np.flatnonzero(drawing.pen == index)
        if not len(strokes):
            continue
        own = _rig_of(pen, rig)
        fills = _fills(lengths_mm[strokes], pen.ink_mm)
        for fill in np.split(strokes, fills):
            part = drawing.select(fill)
            shifted = Drawing(part.points_mm - np.array(pen.offset_mm), part.starts, part.pen, part.pens)
            programs.append(plan(shifted, own, sheet=sheet))
        if len(fills):
            notes.append(f"the pen '{pen.name}' is filled, sharpened or dipped {wording.times(len(fills))} on the way")
        if pen.offset_mm != (0.0, 0.0):
            notes.append(
                f"the pen '{pen.name}' is drawn with an offset of {-pen.offset_mm[0]:g}, {-pen.offset_mm[1]:g} mm, "
                "because its tip is there; the preview shows the path of the carriage"
            )
    whole = joined(programs)
    return replace(
        whole,
        rig_fingerprint=rig.fingerprint(),
        rig_name=rig.name,
        warnings=tuple(dict.fromkeys((*notes, *whole.warnings))),
    )


def joined(programs: list[Program]) -> Program:
    """Concatenate programs to one, with their groups. Each must start and end at park.

    The board rests between two of them, as between pens, because the next one may be sent hours later.
    """
    last = len(programs) - 1
    columns: dict[str, Any] = {}
    for name in COLUMNS:
        parts = [np.array(getattr(program, name)) for program in programs]
        if name == "kind":
            for part in parts[:last]:
                part[part == END] = REST
        columns[name] = np.concatenate(parts)
    strokes, groups = [], []
    before = records = 0
    for program in programs:
        strokes.append(np.where(program.stroke_of_record >= 0, program.stroke_of_record + before, -1))
        groups += [
            PenGroup(
                group.pen,
                (group.strokes[0] + before, group.strokes[1] + before),
                (group.records[0] + records, group.records[1] + records),
            )
            for group in program.groups
        ]
        before += len(program.drawing)
        records += len(program)
    return replace(
        programs[0],
        **columns,
        stroke_of_record=np.concatenate(strokes).astype(np.int32),
        drawing=Drawing.one_after_the_other([program.drawing for program in programs]),
        groups=tuple(groups),
        warnings=tuple(dict.fromkeys(warning for program in programs for warning in program.warnings)),
    )


def of_groups(program: Program, numbers: Sequence[int]) -> Program:
    """Selected groups of a program as a program of its own, record for record. Each group starts and ends at park, so
    they join.

    Nothing is planned again, so a pen's own speed, heights, offset and ink are kept.

    Parameters
    ----------
    numbers : numbers of the groups, ascending, at least one.
    """
    chosen = [program.groups[number] for number in numbers]
    records = np.concatenate([np.arange(*group.records) for group in chosen])
    strokes = np.concatenate([np.arange(*group.strokes) for group in chosen])
    columns: dict[str, Any] = {name: getattr(program, name)[records] for name in COLUMNS}
    columns["kind"][-1] = END
    place = np.full(len(program.drawing) + 1, -1, dtype=np.int32)  # the last entry maps -1 (no stroke) to itself
    place[strokes] = np.arange(len(strokes))
    groups: list[PenGroup] = []
    for group in chosen:
        before = groups[-1] if groups else PenGroup(0, (0, 0), (0, 0))
        first_stroke, first_record = before.strokes[1], before.records[1]
        groups.append(
            PenGroup(
                group.pen,
                (first_stroke, first_stroke + group.strokes[1] - group.strokes[0]),
                (first_record, first_record + group.records[1] - group.records[0]),
            )
        )
    return replace(
        program,
        **columns,
        stroke_of_record=place[program.stroke_of_record[records]],
        drawing=program.drawing.select(strokes),
        groups=tuple(groups),
    )


def _rig_of(pen: Pen, rig: Rig) -> Rig:
    """The rig with the pen's own values."""
    changes: dict[str, object] = {}
    if pen.speed_mm_s is not None:
        changes["motion.pen_down_speed_mm_s"] = min(pen.speed_mm_s, rig.motion.pen_down_speed_mm_s)
    if pen.up_us is not None:
        changes["pen.up_us"] = pen.up_us
    if pen.down_us is not None:
        changes["pen.down_us"] = pen.down_us
    if pen.up_us is not None or pen.down_us is not None:
        changes["pen.near_us"] = 0  # measured for the rig's own pen, unknown for this one
    try:
        return rig.changed(changes) if changes else rig
    except RigError as error:
        raise PlanError(
            f"the pen '{pen.name}' does not suit the rig: {error}", hint="correct it in its file"
        ) from error


def _fills(lengths_mm: NDArray[np.float64], ink_mm: float | None) -> NDArray[np.int64]:
    """Indices of the strokes before which a pen is refilled: before a stroke that its remaining ink does not cover."""
    if ink_mm is None:
        return np.zeros(0, dtype=np.int64)
    at, used = [], 0.0
    for i, length in enumerate(lengths_mm):
        if used and used + length > ink_mm:
            at.append(i)
            used = 0.0
        used += float(length)
    return np.array(at, dtype=np.int64)
