"""`Picture`: result of every source; `Wish`: the request to a source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Pen

Report = Callable[[str, float], object]
"""Progress callback with the current step and the share done, 0 to 1. It may raise to cancel the work."""

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
    covers : polygons that hide items below the picture, (m, 2) rings in mm; the area is enclosed by an odd number of
        rings.
        Empty unless requested.
    width_mm, height_mm : size of the picture on the sheet; see `Wish`.
    warnings : remarks on omissions, changes and choices.
    rough : made for a first look; see `Wish.first_look`.
    inks : colours or layers of a drawing file, before pens were assigned.
    """

    drawing: Drawing
    width_mm: float
    height_mm: float
    warnings: tuple[str, ...] = ()
    covers: tuple[NDArray[np.float64], ...] = ()
    rough: bool = False
    inks: tuple[Pen, ...] = ()


def _nobody(_state: str, _done: float) -> None:
    """Discard a progress report."""


@dataclass(frozen=True)
class TextStyle:
    """Style of the words of a drawing file.

    Parameters
    ----------
    outlines : outlines of a font, as on a screen; False: single-line letters.
    fonts : font files and folders that take precedence over those of the system.
    """

    outlines: bool = False
    fonts: tuple[str, ...] = ()


USUAL_WORDS: Final = TextStyle()
"""Default: single-line letters."""


@dataclass(frozen=True)
class Wish:
    """A request to a source.

    Lengths in mm (tolerance, spacing, pen) apply at one size only, that on the sheet. So a source gets its area,
    determines its size with `on_sheet_mm` or, without a size of its own, with `fitted_mm`, makes its strokes for that
    size, and returns exactly that size; placing then leaves it unchanged. An item of known width is requested with
    ``room_mm=(width, inf)``.

    Parameters
    ----------
    room_mm : width and height inside the margins, as the sheet lies.
    turn_deg : rotation on the sheet; ``"auto"`` turns the picture if it is larger that way.
    pen_width_mm : line width of pens that state none.
    pens : pens for colour separation; none: one black pen.
    tolerance_mm : largest deviation of a stroke from its curve.
    pen_by : how lines of a drawing file are assigned to pens.
    pen_for : pairs of a colour or layer of a drawing file and the name of its pen.
    fit : ``"fit"``: as large as possible; ``"keep"``: a picture with a size of its own keeps it.
    see_through : also draw covered lines.
    layers : names or numbers (from 1) of the layers to draw; none: the visible ones.
    page : page of a file with several, from 1.
    words : style of the words of a drawing file.
    covers : also return the area that hides items below.
    first_look : draw a photograph with wider pens, which is faster.
    report : progress callback.
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
        """The pen of a picture of one ink: the first of the pens, else one with this name and the rig's width."""
        return self.pens[0] if self.pens else Pen(name)

    def on_sheet_mm(self, width_mm: float, height_mm: float) -> tuple[float, float]:
        """Size on the sheet of a picture with a size of its own."""
        return (width_mm, height_mm) if self.fit == "keep" else self.fitted_mm(width_mm, height_mm)

    def one_pen_mm(self) -> float:
        """Width of that pen."""
        stated = self.pens[0].width_mm if self.pens else None
        return self.pen_width_mm if stated is None else stated

    def fitted_mm(self, width: float, height: float) -> tuple[float, float]:
        """Size in mm at which a picture of this proportion fills the area, turned or not as `sheet.place` will."""
        scale = min(self.room_mm[0] / width, self.room_mm[1] / height)
        turned = min(self.room_mm[0] / height, self.room_mm[1] / width)
        if self.turn_deg == "auto":
            # The tolerance that `sheet.place` has before it turns.
            scale = turned if turned > scale * (1 + 1e-9) else scale
        elif self.turn_deg % 180:
            scale = turned
        return width * scale, height * scale


class Way(Protocol):
    """A method with its settings: a frozen dataclass whose fields are defined with `linewright.sources.settings`."""

    def read(self, source: str, wish: Wish) -> Picture:
        """The strokes of a source as typed by the user.

        Raises
        ------
        SourceError
            The source cannot be read, or contains nothing to draw.
        """
