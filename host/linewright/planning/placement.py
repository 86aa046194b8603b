"""Placing a drawing on a sheet: fitted, turned, aligned, repeated, and clipped at the margin.

`place` and `to_machine`, the last steps before tidying and motion, guarantee that no point is outside the margin box
and the machine's reach, not even by rounding, and report what was clipped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final, Literal

import numpy as np

from linewright.drawing.crop import Box, Cut, PlacedDrawing, clip
from linewright.drawing.strokes import Drawing, Points
from linewright.errors import SheetError
from linewright.rig.rig import Rig
from linewright.rig.sheet_place import reach_on
from linewright.sheet.sizes import Sheet

Align = Literal[
    "top-left", "top", "top-right", "left", "centre", "right", "bottom-left", "bottom", "bottom-right"
]  # fmt: skip

HUGE_MM: Final = 1e12
"""Largest coordinate, a million km: beyond it the file is damaged, and crossings with the margin would be inexact by
more than 0.1 mm (float64 has a relative precision of 1e-16)."""

POINT_MM: Final = 1e-6
"""A smaller picture counts as a point and is not scaled to the size of a sheet."""


def refuse_damage(drawing: Drawing) -> None:
    """Raise for the first coordinate that is not finite or beyond a million km.

    Raises
    ------
    SheetError
        The message has the stroke and the point.
    """
    sound = (np.abs(drawing.points_mm) <= HUGE_MM).all(axis=1)  # false for NaN as well
    if sound.all():
        return
    at = int(np.argmin(sound))
    x, y = drawing.points_mm[at]
    raise SheetError(
        f"stroke {drawing.stroke_at(at)} has a point at ({x:g}, {y:g}) mm; "
        f"coordinates must be numbers up to {HUGE_MM:g} mm",
        hint="the picture is damaged, or its units are wrong",
    )


# Quarter turns, clockwise as seen (y points down): the columns are the images of x and y.
_TURNS: Final = {
    0: ((1.0, 0.0), (0.0, 1.0)),
    90: ((0.0, -1.0), (1.0, 0.0)),
    180: ((-1.0, 0.0), (0.0, -1.0)),
    270: ((0.0, 1.0), (-1.0, 0.0)),
}

_SHARES: Final = {"left": 0.0, "top": 0.0, "right": 1.0, "bottom": 1.0}


def place(
    drawing: Drawing,
    picture_size_mm: tuple[float, float] | None,
    sheet: Sheet,
    *,
    room_mm: Box | None = None,
    fit: Literal["fit", "keep"] = "fit",
    turn_deg: int | Literal["auto"] = 0,
    align: Align = "centre",
    copies: tuple[int, int] = (1, 1),
    gap_mm: float = 5.0,
) -> PlacedDrawing:
    """Place a drawing on a sheet.

    Parameters
    ----------
    drawing : strokes in picture coordinates, mm, origin at the picture's top left corner.
    picture_size_mm : width and height of the picture's page; ``None``: the strokes' own extent, so that the ink
        itself is fitted and aligned.
    sheet : the drawing goes into its margin box.
    room_mm : the part of that box to use, see `linewright.rig.sheet_place.room_on`; ``None``: all of it.
    fit : ``"fit"`` scales the page to that area and keeps its proportion; ``"keep"`` keeps its size.
    turn_deg : any multiple of 90, clockwise as seen; ``"auto"`` turns by 90 if the picture is larger (fit)
        or less of it is clipped (keep) that way.
    align : position of a page that is smaller than the area.
    copies : columns and rows; every copy gets an equal cell, ``gap_mm`` apart, and stays in it.
    gap_mm : between cells, mm.

    Returns
    -------
    PlacedDrawing
        In sheet coordinates, mm, within the area exactly; ``.cut`` tells what was clipped. Copies follow each
        other by rows.

    Raises
    ------
    SheetError
        A coordinate is not a number or beyond a million km, the turn is no multiple of 90 degrees, or the
        copies leave no room.
    """
    refuse_damage(drawing)
    if turn_deg != "auto" and turn_deg % 90:
        raise SheetError(f"a turn of {turn_deg} degrees is not a multiple of 90", hint="give 0, 90, 180, 270 or auto")
    if picture_size_mm is None:
        left, top, right, bottom = drawing.bounds_mm()
    else:
        left, top, (right, bottom) = 0.0, 0.0, picture_size_mm
    size = np.array([right - left, bottom - top])
    if not (np.isfinite(size).all() and (size >= 0).all() and (size <= 2 * HUGE_MM).all()):
        raise SheetError(f"a picture of {size[0]:g} x {size[1]:g} mm cannot be placed on a sheet")

    cells = _cells(sheet.box_mm if room_mm is None else room_mm, copies, gap_mm)
    room = np.array([cells[0][2] - cells[0][0], cells[0][3] - cells[0][1]])
    turn = _auto_turn(size, room, fit) if turn_deg == "auto" else int(turn_deg) % 360
    seen = size[::-1] if turn % 180 else size
    scale = fit_scale(seen, room) if fit == "fit" else 1.0
    share = share_of(align)
    linear = scale * np.array(_TURNS[turn])
    middle = np.array([(left + right) / 2, (top + bottom) / 2])

    placed = []
    for cell in cells:
        centre = np.array(cell[:2]) + share * (room - scale * seen) + scale * seen / 2
        matrix = np.column_stack((linear, centre - linear @ middle))
        moved = drawing.transformed(matrix)
        placed.append(clip(settled(moved, cell, scale * seen), cell))
    return _together(placed)


def share_of(align: Align) -> Points:
    """(2,) float64: share of the free space to the left of and above an aligned page."""
    words = align.split("-")
    return np.array(
        [
            next((_SHARES[w] for w in words if w in ("left", "right")), 0.5),
            next((_SHARES[w] for w in words if w in ("top", "bottom")), 0.5),
        ]
    )


def settled(drawing: Drawing, cell: Box, seen: Points) -> Drawing:
    """Undo rounding of the fit: points within rounding of the boundary are moved onto it, so that a frame is not
    clipped.
    """
    # Scaling and shifting round a few times by 2^-53 of the numbers; 16 units are a safe bound.
    slack = 16 * np.finfo(float).eps * max(abs(c) for c in (*cell, *seen))
    low, high = np.array(cell[:2]), np.array(cell[2:])
    points = drawing.points_mm
    points = np.where((points < low) & (points >= low - slack), low, points)
    points = np.where((points > high) & (points <= high + slack), high, points)
    return replace(drawing, points_mm=points)


def fit_scale(size: Points, room: Points) -> float:
    """Largest scale at which ``size`` fits ``room``; a picture without extent keeps its size."""
    wide = size >= POINT_MM
    scale = float(np.min(np.where(wide, room / np.where(wide, size, 1.0), np.inf)))
    return scale if np.isfinite(scale) else 1.0


def _auto_turn(size: Points, room: Points, fit: str) -> int:
    # A square fits equally both ways, so it is not turned because of rounding.
    if fit == "keep":
        over, over_turned = (float(np.maximum(way - room, 0.0).sum()) for way in (size, size[::-1]))
        return 90 if over_turned < over * (1 - 1e-9) else 0
    return 90 if fit_scale(size[::-1], room) > fit_scale(size, room) * (1 + 1e-9) else 0


def _cells(box_mm: Box, copies: tuple[int, int], gap_mm: float) -> list[Box]:
    columns, rows = copies
    if not (1 <= columns <= 100 and 1 <= rows <= 100):
        raise SheetError(f"{columns} x {rows} copies: each count must be 1..100")
    x0, y0, x1, y1 = box_mm
    width, height = (x1 - x0 - gap_mm * (columns - 1)) / columns, (y1 - y0 - gap_mm * (rows - 1)) / rows
    if not (gap_mm >= 0 and width > 0 and height > 0):
        raise SheetError(
            f"{columns} x {rows} copies with gaps of {gap_mm:g} mm leave no room in {x1 - x0:g} x {y1 - y0:g} mm",
            hint="use fewer copies, a smaller gap or a larger sheet",
        )
    # The last cell ends at the boundary itself, not at a rounded sum.
    return [
        (
            x0 + c * (width + gap_mm),
            y0 + r * (height + gap_mm),
            x1 if c == columns - 1 else x0 + c * (width + gap_mm) + width,
            y1 if r == rows - 1 else y0 + r * (height + gap_mm) + height,
        )
        for r in range(rows)
        for c in range(columns)
    ]


def _together(parts: Sequence[PlacedDrawing]) -> PlacedDrawing:
    whole = Drawing.one_after_the_other(parts)
    return PlacedDrawing(whole.points_mm, whole.starts, whole.pen, whole.pens, sum((p.cut for p in parts), Cut()))


def to_machine(drawing: Drawing, sheet: Sheet, rig: Rig) -> PlacedDrawing:
    """Transform from sheet to machine coordinates, clipped at the margin box and at the reach.

    Parameters
    ----------
    drawing : sheet coordinates, mm.
    sheet, rig : the sheet lies with its top left corner at ``rig.sheet.offset_mm``, turned by ``rig.sheet.turn_deg``.

    Returns
    -------
    PlacedDrawing
        Machine coordinates, mm, within 0..travel of both axes exactly; ``.cut`` tells what was clipped.

    Raises
    ------
    SheetError
        No part of the sheet can be reached, or a coordinate is not a number.
    """
    refuse_damage(drawing)
    if rig.sheet.turn_deg:
        # Clip at the margins first, along the edges of the sheet as it lies.
        inside = clip(drawing, sheet.box_mm)
        turned = replace(inside, points_mm=rig.sheet.position.on_machine(inside.points_mm))
        reached = clip(turned, rig.shape.box_mm)
        return replace(reached, cut=inside.cut + reached.cut)
    moved = replace(drawing, points_mm=rig.sheet.position.on_machine(drawing.points_mm))
    return clip(moved, reach_on(sheet, rig))
