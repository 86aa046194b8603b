"""Position and rotation of a sheet, from corners to which the pen was moved."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from linewright.errors import InputError

if TYPE_CHECKING:
    from linewright.sheet.sizes import Sheet

CORNERS: Final = ("top left", "top right", "bottom left")
"""In the order of the questions; two are enough."""

OFF_MM: Final = 3.0
"""Largest mismatch between corners and sheet size: the pen is placed by eye, to a millimetre at best, and ISO 216
allows 2 mm for a side of 150 to 600 mm (from memory)."""

TURN_HIGH_DEG: Final = 5.0
"""Largest rotation; a more tilted sheet should be laid straight."""


@dataclass(frozen=True)
class SheetFound:
    """Position of a sheet.

    Parameters
    ----------
    offset_mm : machine position of its top left corner.
    turn_deg : clockwise as seen from in front of the sheet, about that corner.
    off_mm : largest distance of a measured corner from the fitted one.
    """

    offset_mm: tuple[float, float]
    turn_deg: float
    off_mm: float


def sheet_found(sheet: Sheet, corners_mm: Mapping[str, tuple[float, float]]) -> SheetFound:
    """Position and rotation that best fit the measured corners of a sheet (least squares).

    Rotation of one set of points onto another: Kabsch, Acta Cryst. A32 (1976), in the plane.

    Parameters
    ----------
    corners_mm : machine positions, by names of `CORNERS`; the top left one and at least one other.

    Raises
    ------
    InputError
        Corners are missing or do not match the size of the sheet, or the sheet is tilted too far or begins before zero.

    Examples
    --------
    >>> from linewright.sheet.sizes import Sheet
    >>> found = sheet_found(Sheet.named("A6"), {"top left": (10.0, 20.0), "top right": (115.0, 20.0)})
    >>> found.offset_mm, found.turn_deg
    ((10.0, 20.0), 0.0)
    """
    if "top left" not in corners_mm or len(corners_mm) < 2:
        raise InputError("two corners are needed, one of them the top left", hint=f"there are: {', '.join(CORNERS)}")
    places = {"top left": (0.0, 0.0), "top right": (sheet.width_mm, 0.0), "bottom left": (0.0, sheet.height_mm)}
    asked = np.array([places[name] for name in corners_mm])
    found = np.array([corners_mm[name] for name in corners_mm])
    a, b = asked - asked.mean(axis=0), found - found.mean(axis=0)
    # y points down the sheet, so a positive angle is clockwise.
    turn = math.atan2(float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum()), float((a * b).sum()))
    c, s = math.cos(turn), math.sin(turn)
    turned = asked @ np.array([[c, s], [-s, c]])
    offset = (found - turned).mean(axis=0)
    off = float(np.hypot(*(found - turned - offset).T).max())
    if off > OFF_MM:
        raise InputError(
            f"these corners are up to {off:.1f} mm from those of a {sheet.name} sheet, {sheet.width_mm:g} x "
            f"{sheet.height_mm:g} mm",
            hint="is this the right sheet and orientation? name it with --sheet, or find the corners again",
        )
    degrees = math.degrees(turn)
    if abs(degrees) > TURN_HIGH_DEG:
        raise InputError(
            f"the sheet is rotated by {degrees:.1f} degrees; at most {TURN_HIGH_DEG:g} are allowed",
            hint="lay it straighter",
        )
    if (offset < -OFF_MM).any():
        raise InputError(
            f"the sheet begins at ({offset[0]:.1f}, {offset[1]:.1f}) mm, outside the machine's range, which starts at "
            "0",
            hint="shift it to the right and down",
        )
    # A corner placed by eye may be slightly below zero, which the file does not allow.
    x, y = (round(max(0.0, float(v)), 2) for v in offset)
    return SheetFound((x, y), round(degrees, 3) + 0.0, off)
