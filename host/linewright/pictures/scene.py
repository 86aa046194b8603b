"""`Scene`: a picture in millimetres, rendered by `svg_writer` and `raster`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.sheet.position import SheetPosition
from linewright.sheet.sizes import Sheet

BORDER_MM: Final = 6.0
"""Visible table around the sheet."""

LEAST_WIDTH_MM: Final = 60.0
"""Smallest width of the canvas between its borders, because a legend may be wider than a small sheet."""

TABLE_COLOUR: Final = "#e8e6e1"
PAPER_COLOUR: Final = "#ffffff"
EDGE_COLOUR: Final = "#8d8a84"
TEXT_COLOUR: Final = "#3a3835"
TEXT_MM: Final = 2.6
"""Height of letters in a legend: legible at arm's length at true size."""


@dataclass(frozen=True, eq=False)
class Ink:
    """Strokes of one colour and width.

    Parameters
    ----------
    points_mm : (n, 2) float64, canvas mm.
    starts : (k + 1,) int64, as in `Drawing`; a stroke of one point is a dot.
    width_mm : line width; ends are round.
    opacity : 0..1, of the ink as a whole: crossing strokes do not add up.
    """

    name: str
    colour: str
    width_mm: float
    points_mm: Points
    starts: Indices
    opacity: float = 1.0


@dataclass(frozen=True)
class Patch:
    """A filled rectangle with or without an edge, canvas mm."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    fill: str | None
    edge: str | None = None
    edge_mm: float = 0.2


@dataclass(frozen=True)
class Label:
    """One line of text; (x, y) is on its baseline. ``as_strokes``: in our own letters, with the same width on any
    computer.
    """

    text: str
    x_mm: float
    y_mm: float
    size_mm: float = TEXT_MM
    colour: str = TEXT_COLOUR
    anchor: Literal["start", "middle", "end"] = "start"
    as_strokes: bool = False


@dataclass(frozen=True, eq=False)
class Scene:
    """A picture, back to front; origin at the top left corner of the canvas."""

    width_mm: float
    height_mm: float
    items: tuple[Ink | Patch | Label, ...]
    title: str


@dataclass(frozen=True)
class Table:
    """The sheet on the canvas, common to all pictures.

    Parameters
    ----------
    sheet : the sheet.
    lies : its position in the drawing's coordinates: the default for sheet coordinates, the rig's
        ``sheet.position`` for machine coordinates.
    footer_mm : space below the sheet for a legend.
    """

    sheet: Sheet
    lies: SheetPosition = field(default_factory=SheetPosition)
    footer_mm: float = 7.0

    @property
    def width_mm(self) -> float:
        """Width of the canvas."""
        return max(self.sheet.width_mm, LEAST_WIDTH_MM) + 2 * BORDER_MM

    @property
    def height_mm(self) -> float:
        """Height of the canvas."""
        return self.sheet.height_mm + 2 * BORDER_MM + self.footer_mm

    @property
    def footer_top_mm(self) -> float:
        """Canvas y of the top of the legend."""
        return self.sheet.height_mm + 2 * BORDER_MM

    def on_canvas(self, points_mm: Points) -> Points:
        """(n, 2) drawing coordinates to canvas coordinates, mm."""
        return np.asarray(self.lies.on_sheet(points_mm) + BORDER_MM)

    def ground(self) -> tuple[Patch, ...]:
        """The table, the sheet's outline and, faintly, its margins."""
        sheet = self.sheet
        x0, y0, x1, y1 = sheet.box_mm
        paper = Patch(BORDER_MM, BORDER_MM, sheet.width_mm, sheet.height_mm, PAPER_COLOUR, EDGE_COLOUR, 0.25)
        table = Patch(0, 0, self.width_mm, self.height_mm, TABLE_COLOUR)
        if not sheet.margin_mm:
            return (table, paper)
        margins = Patch(BORDER_MM + x0, BORDER_MM + y0, x1 - x0, y1 - y0, None, "#e0ddd6", 0.15)
        return (table, paper, margins)


def inks_of(drawing: Drawing, table: Table, *, pen_width_mm: float, opacity: float = 1.0) -> tuple[Ink, ...]:
    """A drawing as one ink per pen, in their order, with the pens' widths."""
    inks = []
    for i, pen in enumerate(drawing.pens):
        part = drawing.select(np.flatnonzero(drawing.pen == i))
        if len(part):
            width = pen_width_mm if pen.width_mm is None else pen.width_mm
            inks.append(Ink(pen.name, pen.colour, width, table.on_canvas(part.points_mm), part.starts, opacity))
    return tuple(inks)
