"""Optional surroundings of a picture: frame, caption, signature.

The frame follows the margins. Words are below it, as on a print: the caption centred, or left if there is a signature
at the right. The picture gets the remaining area.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.crop import Box, PlacedDrawing
from linewright.drawing.strokes import Drawing, Points
from linewright.errors import SheetError
from linewright.sources.drawing_files import read_drawing
from linewright.sources.lettering.faces import CAP_UNITS, FACES
from linewright.sources.lettering.layout import TextLines
from linewright.sources.lettering.writing import Lettering
from linewright.sources.picture import Wish

GAP_SHARE: Final = 0.025
GAP_MM: Final = (2.0, 10.0)
"""Space between frame and picture: a share of the area's shorter side, within bounds (common practice)."""

CAPTION_SHARE: Final = 0.028
CAPTION_MM: Final = (3.0, 10.0)
"""Height of a caption's capitals: a share of the area's shorter side, within bounds. Below 3 mm the letters of a common
pen run together."""

SIGNATURE_FILE: Final = 1.6
"""Height of a signature from a file, in capital heights of the caption: as high as the band allows."""

SIGNATURE: Final = 0.8
"""Height of a signature's capitals, in capital heights of the caption; larger if the pen is too wide for that."""

BAND: Final = 2.4
"""Height of the band of words, in capital heights of the caption: one of white space above, and room for descenders."""

HANGS: Final = 0.4
"""Largest depth of descenders, in capital heights."""

LEAST_MM: Final = 20.0
"""Smallest useful picture."""

_POINT_MM: Final = 1e-6
"""A smaller side of a signature counts as 0; the other one then sets the scale."""

CAPTION_FACE: Final = "plain"
SIGNATURE_FACE: Final = "running"


@dataclass(frozen=True)
class Surround:
    """Surroundings of a picture.

    Parameters
    ----------
    frame : whether a line is drawn along the margins.
    caption : words below the picture; empty: none.
    signature : words in script at the lower right, or the name of an SVG file; empty: none.
    """

    frame: bool = False
    caption: str = ""
    signature: str = ""

    @property
    def is_nothing(self) -> bool:
        """Whether there are no surroundings."""
        return self == Surround()

    @property
    def _words(self) -> bool:
        return bool(self.caption or self.signature)

    def picture_room(self, room_mm: Box) -> Box:
        """The part of an area left for the picture, mm.

        Raises
        ------
        SheetError : it is too small.
        """
        left, top, right, bottom = self._frame(room_mm)
        gap_mm = _bounded(GAP_SHARE, GAP_MM, room_mm) if self.frame else 0.0
        inner = (left + gap_mm, top + gap_mm, right - gap_mm, bottom - gap_mm)
        if not self.is_nothing and min(inner[2] - inner[0], inner[3] - inner[1]) < LEAST_MM:
            raise SheetError(
                "frame and caption leave no room for the picture",
                hint=f"use a larger sheet or a smaller margin: the picture needs at least {LEAST_MM:g} mm",
            )
        return inner

    def around(self, placed: PlacedDrawing, room_mm: Box, pen_width_mm: float) -> tuple[PlacedDrawing, tuple[str, ...]]:
        """A placed drawing with its surroundings, drawn with its darkest pen, and remarks for the user.

        Parameters
        ----------
        placed : sheet coordinates, mm.
        room_mm : the area that `picture_room` divided.
        pen_width_mm : width of pens that state none.

        Raises
        ------
        SheetError : the words are too long for the sheet.
        SourceError : the words have no letters, or the signature's file cannot be read.
        """
        if self.is_nothing or not len(placed):
            return placed, ()
        darkest = _darkest(placed)
        width_mm = pen_width_mm
        if placed.pens and (own := placed.pens[darkest].width_mm) is not None:
            width_mm = own
        strokes: list[Points] = []
        if self.frame:
            left, top, right, bottom = self._frame(room_mm)
            strokes.append(np.array([(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]))
        written, notes = self._written(room_mm, width_mm)
        strokes += written
        border = Drawing.from_strokes(strokes, [darkest] * len(strokes), placed.pens)
        whole = Drawing.one_after_the_other([placed, border])
        return PlacedDrawing(whole.points_mm, whole.starts, whole.pen, whole.pens, placed.cut), notes

    def _frame(self, room_mm: Box) -> Box:
        """The area above the band of words."""
        left, top, right, bottom = room_mm
        return (left, top, right, bottom - (BAND * self._caption_mm(room_mm) if self._words else 0.0))

    def _caption_mm(self, room_mm: Box) -> float:
        return _bounded(CAPTION_SHARE, CAPTION_MM, room_mm)

    def _written(self, room_mm: Box, pen_width_mm: float) -> tuple[list[Points], tuple[str, ...]]:
        """Caption and signature as strokes."""
        left, _, right, bottom = room_mm
        size_mm = self._caption_mm(room_mm)
        foot_mm = bottom - HANGS * size_mm
        strokes: list[Points] = []
        notes: list[str] = []
        taken_mm = 0.0
        if self.signature:
            signed, taken_mm, said = _signed(self.signature, size_mm, pen_width_mm, right - left)
            strokes += [stroke + (right - taken_mm, foot_mm) for stroke in signed]
            notes += [f"signature: {note}" for note in said]
        if self.caption:
            line, width_mm, said = _line(self.caption, CAPTION_FACE, size_mm, pen_width_mm)
            room = right - left - (taken_mm + 2.0 * size_mm if taken_mm else 0.0)
            scale = min(1.0, room / width_mm)
            if scale * size_mm < CAPTION_MM[0] * (1 - 1e-9):
                raise SheetError(
                    f"the caption is {width_mm:.0f} mm long with capitals {size_mm:.3g} mm high, and there are "
                    f"{room:.0f} mm for it",
                    hint="use fewer words, a shorter signature or a larger sheet",
                )
            begin = left if taken_mm else (left + right - width_mm * scale) / 2.0
            strokes += [stroke * scale + (begin, foot_mm) for stroke in line]
            notes += [f"caption: {note}" for note in said]
        return strokes, tuple(notes)


def _bounded(share: float, bounds_mm: tuple[float, float], room_mm: Box) -> float:
    """A share of the shorter side of an area, within bounds, mm."""
    side_mm = min(room_mm[2] - room_mm[0], room_mm[3] - room_mm[1])
    return float(np.clip(share * side_mm, *bounds_mm))


def _line(text: str, face: str, size_mm: float, pen_width_mm: float) -> tuple[list[Points], float, tuple[str, ...]]:
    """One line of words: strokes relative to the left end of its baseline, its width in mm, and missing characters."""
    one = " ".join(text.split())
    picture = Lettering(face, size_mm).read(one, Wish((math.inf, math.inf), 0, pen_width_mm))
    above_mm = TextLines(one, FACES[face], 0.0).ink()[2] * size_mm / CAP_UNITS
    return [stroke - (0.0, above_mm) for stroke in picture.drawing], picture.width_mm, picture.warnings


def _signed(
    signature: str, size_mm: float, pen_width_mm: float, room_mm: float
) -> tuple[list[Points], float, tuple[str, ...]]:
    """A signature: strokes relative to the left end of its baseline, its width in mm, and remarks.

    Raises
    ------
    SheetError : it is wider than half of the area.
    """
    if signature.lower().endswith(".svg"):
        strokes, width_mm = _of_file(signature, (room_mm / 3.0, SIGNATURE_FILE * size_mm), pen_width_mm)
        notes: tuple[str, ...] = ()
    else:
        clear_mm = min(FACES[SIGNATURE_FACE].least_size_mm(pen_width_mm), SIGNATURE_FILE * size_mm)
        strokes, width_mm, notes = _line(signature, SIGNATURE_FACE, max(SIGNATURE * size_mm, clear_mm), pen_width_mm)
    if width_mm > room_mm / 2.0:
        raise SheetError(
            f"the signature is {width_mm:.0f} mm long, more than half of the {room_mm:.0f} mm that there are",
            hint="use a shorter signature",
        )
    return strokes, width_mm, notes


def _of_file(file: str, room_mm: tuple[float, float], pen_width_mm: float) -> tuple[list[Points], float]:
    """An SVG scaled to the largest size in an area: strokes relative to its lower left corner, and its width in mm."""
    drawn = read_drawing(file, Wish(room_mm, 0, pen_width_mm)).drawing
    x0, y0, x1, y1 = drawn.bounds_mm()
    scale = min(room_mm[0] / max(x1 - x0, _POINT_MM), room_mm[1] / max(y1 - y0, _POINT_MM))
    return [(stroke - (x0, y1)) * scale for stroke in drawn], (x1 - x0) * scale


def _darkest(drawing: Drawing) -> int:
    """The darkest pen among those that draw."""

    def light(pen: int) -> float:
        red, green, blue = (int(drawing.pens[pen].colour[i : i + 2], 16) for i in (1, 3, 5))
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue  # weights of ITU-R BT.709

    used = [int(pen) for pen in np.unique(drawing.pen)]
    return min(used, key=light, default=0)
