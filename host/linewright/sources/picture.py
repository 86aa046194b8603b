"""`Picture`: what every source returns; `Wish`: what it is asked for beside the source itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Pen

Report = Callable[[str, float], object]
"""Told what is being done and how much of it is done, 0 to 1. It may raise, which ends the work."""

A4_ROOM_MM: Final = (190.0, 277.0)
"""ISO 216 A4 upright inside margins of 10 mm."""

PEN_WIDTH_MM: Final = 0.5
"""The default rig's pen."""


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture as strokes.

    Parameters
    ----------
    drawing : strokes in mm, origin at the top left corner of the picture.
    covers : polygons that hide what lies below the picture, (m, 2) rings in mm, none within another's hole but those of
        holes themselves: inside is what an odd number of rings enclose. Empty unless they were asked for.
    width_mm, height_mm : size of the picture on the sheet; see `Wish`.
    warnings : what is not drawn, or not as the source says, and what was chosen; in plain words.
    rough : it was made for a first look; see `Wish.first_look`.
    inks : of a drawing file, its colours or layers as it has them, before the pens at hand were taken for them.
    """

    drawing: Drawing
    width_mm: float
    height_mm: float
    warnings: tuple[str, ...] = ()
    covers: tuple[NDArray[np.float64], ...] = ()
    rough: bool = False
    inks: tuple[Pen, ...] = ()


def _nobody(_state: str, _done: float) -> None:
    """Drop the report."""


@dataclass(frozen=True)
class TextStyle:
    """How the words of a drawing file are written.

    Parameters
    ----------
    outlines : the outlines of a font, as the file looks on a screen; else single-line letters, as a pen writes them.
    fonts : font files, and folders of them, that are looked at before those of the system.
    """

    outlines: bool = False
    fonts: tuple[str, ...] = ()


USUAL_WORDS: Final = TextStyle()
"""Single-line letters."""


@dataclass(frozen=True)
class Wish:
    """What a source is asked for.

    Whatever has a length in mm (how far a stroke strays from its curve, spacing, the pen) holds at one size only: that
    on the sheet. So a source is told the room that it gets there, finds its size with `on_sheet_mm` or, without a size
    of its own, with `fitted_mm`, makes its strokes for that size, and states exactly that size; placing then leaves it
    as it is. An item of a known width asks with ``room_mm=(width, inf)``.

    Parameters
    ----------
    room_mm : width and height inside the margins, as the sheet lies.
    turn_deg : how the picture will be turned on the sheet; ``"auto"`` turns it where it then becomes larger.
    pen_width_mm : the line of a pen that does not state its own.
    pens : the pens to separate colours to; none: one pen, black.
    tolerance_mm : how far a stroke may stray from the curve it stands for.
    pen_by : what decides which pen draws a line of a drawing file.
    pen_for : colours or layers of a drawing file, and for each the name of the one of the pens that draws it.
    fit : ``"fit"``: as large as the room allows; ``"keep"``: a picture with a size of its own keeps it.
    see_through : whether lines are drawn that something painted later covers.
    layers : names or numbers (from 1) of the layers to draw; none: those that the file shows.
    page : which one of a file of several, from 1.
    words : how the words of a drawing file are written.
    covers : whether what the picture hides below it is wanted.
    first_look : a photograph is drawn by wider pens than was asked for, because that is made soon.
    report : told of progress.
    """

    room_mm: tuple[float, float] = A4_ROOM_MM
    turn_deg: int | Literal["auto"] = "auto"
    pen_width_mm: float = PEN_WIDTH_MM
    pens: tuple[Pen, ...] = ()
    tolerance_mm: float = 0.02
    pen_by: Literal["colour", "layer"] = "colour"
    pen_for: tuple[tuple[str, str], ...] = ()
    fit: Literal["fit", "keep"] = "fit"
    see_through: bool = False
    layers: tuple[str, ...] = ()
    page: int = 1
    words: TextStyle = USUAL_WORDS
    covers: bool = False
    first_look: bool = False
    report: Report = _nobody

    def one_pen(self, name: str) -> Pen:
        """What draws a picture of one ink: the first of the pens, else one of this name as wide as the rig's."""
        return self.pens[0] if self.pens else Pen(name)

    def on_sheet_mm(self, width_mm: float, height_mm: float) -> tuple[float, float]:
        """Size on the sheet of a picture that states a size of its own: strokes are made for this size."""
        return (width_mm, height_mm) if self.fit == "keep" else self.fitted_mm(width_mm, height_mm)

    def one_pen_mm(self) -> float:
        """The width of that pen's line."""
        stated = self.pens[0].width_mm if self.pens else None
        return self.pen_width_mm if stated is None else stated

    def fitted_mm(self, width: float, height: float) -> tuple[float, float]:
        """Size in mm at which a picture of this proportion fills the room, turned or not as `sheet.place` will."""
        scale = min(self.room_mm[0] / width, self.room_mm[1] / height)
        turned = min(self.room_mm[0] / height, self.room_mm[1] / width)
        if self.turn_deg == "auto":
            # The same slack as `sheet.place` allows before it turns.
            scale = turned if turned > scale * (1 + 1e-9) else scale
        elif self.turn_deg % 180:
            scale = turned
        return width * scale, height * scale


class Way(Protocol):
    """A way to strokes with its settings made: a frozen dataclass whose fields `linewright.sources.settings` reads."""

    def read(self, source: str, wish: Wish) -> Picture:
        """The strokes of a source, as the user typed it.

        Raises
        ------
        SourceError
            If it cannot be read, or there is nothing to draw in it.
        """
