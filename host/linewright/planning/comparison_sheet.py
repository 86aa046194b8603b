"""Contact sheet of a comparison: the photograph, then the result of each method."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from PIL import Image

from linewright import wording
from linewright.pictures.contact_sheet import sheet_of
from linewright.pictures.raster import to_image
from linewright.pictures.scene import BORDER_MM, Ink, Label, Patch, Scene, Table, inks_of
from linewright.sheet.sizes import Sheet

if TYPE_CHECKING:
    from linewright.planning.comparison import ComparedMethod
    from linewright.sources.photograph import Photograph

HEIGHT_PX: Final = 760
"""Height of one picture: four fit across a large screen, and a line of 0.5 mm on A5 has two pixels."""

LETTERS: Final = 0.026
"""Height of the letters, as a share of the canvas."""


def comparison_sheet(
    taken: Photograph, entries: Sequence[ComparedMethod], *, pen_mm: float, recommended: str = ""
) -> bytes:
    """The contact sheet as PNG; methods without result are left out, and the recommended one is marked."""
    drawn = [entry for entry in entries if entry.picture is not None]
    if not drawn:
        raise ValueError("a contact sheet needs a picture")
    return sheet_of([_photograph(taken, drawn[0]), *(_panel(entry, pen_mm, recommended) for entry in drawn)])


def caption(entry: ComparedMethod, recommended: str = "") -> str:
    """Method, drawing time and tone error in one line, with a star if recommended."""
    if entry.reading is None or entry.drawing_s is None:
        return f"{entry.method}: {entry.trouble}"
    mark = "* " if entry.method == recommended else ""
    return f"{mark}{entry.method}   {wording.duration(entry.drawing_s)}   tone error {entry.reading.error:.3f}"


def _panel(entry: ComparedMethod, pen_mm: float, recommended: str) -> Image.Image:
    assert entry.picture is not None
    table = _table(entry)
    return _drawn(table, caption(entry, recommended), inks_of(entry.picture.drawing, table, pen_width_mm=pen_mm))


def _table(entry: ComparedMethod) -> Table:
    """A sheet with the picture and room for a line below it."""
    assert entry.picture is not None
    sheet = Sheet(entry.picture.width_mm, entry.picture.height_mm)
    return Table(sheet, footer_mm=2 * LETTERS * (sheet.height_mm + 2 * BORDER_MM))


def _drawn(table: Table, words: str, inks: Iterable[Ink] = ()) -> Image.Image:
    letters = table.footer_mm / 2
    label = Label(words, BORDER_MM, table.footer_top_mm + 0.6 * letters, letters)
    items: tuple[Ink | Patch | Label, ...] = (*table.ground(), *inks, label)
    scene = Scene(table.width_mm, table.height_mm, items, words)
    scale = HEIGHT_PX / table.height_mm
    return to_image(scene, long_side_px=round(scale * max(table.width_mm, table.height_mm)))


def _photograph(taken: Photograph, beside: ComparedMethod) -> Image.Image:
    """The photograph, at the size and position of the drawings."""
    table = _table(beside)
    panel = _drawn(table, "the photograph")
    image = Image.fromarray(np.round(taken.rgb * 255).astype(np.uint8))
    px_mm = panel.height / table.height_mm
    room = table.sheet.width_mm * px_mm, table.sheet.height_mm * px_mm
    # A method may have cropped or turned the photograph; then it is smaller than the area and centred.
    scale = min(room[0] / image.width, room[1] / image.height)
    size = round(image.width * scale), round(image.height * scale)
    corner = [round(BORDER_MM * px_mm + (space - side) / 2) for space, side in zip(room, size, strict=True)]
    panel.paste(image.resize(size, Image.Resampling.LANCZOS), (corner[0], corner[1]))
    return panel
