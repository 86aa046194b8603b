"""Centre lines of drawings made of filled hulls: most icons, many logos, and output of tracing programs.

Drawing such a hull by its outline draws every line twice. Fillings are thinned like a scanned line drawing, at the
pen's resolution. Shapes as thick as long, such as eyes and dots, stay solid, and wide areas keep their outline.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
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
"""Resolution: an edge is accurate to an eighth of the pen width, and thinning to a quarter."""

MOST_PIXELS: Final = 30_000_000
"""Most pixels: A0 with a pen of 0.5 mm has 60 million; coarser pixels then keep memory below half a gigabyte."""

LINE_RATIO: Final = 3.0
ALIKE_RATIO: Final = 0.6
ALIKE: Final = (0.8, 1.25)
"""Length of a blot's thinned line in blot thicknesses, at least, for a line; the second value applies if it is as wide
as the picture's lines: a dash between longer lines."""

SOLID_PENS: Final = 12.0
SOLID_SHARE: Final = 0.1
"""Thickness up to which a blot is filled, in pens and as a share of the picture's shorter side: eyes and dots. A
thicker one is an area, which keeps its outline."""

CORNER_HALVES: Final = (1.75, 4.0)
"""Range around a corner, in half line widths, in which the line is straight on both sides."""

CORNER_RAD: Final = 0.5
CORNER_DEPTH: Final = 0.8
"""Depth of a corner in the ink, relative to that of the line; where the outer edge is round, the corner lies less
deep."""

STRAIGHT_HALVES: Final = 0.08


@dataclass(frozen=True)
class Blot:
    """One connected area of ink.

    Parameters
    ----------
    pixels : (h, w) bool, cropped, with a border of paper.
    left, top : position of the crop, px.
    """

    pixels: NDArray[np.bool_]
    left: int
    top: int

    @cached_property
    def thin(self) -> NDArray[np.bool_]:
        """(h, w) its skeleton."""
        from skimage.morphology import skeletonize

        return np.asarray(skeletonize(self.pixels, method="zhang"))

    @cached_property
    def depth(self) -> Points:
        """(h, w) distance to the paper, px."""
        from scipy import ndimage

        return np.asarray(ndimage.distance_transform_edt(self.pixels))

    @property
    def thick_px(self) -> float:
        """Largest thickness."""
        return 2.0 * float(self.depth.max())

    @property
    def width_px(self) -> float:
        """Width of its lines, ignoring junctions."""
        return 2.0 * float(np.median(self.depth[self.thin]))

    @property
    def length_px(self) -> int:
        """Number of pixels of its skeleton."""
        return int(self.thin.sum())

    def is_line(self, usual_px: float) -> bool:
        """Whether it is a line, given the usual line width; 0: unknown."""
        low, high = ALIKE
        alike = low * usual_px <= self.width_px <= high * usual_px
        return self.length_px >= (ALIKE_RATIO if alike else LINE_RATIO) * self.thick_px


def centred(source: str, wish: Wish, least_pens: float) -> Picture:
    """The lines of a drawing, and the centre lines of its fillings.

    Parameters
    ----------
    least_pens : shorter centre lines are dropped, in pen widths.

    Raises
    ------
    SourceError
        The file cannot be read, or nothing is visible.
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
    blots: list[Blot] = []
    ink_of: list[str] = []
    for number, ink in enumerate(inks, 1):
        found = spots_of(labels == number)
        blots += found
        ink_of += [ink] * len(found)
        wish.report("thinning", number / len(inks))
    solid_px = max(SOLID_PENS * wish.pen_width_mm, SOLID_SHARE * min(size_mm)) / pixel_mm
    long = [blot.width_px for blot in blots if blot.length_px >= LINE_RATIO * blot.thick_px]
    usual_px = float(np.median(long)) if long else 0.0
    for blot, ink in zip(blots, ink_of, strict=True):
        if blot.is_line(usual_px):
            made = _lines(blot, wish.pen_width_mm, pixel_mm, least_pens)
        else:
            made = solid(blot, wish.pen_width_mm, pixel_mm, fill=blot.thick_px <= solid_px)
        strokes += made
        colours += [ink] * len(made)
    if not strokes:
        raise artist.nothing()
    used = list(dict.fromkeys(colours))
    pens = tuple(Pen(colour_name(colour), colour) for colour in used)
    drawing = Drawing.from_strokes(strokes, [used.index(colour) for colour in colours], pens)
    return Picture(drawing, *size_mm, painting.notes.texts())


def spots_of(ink: NDArray[np.bool_]) -> list[Blot]:
    """The connected areas of ink, (h, w)."""
    from scipy import ndimage

    pieces, _ = ndimage.label(ink, structure=np.ones((3, 3)))
    found = []
    for piece, (rows, columns) in enumerate(ndimage.find_objects(pieces), 1):
        pixels = np.pad(pieces[rows, columns] == piece, 1)
        found.append(Blot(pixels, columns.start - 1, rows.start - 1))
    return found


def _lines(blot: Blot, pen_mm: float, pixel_mm: float, least_pens: float) -> list[Points]:
    """The centre lines of a blot, mm on the picture."""
    half = blot.width_px / 2.0
    lines = [
        with_corners(smooth(line, max(1.5, half / 2.0)), blot.depth)
        for line in chains(blot.thin, joint_px=blot.thick_px, spur_px=1.3 * half)
    ]
    corner = np.array([blot.left, blot.top]) * pixel_mm
    made = to_strokes(lines, (pixel_mm, pixel_mm), TOLERANCE * pen_mm, least_pens * pen_mm)
    return [stroke + corner for stroke in made]


def with_corners(line: Points, depth: Points) -> Points:
    """A thinned line with restored corners, which thinning and smoothing have rounded.

    Parameters
    ----------
    line : (n, 2) x, y in pixels; a ring ends where it begins.
    depth : (h, w) distance to the paper, px.
    """
    from scipy.signal import find_peaks

    half = float(np.median([_depth_at(depth, point) for point in line]))
    length = float(np.hypot(*np.diff(line, axis=0).T).sum())
    near, far = (round(halves * half / length * (len(line) - 1)) if length else 0 for halves in CORNER_HALVES)
    if near < 1 or len(line) < 2 * far + 2:
        return line
    if (line[0] == line[-1]).all():
        # Move the seam to where the ring is straightest.
        open_ring = line[:-1]
        seam = int(np.argmin(_turns(np.concatenate((open_ring[-far:], line, open_ring[1:far])), near, far)))
        line = np.concatenate((open_ring[seam:], open_ring[: seam + 1]))
    kept, points = np.ones(len(line), dtype=bool), line.copy()
    peaks, _ = find_peaks(_turns(line, near, far), height=CORNER_RAD, distance=2 * near)
    for middle in (peaks + far).tolist():
        corner = _meeting(line[middle - far : middle - near + 1], line[middle + near : middle + far + 1], half)
        if corner is not None and _depth_at(depth, corner) >= CORNER_DEPTH * half:
            kept[middle - near + 1 : middle + near] = False
            kept[middle], points[middle] = True, corner
    return points[kept]


def _turns(line: Points, near: int, far: int) -> Points:
    """(n - 2 far,) angle, rad, between the directions before and after each point."""
    count = len(line) - 2 * far
    before = line[far - near : far - near + count] - line[:count]
    after = line[2 * far : 2 * far + count] - line[far + near : far + near + count]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.abs(np.arctan2(cross, (before * after).sum(axis=1))))


def _meeting(before: Points, after: Points, half: float) -> Points | None:
    """Intersection of two straight parts; None if one of them is not straight."""
    lines = []
    for way in (before, after):
        middle = way.mean(axis=0)
        along = np.linalg.svd(way - middle)[2][0]
        if np.abs((way - middle) @ (-along[1], along[0])).max() > STRAIGHT_HALVES * half + 0.5:
            return None
        lines.append((middle, along))
    (at, one), (other, two) = lines
    cross = one[0] * two[1] - one[1] * two[0]
    if abs(cross) < 1e-6:
        return None
    gap = other - at
    return np.asarray(at + one * (gap[0] * two[1] - gap[1] * two[0]) / cross)


def _depth_at(depth: Points, point: Points) -> float:
    x, y = (int(v) for v in np.round(point))
    return float(depth[y, x]) if 0 <= y < depth.shape[0] and 0 <= x < depth.shape[1] else 0.0


def solid(blot: Blot, pen_mm: float, pixel_mm: float, *, fill: bool) -> list[Points]:
    """The edge of a filled blot, half a pen inside, and lines that fill it; mm on the picture."""
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
