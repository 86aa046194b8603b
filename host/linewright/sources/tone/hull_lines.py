"""Centre lines of drawings made of filled hulls: most icons, many logos, and what tracing programs write.

A pen that draws such a hull by its outline draws every line twice. Fillings are thinned as a scanned line drawing would
be, as fine as the pen can draw; what is as thick as it is long, such as eyes and dots, stays solid, and wide areas keep
their outline.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Pen, Points
from linewright.sources.drawing_files import reader_of
from linewright.sources.fill import hatched
from linewright.sources.isolines import isolines
from linewright.sources.painting.flatten import polylines_of
from linewright.sources.painting.limits import FileLimits
from linewright.sources.painting.raster import filled
from linewright.sources.painting.regions import within
from linewright.sources.painting.strokes import Artist, colour_name, laid_out
from linewright.sources.picture import Picture, Wish
from linewright.sources.serpentine import linked
from linewright.sources.tone.method import TOLERANCE
from linewright.sources.tone.trace import chains, smooth, to_strokes

PIXELS_PER_PEN: Final = 4.0
"""An edge lies within an eighth of the pen's width, and thinning then within a quarter."""

MOST_PIXELS: Final = 30_000_000
"""A0 with a pen of 0.5 mm has 60 million; coarser pixels then keep memory below half a gigabyte."""

LINE_RATIO: Final = 3.0
"""A blot whose thinned line is at least so many times as long as the blot is thick is a line."""

SOLID_PENS: Final = 12.0
SOLID_SHARE: Final = 0.1
"""A blot no thicker than so many pens, or than this share of the picture's shorter side, is filled: eyes and dots. A
thicker one is an area, which keeps its outline."""


@dataclass(frozen=True)
class Blot:
    """One connected piece of ink.

    Parameters
    ----------
    pixels : (h, w) bool, cut out, with a rim of paper.
    left, top : where it was cut out, px.
    thick_px : of its widest place.
    """

    pixels: NDArray[np.bool_]
    left: int
    top: int
    thick_px: float


def centred(source: str, wish: Wish, least_pens: float) -> Picture:
    """The lines of a drawing, and the centre lines of what it fills.

    Parameters
    ----------
    least_pens : shorter centre lines are left out, in pen widths.

    Raises
    ------
    SourceError
        When it cannot be read, or nothing is seen of it.
    """
    limits = FileLimits()
    painting = reader_of(source)(source, wish)
    size_mm, laid = laid_out(painting, wish, limits)
    artist = Artist(laid, wish, None, limits)
    lines, colours = artist.lines_alone()
    strokes: list[Points] = [lines.points_mm[lines.starts[i] : lines.starts[i + 1]] for i in range(len(lines))]
    wish.report("thinning", 0.0)
    pixel_mm = max(wish.pen_width_mm / PIXELS_PER_PEN, (size_mm[0] * size_mm[1] / MOST_PIXELS) ** 0.5)
    labels, inks = filled(laid, artist.shapes, artist.sight, size_mm, pixel_mm)
    for number, ink in enumerate(inks, 1):
        for blot in spots_of(labels == number):
            solid_px = max(SOLID_PENS * wish.pen_width_mm, SOLID_SHARE * min(size_mm)) / pixel_mm
            made = _strokes(blot, wish.pen_width_mm, pixel_mm, least_pens, solid_px)
            strokes += made
            colours += [ink] * len(made)
        wish.report("thinning", number / len(inks))
    if not strokes:
        raise artist.nothing()
    found = list(dict.fromkeys(colours))
    pens = tuple(Pen(colour_name(colour), colour) for colour in found)
    drawing = Drawing.from_strokes(strokes, [found.index(colour) for colour in colours], pens)
    return Picture(drawing, *size_mm, painting.notes.texts())


def spots_of(ink: NDArray[np.bool_]) -> list[Blot]:
    """The connected pieces of ink, (h, w)."""
    from scipy import ndimage

    pieces, _ = ndimage.label(ink, structure=np.ones((3, 3)))
    found = []
    for piece, (rows, columns) in enumerate(ndimage.find_objects(pieces), 1):
        pixels = np.pad(pieces[rows, columns] == piece, 1)
        thick = 2.0 * float(ndimage.distance_transform_edt(pixels).max())
        found.append(Blot(pixels, columns.start - 1, rows.start - 1, thick))
    return found


def _strokes(blot: Blot, pen_mm: float, pixel_mm: float, least_pens: float, solid_px: float) -> Sequence[Points]:
    """The centre lines of a blot, or its edge with what fills it."""
    from skimage.morphology import skeletonize

    corner = np.array([blot.left, blot.top]) * pixel_mm
    thin = skeletonize(blot.pixels, method="zhang")
    if thin.sum() >= LINE_RATIO * blot.thick_px:
        half = blot.thick_px / 2.0
        lines = [smooth(line, max(1.5, half / 2.0)) for line in chains(thin, joint_px=2.0 * half, spur_px=1.3 * half)]
        made = to_strokes(lines, (pixel_mm, pixel_mm), TOLERANCE * pen_mm, least_pens * pen_mm)
        return [stroke + corner for stroke in made]
    return solid(blot, pen_mm, pixel_mm, fill=blot.thick_px <= solid_px)


def solid(blot: Blot, pen_mm: float, pixel_mm: float, *, fill: bool) -> list[Points]:
    """The edge of a blot, half a pen inside where it is filled, and lines that fill it; mm on the picture."""
    import shapely
    from scipy import ndimage

    depth = ndimage.distance_transform_edt(blot.pixels) - ndimage.distance_transform_edt(~blot.pixels)
    inset = pen_mm / pixel_mm / 2.0 if fill else 0.0
    if depth.max() <= inset:
        y, x = np.unravel_index(int(np.argmax(depth)), depth.shape)
        return [(np.array([[x + blot.left, y + blot.top]], dtype=np.float64) + 0.5) * pixel_mm]
    columns, rows = (np.arange(float(count)) for count in reversed(depth.shape))
    corner = np.array([blot.left, blot.top]) + 0.5
    rings = [(ring + corner) * pixel_mm for ring in isolines(depth, inset, columns, rows)]
    rings = [shapely.get_coordinates(shapely.simplify(shapely.linestrings(ring), TOLERANCE * pen_mm)) for ring in rings]
    if not fill:
        return rings
    starts = np.concatenate(([0], np.cumsum([len(ring) for ring in rings]))).astype(np.int64)
    points = np.concatenate(rings)
    ruled = hatched(points, starts, pitch_mm=pen_mm * 0.9, angle_deg=45.0, even_odd=True)
    edge = polylines_of(rings, [0] * len(rings))
    return [*rings, *linked(list(ruled), within(edge, even_odd=True, slack_mm=TOLERANCE * pen_mm), pen_mm)]
