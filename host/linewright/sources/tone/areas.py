"""Flat areas: a picture of few colours, or the fillings of an SVG, each hatched in its own colour within an outline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Pen, Points
from linewright.sources import settings
from linewright.sources.isolines import isolines
from linewright.sources.photograph import Floats32
from linewright.sources.picture import Picture, Wish
from linewright.sources.preparation import LUMA
from linewright.sources.tone.hatching import ruled
from linewright.sources.tone.method import TOLERANCE, Layer, ToneMethod

SMOOTH_PX: Final = 1.5
"""Smoothing of area borders: removes pixel steps, and assigns areas of a few pixels to their neighbours."""

PAPER_DELTA_E: Final = 10.0
"""CIE 1976 difference from white up to which an area counts as paper: about four times the just noticeable one."""

SAMPLE: Final = 40_000
"""Number of pixels sampled for finding the colours."""

ROUNDS: Final = 12
"""Rounds of Lloyd's iteration; colours hardly move after ten."""


@dataclass(frozen=True)
class Areas(ToneMethod):
    """Hatched areas with outlines."""

    colours: int = settings.number("number of colours of the reduced photograph, including paper", 6, 2, 24)
    angle_deg: float = settings.number("direction of the first colour's lines; 0 is level", 45.0, -180, 180, "deg")
    least: float = settings.number("outlines shorter than this are left out, in pen widths", 20.0, 0.0, 400.0, "pens")
    seed: int = settings.seed("of the search for colours")

    def read(self, source: str, wish: Wish) -> Picture:
        """The areas of a photograph, or the lines and fillings of a drawing, which keeps its colours."""
        from pathlib import Path

        from linewright.sources.photograph import looks_like_one

        if looks_like_one(Path(source)):
            return super().read(source, wish)
        from linewright.sources.drawing_files import read_drawing
        from linewright.sources.painting.shading import FillHatching

        return read_drawing(source, wish, FillHatching(wish.pen_width_mm, self.angle_deg))

    def layers(self, rgb: Floats32, wish: Wish) -> tuple[tuple[Pen, ...], list[Floats32]]:
        """One layer per colour, or per requested pen that is nearest to a colour."""
        from skimage.color import deltaE_ciede2000, rgb2lab

        labels, centres = _areas(rgb, self.colours, self.seed)
        inks = np.array([_of_hex(pen.colour) for pen in wish.pens]) if wish.pens else None
        pens: tuple[Pen, ...] = wish.pens
        lab = rgb2lab(centres)
        drawn = np.flatnonzero(np.linalg.norm(lab - [100.0, 0.0, 0.0], axis=1) > PAPER_DELTA_E)
        if inks is None:
            pens = tuple(Pen(_hex(centres[i]), _hex(centres[i])) for i in drawn)
            found = [np.where(labels == i, _cover(centres[i]), 0.0).astype(np.float32) for i in drawn]
            return pens, found
        found = [np.zeros(labels.shape, dtype=np.float32) for _ in pens]
        for i in drawn:
            theirs = rgb2lab(inks)
            # Broadcast explicitly: with one colour against several, scikit-image 0.26 confuses the axes.
            pen = int(np.argmin(deltaE_ciede2000(np.broadcast_to(lab[i], theirs.shape), theirs)))
            found[pen][labels == i] = min(1.0, _cover(centres[i]) / max(0.05, 1.0 - float(inks[pen] @ LUMA)))
        return pens, found

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """Outlines of a colour's areas, then their hatching."""
        import shapely

        layer.report("areas", 0.0)
        field = layer.field
        strokes: list[Points] = []
        for cover in np.unique(field.coverage[field.coverage > 0]):
            padded = np.pad((field.coverage == cover).astype(np.float32), 1)
            for line in isolines(padded, 0.5, *(np.arange(float(count)) for count in reversed(padded.shape))):
                points = np.clip((line - 0.5) * field.pixel_mm, 0.0, [field.width_mm, field.height_mm])
                shape = shapely.linestrings(points)
                if shape.length >= max(self.least * field.pen_mm, 1e-6):
                    strokes.append(shapely.get_coordinates(shapely.simplify(shape, TOLERANCE * field.pen_mm)))
            # Constant tone: evenly spaced lines. Leaving out lines of a denser ruling would make stripes.
            tone = np.minimum(cover, np.float32(1.0))
            hatched = replace(field, coverage=np.where(field.coverage == cover, tone, np.float32(0.0)))
            strokes += ruled(hatched, self.angle_deg + 30.0 * layer.number, 1.0 / float(tone))
        return strokes


def _areas(rgb: Floats32, colours: int, seed: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """(h, w) number of each pixel's colour, and (n, 3) the colours as sRGB.

    Colours are cluster means (k-means in CIELAB, by scipy); each pixel then takes the majority colour of its
    neighbourhood.
    """
    from scipy import ndimage
    from scipy.cluster.vq import vq
    from skimage.color import lab2rgb, rgb2lab

    lab = rgb2lab(rgb).reshape(-1, 3)
    rng = np.random.default_rng(seed)
    some = lab[rng.choice(len(lab), min(SAMPLE, len(lab)), replace=False)]
    distinct = np.unique(np.round(some, 1), axis=0)
    centres = distinct if len(distinct) <= colours else _clusters(some, colours, rng)
    label, _ = vq(lab, centres)
    votes = np.stack(
        [
            ndimage.gaussian_filter((label == i).reshape(rgb.shape[:2]).astype(np.float32), SMOOTH_PX, mode="nearest")
            for i in range(len(centres))
        ]
    )
    return np.argmax(votes, axis=0), np.clip(lab2rgb(centres), 0.0, 1.0)


def _clusters(points: NDArray[np.float64], count: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Means of at most ``count`` clusters: Lloyd's iteration from the seeds of Arthur and Vassilvitskii (2007)."""
    from scipy.cluster.vq import vq

    centres = points[rng.integers(len(points))][None]
    while len(centres) < count:
        _, far = vq(points, centres)
        if not far.any():
            break
        centres = np.vstack((centres, points[rng.choice(len(points), p=far**2 / (far**2).sum())]))
    for _ in range(ROUNDS):
        label, _ = vq(points, centres)
        filled = np.unique(label)
        centres = np.stack([points[label == i].mean(axis=0) for i in filled])
    return np.asarray(centres)


def _cover(colour: NDArray[np.float64]) -> float:
    """Coverage of an area of this colour: by its darkness, but never quite solid, because the paper would cockle."""
    return float(np.clip(1.0 - colour @ LUMA, 0.08, 0.9))


def _of_hex(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return red, green, blue


def _hex(colour: NDArray[np.float64]) -> str:
    return "#" + "".join(f"{round(255 * float(part)):02x}" for part in colour)
