"""The text of a PDF in single-line letters, each at its position in the file."""

from __future__ import annotations

import ctypes
import math
import unicodedata
from typing import Any, Final

import numpy as np

from linewright.sources.painting.letters import draw, letter
from linewright.sources.painting.marks import Line, Mark, Painting
from linewright.sources.painting.matrices import Matrix, multiply
from linewright.sources.pdf.paints import paint_of

CAP_SHARE: Final = 0.7
"""Capital height as a share of the font size: 0.66 to 0.73 in common text faces (common practice)."""

NARROWEST: Final = 0.6
WIDEST: Final = 1.5
"""Largest factor by which a letter is squeezed or stretched to the width of the file's font."""


class Letters:
    """The letters of a page, by text object.

    pdfium returns the position of each character of the page and its text object.
    """

    def __init__(self, page: Any, painting: Painting) -> None:
        import pypdfium2.raw as raw

        self.painting = painting
        self.missing: dict[str, None] = {}
        self.text_page: Any = None
        self._page = page
        self._raw = raw
        self._of_object: dict[int, list[int]] = {}

    def _index(self) -> None:
        """Index the characters by text object, at first use."""
        raw = self._raw
        self.text_page = self._page.get_textpage()
        for number in range(raw.FPDFText_CountChars(self.text_page)):
            thing = raw.FPDFText_GetTextObject(self.text_page, number)
            if thing and not raw.FPDFText_IsGenerated(self.text_page, number):
                self._of_object.setdefault(ctypes.addressof(thing.contents), []).append(number)

    def take(self, thing: Any, matrix: Matrix, clip: int) -> None:
        """Draw the letters of a text object, unless it is invisible."""
        raw = self._raw
        mode = raw.FPDFTextObj_GetTextRenderMode(thing)
        if mode in (raw.FPDF_TEXTRENDERMODE_INVISIBLE, raw.FPDF_TEXTRENDERMODE_CLIP):
            return
        if self.text_page is None:
            self._index()
        numbers = self._of_object.get(ctypes.addressof(thing.contents), [])
        found = raw.FS_MATRIX()
        raw.FPDFPageObj_GetMatrix(thing, found)
        size = ctypes.c_float()
        raw.FPDFTextObj_GetFontSize(thing, size)
        own: Matrix = (found.a, found.b, found.c, found.d, 0.0, 0.0)
        em = float(size.value)
        if not numbers or not em or not math.isfinite(em):
            return
        # Own units of the mark: those of the text, y up.
        whole = multiply(matrix, own)
        stroked_only = mode == raw.FPDF_TEXTRENDERMODE_STROKE
        paint = paint_of(thing, raw.FPDFPageObj_GetStrokeColor if stroked_only else raw.FPDFPageObj_GetFillColor)
        places = [self._origin(number, own) for number in numbers]
        before = len(self.painting.segments.starts)
        cap = CAP_SHARE * em
        for place, (number, at) in enumerate(zip(numbers, places, strict=True)):
            text = unicodedata.normalize("NFKC", chr(raw.FPDFText_GetUnicode(self.text_page, number)))
            for part, character in enumerate(text):
                found_letter = letter(character)
                if found_letter is None:
                    self.missing.setdefault(character)
                    continue
                strokes, advance = found_letter
                across = cap
                if len(text) == 1 and place + 1 < len(places) and advance:
                    step = (places[place + 1][0] - at[0]) / (advance * cap)
                    if abs(places[place + 1][1] - at[1]) < 1e-3 * em:
                        across *= min(max(step, NARROWEST), WIDEST) if step > 0 else 1.0
                # Parts of a ligature are placed one after the other.
                x = at[0] + part * advance * cap
                draw(self.painting.segments, strokes, np.array([[across, 0.0], [0.0, -cap]]), (x, at[1]))
        if len(self.painting.segments.starts) > before:
            self.painting.add(Mark(whole, line=Line(paint, em / 12, "round", "round"), clip=clip))

    def _origin(self, number: int, own: Matrix) -> tuple[float, float]:
        """Position of a character, in the units of its text."""
        x, y = ctypes.c_double(), ctypes.c_double()
        self._raw.FPDFText_GetCharOrigin(self.text_page, number, x, y)
        a, b, c, d, _, _ = own
        area = a * d - b * c
        if area == 0.0:
            return (0.0, 0.0)
        return ((d * x.value - c * y.value) / area, (a * y.value - b * x.value) / area)

    def finish(self) -> None:
        """Note characters without a letter."""
        if self.missing:
            named = ", ".join(list(self.missing)[:8])
            self.painting.notes.add(f"the single-line face has no letter for {named}; gaps are left in their place")
