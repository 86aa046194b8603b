"""The sheet on a rig, and the part of it that the pen can reach."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from linewright.drawing.crop import Box
from linewright.errors import SheetError
from linewright.rig.rig import Rig
from linewright.sheet.sizes import NAMED_MM, Sheet

HAIR_MM: Final = 1e-9
"""Tolerance for rounding of positions, a thousand times the rounding error of lengths up to 10 m."""


def sheet_on(
    rig: Rig, name: str | None = None, *, landscape: bool | None = None, margin_mm: float | None = None
) -> Sheet:
    """A sheet for this rig: its usual one, or the named one, turned if it fits only that way.

    An orientation given by the name or by ``landscape`` is kept, whether it fits or not.
    """
    margin = rig.sheet.margin_mm if margin_mm is None else margin_mm
    wanted = rig.sheet.size if name is None else name
    sheet = Sheet.named(wanted, landscape=landscape, margin_mm=margin)
    stated = landscape is not None or wanted.lower().endswith(("landscape", "portrait"))
    if stated or lies_within(sheet, rig):
        return sheet
    other = replace(
        sheet,
        width_mm=sheet.height_mm,
        height_mm=sheet.width_mm,
        name=f"{sheet.name} landscape" if sheet.height_mm > sheet.width_mm else f"{sheet.name} portrait",
    )
    return other if lies_within(other, rig) else sheet


def lies_within(sheet: Sheet, rig: Rig) -> bool:
    """Whether the rig can reach the whole sheet."""
    low, high = np.array(rig.shape.box_mm).reshape(2, 2)
    begin = np.array(rig.sheet.offset_mm)
    drawn = begin + sheet.margin_mm  # the margin need not be reachable
    return bool(np.all(drawn >= low) and np.all(begin + np.array([sheet.width_mm, sheet.height_mm]) <= high))


def room_on(sheet: Sheet, rig: Rig) -> Box:
    """Drawable area: the sheet without its margins and without the parts out of reach.

    In sheet coordinates; equal to ``box_mm`` for a sheet that lies within reach.

    Raises
    ------
    SheetError
        No part of the sheet can be reached.
    """
    reach_on(sheet, rig)
    begin, end = np.array(sheet.box_mm).reshape(2, 2)
    near, far = np.array(rig.shape.box_mm).reshape(2, 2)
    offset = np.array(rig.sheet.offset_mm, dtype=np.float64)
    # The sheet's own box is used exactly; the tolerance applies only where the reach ends first.
    low = np.where(begin + offset >= near, begin, near - offset + HAIR_MM)
    high = np.where(end + offset <= far, end, far - offset - HAIR_MM)
    return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def largest_named(rig: Rig) -> Sheet | None:
    """The largest standard sheet that is completely within reach, turned if necessary."""
    fitting = [sheet for sheet in (sheet_on(rig, name, margin_mm=0.0) for name in NAMED_MM) if lies_within(sheet, rig)]
    return max(fitting, key=lambda sheet: sheet.width_mm * sheet.height_mm, default=None)


def reach_on(sheet: Sheet, rig: Rig) -> Box:
    """The margin box clipped to the rig's reach, in machine coordinates."""
    offset = np.array(rig.sheet.offset_mm, dtype=np.float64)
    x0, y0, x1, y1 = sheet.box_mm
    near, far = np.array(rig.shape.box_mm).reshape(2, 2)
    # Rounding is monotone, so a point on the edge of the sheet's box stays on the edge after shifting.
    low = np.maximum(np.array([x0, y0]) + offset, near)
    high = np.minimum(np.array([x1, y1]) + offset, far)
    if (low > high).any():
        raise SheetError(
            f"the {sheet.name} sheet at ({offset[0]:g}, {offset[1]:g}) mm lies outside the machine's reach of "
            f"{far[0] - near[0]:.6g} x {far[1] - near[1]:.6g} mm",
            hint="correct sheet.offset_mm or the travel in the rig file",
        )
    return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
