"""Preview of a drawing: true pen widths and colours on the sheet, travel faint."""

from __future__ import annotations

from typing import Final

import numpy as np

from linewright.drawing.strokes import Drawing, Points
from linewright.pictures.scene import BORDER_MM, Ink, Label, Scene, Table, inks_of

TRAVEL_COLOUR: Final = "#5b8fc4"
TRAVEL_MM: Final = 0.18
TRAVEL_OPACITY: Final = 0.45


def travel_between(drawing: Drawing, start_mm: tuple[float, float] | None = None) -> tuple[Points, Points]:
    """Straight pen-up moves from the end of each stroke to the start of the next.

    Returns
    -------
    begin, end : (t, 2) float64, mm; one row more if ``start_mm`` is given.
    """
    begin = drawing.points_mm[drawing.starts[1:-1] - 1]
    end = drawing.points_mm[drawing.starts[1:-1]]
    if start_mm is not None and len(drawing):
        begin = np.vstack([np.array([start_mm]), begin])
        end = np.vstack([drawing.points_mm[:1], end])
    return begin, end


def preview(
    drawing: Drawing,
    table: Table,
    *,
    pen_width_mm: float,
    start_mm: tuple[float, float] | None = None,
    caption: str = "",
    show_travel: bool = True,
    title: str = "preview",
) -> Scene:
    """The sheet with the strokes at true width and the travel between them.

    Parameters
    ----------
    drawing : strokes in drawing order, coordinates as ``table.lies`` says.
    pen_width_mm : line width of pens that state none.
    start_mm : start position of the pen, same coordinates as the drawing.
    caption : one line below the sheet.
    show_travel : False: only the ink.
    """
    travel: tuple[Ink, ...] = ()
    if show_travel:
        begin, end = travel_between(drawing, start_mm)
        moves = table.on_canvas(np.stack([begin, end], axis=1).reshape(-1, 2))
        travel = (Ink("travel", TRAVEL_COLOUR, TRAVEL_MM, moves, np.arange(0, len(moves) + 1, 2), TRAVEL_OPACITY),)
    caption_at = table.footer_top_mm - BORDER_MM + 4.4
    labels = (Label(caption, BORDER_MM, caption_at),) if caption else ()
    inks = inks_of(drawing, table, pen_width_mm=pen_width_mm)
    return Scene(table.width_mm, table.height_mm, (*table.ground(), *travel, *inks, *labels), title)
