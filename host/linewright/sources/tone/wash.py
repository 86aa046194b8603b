"""A colour wash under a dark line drawing: flat, light hatching of one to three pens, and the lines of `outline`.

Pens that are changed by hand return with an error of a few tenths of a millimetre. Overlapping washes, or washes under
lines, would show dark fringes. So every colour keeps a small gap to all others and to the lines, and each place has one
colour only (no mixtures). Printers call this choking (common practice).

The darkest pen draws the lines. Each place gets the pen and coverage closest to its colour by CIEDE2000, as in
`separation`; small places are assigned to their neighbours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Pen, Points
from linewright.errors import SourceError
from linewright.sources import photograph, settings
from linewright.sources.photograph import Floats32
from linewright.sources.picture import Picture, Wish
from linewright.sources.preparation import lightness
from linewright.sources.separation import separated
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.field import Field
from linewright.sources.tone.hatching import LAYER_TURN_DEG, ruled
from linewright.sources.tone.method import BLACK, Layer, ToneMethod
from linewright.sources.tone.outline import Outline
from linewright.sources.tone.wave import runs

WASHES_HIGH: Final = 3
"""Most colours of a wash."""

USUAL: Final = (Pen("peachpuff", "#ffdab9"), Pen("skyblue", "#87ceeb"))
"""Default washes: skin and wood, sky and shade."""

PALEST: Final = 0.1
"""Coverage below which paper stays bare."""

CALM: Final = 8.0
"""Divisor of lightness differences: dark hair must not become blue, because the lines draw the darkness."""

SHARES: Final = (0.25, 0.5, 1.0)
"""Shares of all lines that a wash may have: at these its lines are evenly spaced."""

STEP_AT: Final = 1.2
"""Factor on a share: the tone up to which it is used."""

CALM_PENS: Final = 3.0
"""Blur of the weight of each colour: smaller patches are assigned to their neighbours."""

LEAST_PENS: Final = 6.0
"""Side of a square, in pen widths: smaller patches are dropped."""

SHORTEST_PENS: Final = 2.0
"""Shorter pieces of hatching are dropped."""

GRID_PENS: Final = 0.25
"""Cell of the distance grid, in widths of the finest pen."""


@dataclass(frozen=True)
class Wash(ToneMethod):
    """One to three pens hatched flat, with a gap to the lines of the darkest pen."""

    gap: float = settings.number("bare paper between colours, and between colours and lines", 0.4, 0.0, 3.0, "mm")
    strength: float = settings.number("coverage of the washes where their colour is full", 0.6, 0.1, 1.0)
    angle_deg: float = settings.number("direction of the first wash's lines; 0 is level", 45.0, -180, 180, "deg")
    detail: float = settings.number("how much smaller and paler detail the lines show", 0.5, 0.0, 1.0)

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """The lines of the dark pen."""
        return Outline(detail=self.detail).strokes(layer)

    def drawn(self, taken: photograph.Photograph, wish: Wish, source: str = "the picture") -> Picture:
        """The washes, palest first, then the lines."""
        pens = tuple(sorted(wish.pens, key=lambda pen: -lightness(pen.colour)))
        notes = list(self.said(self.framed(taken.rgb)))
        if len(pens) > 1 + WASHES_HIGH:
            raise SourceError(
                f"wash draws lines with the darkest pen, on one to {WASHES_HIGH} others: it was given {len(pens)}",
                hint='name fewer, such as --pens "black, peachpuff, skyblue"',
            )
        if len(pens) < 2:
            pens = (*USUAL, *(pens or (BLACK,)))
            names = " and ".join(pen.name for pen in USUAL)
            notes.append(f'wash takes {names} for its colours; name yours with --pens, such as "black, tan, skyblue"')
        wish.report("preparing", 0.0)
        rgb, width_mm, height_mm = self.on_sheet(taken, wish, source)
        widths = [wish.pen_width_mm if pen.width_mm is None else pen.width_mm for pen in pens]
        lines = self.strokes(
            Layer(Field(self.coverage(rgb), width_mm, height_mm, widths[-1]), 0, wish.report, notes.append)
        )
        wish.report("washing", 0.0)
        parts = self.patches(rgb, pens[:-1], (width_mm, height_mm), widths, lines)
        found = []
        full = self.strength * self.darkest
        for number, (part, width) in enumerate(zip(parts, widths[:-1], strict=True)):
            field = Field(part * np.float32(full), width_mm, height_mm, width)
            hatched = ruled(field, self.angle_deg + LAYER_TURN_DEG * number, 1.0 / full)
            # Rulings follow a blurred field and link their lines; parts outside the patch are clipped.
            found.append(_within(hatched, field, SHORTEST_PENS * width))
        strokes = [stroke for layer in (*found, lines) for stroke in layer]
        if not strokes:
            raise SourceError(
                "nothing to draw: nothing in the picture is dark or coloured enough to leave a stroke",
                where=source,
                hint="take more contrast, or another method",
            )
        pen_of = [number for number, layer in enumerate((*found, lines)) for _ in layer]
        drawing = Drawing.from_strokes(strokes, pen_of, pens)
        return Picture(drawing, width_mm, height_mm, (*taken.warnings, *notes))

    def patches(
        self,
        rgb: Floats32,
        washes: tuple[Pen, ...],
        size_mm: tuple[float, float],
        widths_mm: Sequence[float],
        lines: Sequence[Points],
    ) -> list[Floats32]:
        """(h, w) share of the lines of each wash, 0 where the centres of its strokes may not be.

        Parameters
        ----------
        rgb : (h, w, 3) the prepared photograph.
        widths_mm : pen widths of the washes, and last of the lines.
        lines : lines of the dark pen, mm.
        """
        from scipy import ndimage
        from skimage.morphology import remove_small_objects

        finest = min(widths_mm)
        pixel = GRID_PENS * finest
        wanted = separated(rgb, washes, true_tone=self.tone == "true", together=1, calm=CALM)
        calm = np.stack([
            Field(one, *size_mm, finest).smoothed(CALM_PENS * finest).sampled(pixel).coverage for one in wanted
        ])  # fmt: skip
        owner = np.where(calm.sum(axis=0) >= PALEST, np.argmax(calm, axis=0), -1)
        step = size_mm[0] / owner.shape[1]
        ink = inked(lines, size_mm, pen_mm=widths_mm[-1], pixel_mm=step)
        from_lines = _away(_like(ink > 0, owner.shape)) * step
        tone = calm.sum(axis=0)
        found: list[Floats32] = []
        for number, width in enumerate(widths_mm[:-1]):
            least_px = (LEAST_PENS * width / step) ** 2
            own = remove_small_objects(owner == number, max_size=math.ceil(least_px) - 1)
            # Half a gap from the border to another colour, on each side; elsewhere up to the border.
            others = ndimage.distance_transform_edt(~((owner >= 0) & (owner != number))) * step
            free = own & (others >= (self.gap + width) / 2 + step) & (from_lines >= self.gap + width / 2 + step)
            share = np.array(SHARES)[np.searchsorted(np.array(SHARES[:-1]) * STEP_AT, np.clip(tone, 0.0, 1.0))]
            found.append(np.where(free, share, 0.0).astype(np.float32))
        return found


def _within(strokes: Sequence[Points], field: Field, least_mm: float) -> list[Points]:
    """The parts of strokes where a field is above 0, to the pixel; shorter pieces are dropped."""
    found: list[Points] = []
    pixel = np.array(field.pixel_mm)
    high = np.array(field.coverage.shape[::-1]) - 1
    for stroke in strokes:
        fine = shapely.get_coordinates(shapely.segmentize(shapely.linestrings(stroke), float(pixel.min()) / 2))
        column, row = np.clip((fine / pixel).astype(np.int64), 0, high).T
        for begin, end in runs(field.coverage[row, column] > 0, 2):
            line = shapely.linestrings(fine[begin:end])
            if line.length >= least_mm:
                found.append(shapely.get_coordinates(shapely.simplify(line, float(pixel.min()) / 4)))
    return found


def _away(marked: NDArray[np.bool_]) -> Points:
    """(h, w) distance in pixels to the nearest marked one; infinite if there is none."""
    from scipy import ndimage

    return np.asarray(ndimage.distance_transform_edt(~marked)) if marked.any() else np.full(marked.shape, np.inf)


def _like(values: NDArray[np.bool_], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """The mask on a grid that may differ by a row or a column."""
    rows, columns = (np.minimum(np.arange(n), m - 1) for n, m in zip(shape, values.shape, strict=True))
    return np.asarray(values[rows[:, None], columns])
