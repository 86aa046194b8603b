"""Contact sheet of the things known for sentences: a card for each, with its name."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from linewright.pictures.contact_sheet import contact_sheet
from linewright.pictures.scene import BORDER_MM, Ink, Label, Patch, Scene, Table, inks_of
from linewright.sheet.position import SheetPosition
from linewright.sheet.sizes import Sheet
from linewright.sources.picture import Wish
from linewright.sources.words.art import Art
from linewright.sources.words.way import placed

CARD: Final = Sheet(60.0, 60.0, 4.0, "card")
LETTERS_MM: Final = 4.4
"""Height of the letters of a card's name: legible when a screen shows about fifty cards at once."""


def word_sheet(
    arts: Iterable[tuple[str, Art]], pen_width_mm: float, report: Callable[[str, float], object] = lambda _s, _d: None
) -> bytes:
    """Cards with things drawn by this pen, as a PNG."""
    listed = list(arts)
    x0, y0, x1, y1 = CARD.box_mm
    wish = Wish((x1 - x0, y1 - y0), 0, pen_width_mm)
    cards = []
    for i, (name, art) in enumerate(listed):
        report(name, i / len(listed))
        drawing, width_mm, height_mm = placed(art, wish)
        middle = SheetPosition((-(CARD.width_mm - width_mm) / 2, -(CARD.height_mm - height_mm) / 2))
        table = Table(CARD, middle, 2 * LETTERS_MM)
        label = Label(name, BORDER_MM, table.footer_top_mm + 0.4 * LETTERS_MM, LETTERS_MM)
        items: tuple[Ink | Patch | Label, ...] = (
            *table.ground(),
            *inks_of(drawing, table, pen_width_mm=pen_width_mm),
            label,
        )
        cards.append(Scene(table.width_mm, table.height_mm, items, name))
    return contact_sheet(cards, height_px=240)
