"""Portraits: head and shoulders framed, the background left out, and most strokes in the face.

The person's tones are evened out and drawn as strokes that follow the form (`laying`) and lie evenly in the head
(`settling`): hair in strands, eyelids, brows and lips as separate lines, pale skin in dashes. The face comes first and
in the finest strokes; clothes are only suggested. Faces of few pen widths are drawn by `small_faces`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Self

import numpy as np

from linewright.drawing.strokes import Drawing, Points
from linewright.errors import SourceError
from linewright.sources import faces, person, photograph, settings
from linewright.sources.blur import blurred
from linewright.sources.faces import Face
from linewright.sources.isolines import isolines
from linewright.sources.photograph import Floats32
from linewright.sources.picture import Picture, Report, Wish
from linewright.sources.preparation import LUMA
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.field import Field
from linewright.sources.tone.laying import LONGEST_PENS, laid_by_lenses
from linewright.sources.tone.method import BLACK, PIXELS_PER_PEN
from linewright.sources.tone.small_faces import drawn as small_drawn
from linewright.sources.tone.small_faces import features
from linewright.sources.tone.strokes import Strokes, bed, most_mm
from linewright.sources.tone.wave import runs

RANGE: Final = (1.0, 96.0)
"""Percentiles of the person's grey mapped to black and white."""

CLIP: Final = 1.2
TILES: Final = 6
"""Clip limit, and tiles per side, of the adaptive equalisation (Zuiderveld 1994)."""

PALEST: Final = 0.03
"""Coverage that stays bare: skin in full light."""

LIFT: Final = 0.6
LIFT_PENS: Final = 1.6
"""Radius and gain of the unsharp mask that compensates for the pen's smoothing."""

CLOTHES_HIGH: Final = 0.5
"""Coverage of black clothes. Other tones beside the head are compressed, the dark ones most: pale ones remain, and dark
clothes of two people stay apart."""

BESIDE_WEIGHT: Final = 0.55
"""Weight of places outside the head."""

SMALL_PENS: Final = 80.0
"""Faces narrower than this, in pens, are drawn by `small_faces`. By eye, on six groups with faces 40 to 88 pens wide:
eyelids and lips are narrower than two pens there, and strokes lose them."""

FEATURE_LIFT: Final = 0.4
FEATURE_BLUR: Final = 0.06
"""Gain of the unsharp mask of eyes and mouths, and its radius in face widths: the size of eyelids and lips. With 0.1,
eyes become black holes (seen on eleven portraits)."""

BARE_PENS: Final = (1.5, 4.0)
EDGE_PENS: Final = 10.0
"""Pale skin in front of a removed background has no edge. The edge of a head is drawn where no other stroke is nearer
than the first distance, over at least ``EDGE_PENS``, if none is nearer than the second somewhere on it; shallower
places come from a mask slightly larger than the person."""

LEAST_KEPT: Final = 0.02
"""Smallest share of the lines that keeps a likeness."""

SQUARE_PENS: Final = 30.0
"""Side of the squares in which strokes are ranked when some are left out. The decision depends equally on the rank
among all strokes and on the rank within a square. With the first only, clothes, which come last, become a hole; with
the second only, the face thins out like its surroundings (seen on two portraits with 60 and 35 % of their lines)."""

FINE: Final = 0.75
"""Blur for comparing strokes and target, relative to other photographs: finer strokes separate lids, pupils and lips.
Not where all faces are small, nor with a background, whose pale walls need broad passes."""

DASH_PENS: Final = 2.0
PALE: Final = 0.25
GROWS: Final = 3.0
"""Pale skin is drawn in dashes, as in engravings, because long lines far apart look like wrinkles: the length of a
dash, the coverage up to which strokes are so short, and the power of the coverage by which they become longer above
it."""

DASHES: Final = 1000.0
"""About how many dashes a picture has at most. Each costs a pen lift, 0.3 s on the default rig; if there would be more,
strokes become longer from a lower coverage on."""

FEWER: Final = 4
"""Power of the share of lines that is kept, by which dashes become fewer: in little time they cost more than they
show."""

TONE_PENS: Final = 1.0
"""Blur of that coverage."""


@dataclass(frozen=True, eq=False)
class FramedPeople:
    """Persons in a photograph, and the part that is drawn.

    Parameters
    ----------
    found : faces in pixels of the photograph, the largest first.
    box : left, top, right, bottom of the drawn part, pixels.
    person : (h, w) 1 for persons, in that box; None if there is no cut-out.
    """

    found: tuple[Face, ...]
    box: faces.Box
    person: Floats32 | None


@dataclass(frozen=True, eq=False)
class Sitter:
    """A prepared photograph at its size on the sheet, at the pen's resolution.

    Parameters
    ----------
    grey : (h, w) lightness of the photograph.
    coverage : (h, w) wanted coverage.
    head : (h, w) 1 on heads, 0 elsewhere.
    person : (h, w) 1 for persons; None where nobody is cut out.
    shown : faces in pixels of that grid, the largest first.
    width_mm, height_mm : of the picture.
    notes : what the user should know.
    """

    grey: Floats32
    coverage: Floats32
    head: Floats32
    person: Floats32 | None
    shown: tuple[Face, ...]
    width_mm: float
    height_mm: float
    notes: tuple[str, ...]

    @property
    def weight(self) -> Floats32:
        """(h, w) importance of each place."""
        return np.asarray(BESIDE_WEIGHT + (1 - BESIDE_WEIGHT) * self.head, dtype=np.float32)


@dataclass(frozen=True)
class Portrait(Strokes):
    """Strokes along the form, most of them in the face."""

    frame: str = settings.text("head: head and shoulders; whole; face:2: the second largest face; auto", "auto")
    background: str = settings.choice("clear: only the person; keep: also the background", "clear", "clear", "keep")
    ink_m: float = settings.number(
        "largest total length of lines; 0: the length that a face needs", 0.0, 0.0, 1000.0, "m"
    )
    kept: float = settings.number("share of the lines that are drawn, the most needed first", 1.0, LEAST_KEPT, 1.0)

    def with_ink(self, share: float) -> Self:
        """The same portrait without the least important strokes."""
        return replace(self, kept=max(LEAST_KEPT, share * self.kept))

    def drawn(self, taken: photograph.Photograph, wish: Wish, source: str = "the picture") -> Picture:
        """The strokes of a photograph that has been read."""
        sitter = self.posed(taken, wish)
        pen = wish.pens[0] if wish.pens else BLACK
        field = Field(sitter.coverage, sitter.width_mm, sitter.height_mm, wish.one_pen_mm())
        strokes = self._strokes(field, sitter, wish.report)
        if not strokes:
            raise SourceError(
                "nothing to draw: no part of the picture is dark enough for a stroke",
                where=source,
                hint="use more contrast, or another method",
            )
        drawing = Drawing.from_strokes(strokes, [0] * len(strokes), (pen,))
        return Picture(drawing, sitter.width_mm, sitter.height_mm, (*taken.warnings, *sitter.notes))

    def wanted(self, taken: photograph.Photograph, wish: Wish) -> Field:
        """The wanted coverage."""
        sitter = self.posed(taken, wish)
        return Field(sitter.coverage, sitter.width_mm, sitter.height_mm, wish.one_pen_mm())

    def part(self, rgb: Floats32) -> faces.Box:
        """The visible part of a rotated and cropped photograph: left, top, right, bottom, in pixels."""
        return self._shown(rgb, faces.found(rgb)).box

    def posed(self, taken: photograph.Photograph, wish: Wish) -> Sitter:
        """Find and frame the faces, remove the background, and even out the tones."""
        wish.report("looking for faces", 0.0)
        rgb = self.framed(taken.rgb)
        framed = self._shown(rgb, faces.found_in(taken, self))
        left, top, right, bottom = (round(v) for v in framed.box)
        cut = rgb[top:bottom, left:right]
        seen = tuple(face.moved(-left, -top, 1.0) for face in framed.found)
        seen = tuple(face for face in seen if _inside(face, cut.shape))
        notes = () if framed.found else ("no face found: the whole picture is drawn, with its background",)
        if seen and self.background == "clear" and framed.person is None:
            notes = (*notes, "person and background could not be separated, so the background is drawn")
        width_mm, height_mm = wish.fitted_mm(cut.shape[1], cut.shape[0])
        pixel = wish.one_pen_mm() / PIXELS_PER_PEN
        grey = _resized(cut @ LUMA, round(width_mm / pixel), round(height_mm / pixel))
        scale = grey.shape[1] / cut.shape[1]
        shown = tuple(face.moved(0.0, 0.0, scale) for face in seen)
        mask = np.ones_like(grey) if framed.person is None else _resized(framed.person, grey.shape[1], grey.shape[0])
        coverage = _features_lifted(self._toned(grey, mask), shown)
        head = _near_faces(shown, grey.shape)
        clothes = coverage / (1 + coverage * (1 / CLOTHES_HIGH - 1))
        coverage = np.asarray(head * coverage + (1 - head) * clothes, dtype=np.float32)
        person = None if framed.person is None else mask
        return Sitter(grey, coverage, head, person, shown, width_mm, height_mm, notes)

    def _shown(self, rgb: Floats32, found: tuple[Face, ...]) -> FramedPeople:
        """Cut out the person and choose the crop; a single head as closely as its hair allows."""
        left, top, right, bottom = (round(v) for v in faces.frame(found, (rgb.shape[1], rgb.shape[0]), self.frame))
        cut = rgb[top:bottom, left:right]
        seen = tuple(face for face in found if _inside(face.moved(-left, -top, 1.0), cut.shape))
        if self.background != "clear":
            return FramedPeople(found, (left, top, right, bottom), None)
        around = person.surroundings((left, top, right, bottom), (rgb.shape[1], rgb.shape[0]), seen)
        behind = rgb[around[1] : around[3], around[0] : around[2]]
        mask = person.mask(behind, tuple(face.moved(-around[0], -around[1], 1.0) for face in seen))
        if mask is not None:
            mask = mask[top - around[1] : bottom - around[1], left - around[0] : right - around[0]]
        shown = faces.worth_showing(seen)
        if mask is None or len(shown) != 1 or faces.shows_all(found, rgb.shape[0], self.frame):
            return FramedPeople(found, (left, top, right, bottom), mask)
        x0, y0, x1, y1 = (round(v) for v in faces.closer((left, top, right, bottom), shown[0], mask))
        return FramedPeople(found, (x0, y0, x1, y1), mask[y0 - top : y1 - top, x0 - left : x1 - left])

    def _toned(self, grey: Floats32, mask: Floats32) -> Floats32:
        """The wanted coverage of a grey picture, 0 outside the mask."""
        import cv2
        from scipy import ndimage

        inside = mask > 0.5
        low, high = np.percentile(grey[inside], RANGE) if inside.any() else (0.0, 1.0)
        # Uniform: nothing to stretch, and white must stay white.
        even = np.clip((grey - low) / (high - low), 0.0, 1.0) if high - low > 1 / 255 else grey.copy()
        # Removed background must not influence the tiles at its border.
        even[~inside] = np.median(even[inside]) if inside.any() else 1.0
        tones = cv2.createCLAHE(CLIP, (TILES, TILES)).apply(np.round(even * 255).astype(np.uint8))
        even = tones.astype(np.float32) / np.float32(255)
        coverage = np.clip((1 - even - PALEST) / (1 - PALEST), 0.0, 1.0)
        soft_mask = ndimage.gaussian_filter(mask, PIXELS_PER_PEN * 0.8)
        coverage = coverage * soft_mask * np.float32(self.darkest)
        soft = blurred(coverage, LIFT_PENS * PIXELS_PER_PEN)
        return np.asarray(np.clip(coverage + LIFT * (coverage - soft), 0.0, 1.0), dtype=np.float32)

    def _strokes(self, field: Field, sitter: Sitter, report: Report) -> list[Points]:
        report("finding the form", 0.0)
        pixel = float(np.mean(field.pixel_mm))
        pen_px = field.pen_mm / pixel
        small = tuple(face for face in sitter.shown if face.width < SMALL_PENS * pen_px)
        middles, inside = small_drawn(sitter.grey, sitter.person, small, pen_px)
        size_mm = (field.width_mm, field.height_mm)
        strokes: list[Points] = [np.clip(middle * field.pixel_mm, 0.0, size_mm) for middle in middles]
        widest = max((face.width for face in sitter.shown), default=0.0) * pixel
        ground = bed(field, sitter.weight * (1 - inside), sitter.head, face_mm=widest)
        if len(small) < len(sitter.shown):
            fine = 1.0 if sitter.person is None else FINE
            long = longest_pens(ground.field, sitter.head, DASHES * self.kept**FEWER)
            ground = replace(ground, blur_mm=fine * ground.blur_mm, longest_pens=long)
        most = max(self.ink_m * 1000, most_mm(field))
        strokes += laid_by_lenses(ground, report, already=strokes, ink_high_mm=most)
        strokes = edges(sitter, strokes, field.pen_mm) + strokes
        if not strokes:
            return []
        long_mm = np.array([float(np.hypot(*np.diff(stroke, axis=0).T).sum()) for stroke in strokes])
        kept_mm = self.kept * min(float(long_mm.sum()), self.ink_m * 1000 or np.inf)
        return thinned(strokes, long_mm, kept_mm, SQUARE_PENS * field.pen_mm)


def longest_pens(field: Field, head: Floats32, dashes: float = DASHES) -> Floats32:
    """(h, w) length of the longest stroke at each place: short in pale places of heads, for about so many dashes."""
    tone = blurred(field.coverage, TONE_PENS * field.pen_mm / float(np.mean(field.pixel_mm)))
    on_head = head > 0.5

    def long(pale: float) -> Floats32:
        return np.asarray(DASH_PENS * np.maximum(1.0, tone / np.float32(pale)) ** GROWS, dtype=np.float32)

    pixel_pens2 = float(np.prod(field.pixel_mm)) / field.pen_mm**2
    count = float((tone / long(PALE))[on_head].sum()) * pixel_pens2  # the tone is the length of lines per area, in pens
    pale = PALE * min(1.0, dashes / max(1.0, count)) ** (1 / GROWS)
    return np.where(on_head, np.minimum(long(pale), LONGEST_PENS), np.float32(LONGEST_PENS))


def thinned(strokes: list[Points], long_mm: Points, kept_mm: float, square_mm: float) -> list[Points]:
    """The most important strokes in order, up to a total length.

    Parameters
    ----------
    strokes : mm, most important first.
    long_mm : (k,) length of each.
    square_mm : side of the squares that are thinned evenly.
    """
    if kept_mm >= long_mm.sum():
        return strokes
    middles = np.array([stroke[len(stroke) // 2] for stroke in strokes])
    _, square = np.unique(np.floor(middles / square_mm), axis=0, return_inverse=True)
    square = square.reshape(-1)
    before_mm = np.zeros(len(strokes))  # length of earlier strokes in its square, plus half of its own
    for one in range(int(square.max()) + 1):
        own = long_mm[square == one]
        before_mm[square == one] = (own.cumsum() - own / 2) / own.sum()
    rank = before_mm + (long_mm.cumsum() - long_mm / 2) / long_mm.sum()
    order = np.argsort(rank, kind="stable")
    taken = order[: int(np.searchsorted(long_mm[order].cumsum(), kept_mm, side="right"))]
    return [strokes[i] for i in np.sort(taken)]


def _inside(face: Face, shape: tuple[int, ...]) -> bool:
    """Whether the centre of a face is within the picture."""
    x, y = face.left + face.width / 2, face.top + face.height / 2
    return 0 <= x < shape[1] and 0 <= y < shape[0]


def _resized(values: Floats32, width: int, height: int) -> Floats32:
    """Downscaled by averaging, or upscaled by smooth interpolation if the photograph is coarser."""
    import cv2

    smaller = width <= values.shape[1]
    way = cv2.INTER_AREA if smaller else cv2.INTER_CUBIC
    new = cv2.resize(np.ascontiguousarray(values, dtype=np.float32), (max(1, width), max(1, height)), interpolation=way)
    return np.asarray(np.clip(new, 0.0, 1.0), dtype=np.float32)


def edges(sitter: Sitter, strokes: Sequence[Points], pen_mm: float) -> list[Points]:
    """Strokes along the edges of heads, half a pen inside, where no other stroke shows them."""
    import cv2
    from scipy import ndimage

    if sitter.person is None:
        return []
    rows, columns = sitter.person.shape
    x_mm, y_mm = sitter.width_mm / columns, sitter.height_mm / rows
    smooth = blurred(sitter.person, PIXELS_PER_PEN)
    inside = np.pad((smooth > 0.5).astype(np.uint8), 1, mode="edge")  # the picture's border is no edge of a person
    deep = cv2.distanceTransform(inside, cv2.DIST_L2, 5)[1:-1, 1:-1]
    # The pixel of the sampled photograph, so that both grids are equal.
    ink = inked(strokes, (sitter.width_mm, sitter.height_mm), pen_mm=pen_mm, pixel_mm=pen_mm / PIXELS_PER_PEN)
    away_mm = ndimage.distance_transform_edt(ink < 0.5, sampling=(y_mm, x_mm))
    bare_mm = np.where(sitter.head > 0.5, away_mm, 0.0)
    found = []
    x, y = (np.arange(columns) + 0.5) * x_mm, (np.arange(rows) + 0.5) * y_mm
    for line in isolines(np.asarray(deep, dtype=np.float32), PIXELS_PER_PEN / 2, x, y):
        ends = "wrap" if (line[0] == line[-1]).all() else "nearest"
        line = ndimage.gaussian_filter1d(line, 2 * PIXELS_PER_PEN, axis=0, mode=ends)
        at = (line / (x_mm, y_mm)).astype(np.int64)
        alone = bare_mm[at[:, 1].clip(0, rows - 1), at[:, 0].clip(0, columns - 1)] / pen_mm
        bare = ndimage.binary_closing(alone > BARE_PENS[0], np.ones(round(4 * PIXELS_PER_PEN)))
        for begin, end in runs(bare, 2):
            piece = line[begin:end]
            long_mm = np.hypot(*np.diff(piece, axis=0).T).sum()
            if long_mm >= EDGE_PENS * pen_mm and alone[begin:end].max() >= BARE_PENS[1]:
                found.append(piece)
    return found


def _features_lifted(coverage: Floats32, shown: tuple[Face, ...]) -> Floats32:
    """The coverage with eyes and mouths at higher contrast to the skin around them."""
    rows, columns = coverage.shape
    lifted = coverage.copy()
    for face in shown:
        # The processed region: the face with a margin for the blur, within the picture.
        left, top = max(0, int(face.left - 0.2 * face.width)), max(0, int(face.top))
        right = min(columns, int(face.left + 1.2 * face.width) + 1)
        bottom = min(rows, int(face.top + 1.2 * face.height) + 1)
        if right - left < 2 or bottom - top < 2:
            continue
        part = coverage[top:bottom, left:right]
        around = blurred(part, FEATURE_BLUR * face.width)
        near = features(face.moved(-left, -top, 1.0), part.shape)
        change = FEATURE_LIFT * near * (part - around)
        lifted[top:bottom, left:right] = np.clip(part + change, 0.0, 1.0)
    return lifted


def _near_faces(shown: tuple[Face, ...], shape: tuple[int, int]) -> Floats32:
    """(h, w) 1 on heads, falling to 0 beside them; 1 everywhere if there is no face."""
    if not shown:
        return np.ones(shape, dtype=np.float32)
    yy, xx = np.indices(shape, dtype=np.float32)
    near = np.zeros(shape, dtype=np.float32)
    for face in shown:
        x, y = face.left + face.width / 2, face.top + 0.42 * face.height
        away = np.hypot((xx - x) / (0.85 * face.width), (yy - y) / (0.8 * face.height))
        near = np.maximum(near, np.clip((1.35 - away) / 0.35, 0.0, 1.0))
    return near
