"""The contact sheet of a comparison: the photograph itself, then what each method made of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from PIL import Image

from linewright.sheet import Sheet
from linewright.views.contact_sheet import sheet_of
from linewright.views.raster import to_image
from linewright.views.scene import BORDER_MM, Ink, Label, Patch, Scene, Table, inks_of

if TYPE_CHECKING:
    from linewright.comparison import Entry
    from linewright.sources.photograph import Photograph

HEIGHT_PX: Final = 760
"""Of one picture: four across fill a large screen, and a line of 0.5 mm on A5 still has two pixels."""

LETTERS: Final = 0.026
"""Height of the letters, of the canvas."""


def comparison_sheet(taken: Photograph, entries: Sequence[Entry], *, pen_mm: float) -> bytes:
    """A PNG; methods that drew nothing are left out."""
    drawn = [entry for entry in entries if entry.picture is not None]
    if not drawn:
        raise ValueError("a contact sheet needs a picture")
    images = [_panel(entry, pen_mm) for entry in drawn]
    return sheet_of([_photograph(taken, images[0].size), *images])


def caption(entry: Entry) -> str:
    """Method, time and tone error in one line."""
    if entry.reading is None:
        return f"{entry.method}: {entry.trouble}"
    return f"{entry.method}   {entry.seconds:.1f} s   tone error {entry.reading.error:.3f}"


def _panel(entry: Entry, pen_mm: float) -> Image.Image:
    picture = entry.picture
    assert picture is not None
    sheet = Sheet(picture.width_mm, picture.height_mm)
    letters = LETTERS * (sheet.height_mm + 2 * BORDER_MM)
    table = Table(sheet, footer_mm=2 * letters)
    label = Label(caption(entry), BORDER_MM, table.footer_top_mm + 0.6 * letters, letters)
    items: tuple[Ink | Patch | Label, ...] = (
        *table.ground(),
        *inks_of(picture.drawing, table, pen_width_mm=pen_mm),
        label,
    )
    scale = HEIGHT_PX / table.height_mm
    scene = Scene(table.width_mm, table.height_mm, items, entry.method)
    return to_image(scene, long_side_px=round(scale * max(table.width_mm, table.height_mm)))


def _photograph(taken: Photograph, size: tuple[int, int]) -> Image.Image:
    image = Image.fromarray(np.round(taken.rgb * 255).astype(np.uint8))
    scale = min(size[0] / image.width, 0.92 * size[1] / image.height)
    return image.resize((round(image.width * scale), round(image.height * scale)), Image.Resampling.LANCZOS)
