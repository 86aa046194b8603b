"""Contact sheet of all faces and patterns."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Final

from linewright.pictures.contact_sheet import contact_sheet
from linewright.pictures.scene import BORDER_MM, Ink, Label, Patch, Scene, Table, inks_of
from linewright.sheet.sizes import Sheet
from linewright.sources import methods
from linewright.sources.lettering import FACES
from linewright.sources.picture import Picture, Wish

WORDS: Final = "Marrow Quay\nharbour fair\n& Köln, Čapek, 1234"
"""Capitals, lower-case letters, accents and figures."""

LETTERS_MM: Final = 5.5
"""Height of the letters of a card's name: legible when a screen shows all cards at once."""

CARD: Final = Sheet(105.0, 105.0, 4.0, "card")


def specimens(pen_width_mm: float, report: Callable[[str, float], object] = lambda _s, _d: None) -> bytes:
    """A card for each face, then one for each pattern at its first seed, as a PNG.

    Parameters
    ----------
    pen_width_mm : pen for all cards.
    """
    asked = [f"lettering:face={face}" for face in FACES]
    asked += [name for name, method in methods.METHODS.items() if method.takes == "seed"]
    return contact_sheet(list(_cards(asked, pen_width_mm, report)), height_px=420)


def _cards(asked: list[str], pen_width_mm: float, report: Callable[[str, float], object]) -> Iterator[Scene]:
    x0, y0, x1, y1 = CARD.box_mm
    wish = Wish((x1 - x0, y1 - y0), pen_width_mm=pen_width_mm)
    for i, words in enumerate(asked):
        report(words, i / len(asked))
        picture: Picture = methods.chosen(words).read(WORDS, wish)
        drawing = replace(picture.drawing, points_mm=picture.drawing.points_mm + (x0, y0))
        name = words.removeprefix("lettering:face=")
        kind = "face" if name != words else "pattern"
        table = Table(CARD, footer_mm=2 * LETTERS_MM)
        label = Label(f"{kind} {name}", BORDER_MM, table.footer_top_mm + 0.6 * LETTERS_MM, LETTERS_MM)
        items: tuple[Ink | Patch | Label, ...] = (
            *table.ground(),
            *inks_of(drawing, table, pen_width_mm=pen_width_mm),
            label,
        )
        yield Scene(table.width_mm, table.height_mm, items, name)
