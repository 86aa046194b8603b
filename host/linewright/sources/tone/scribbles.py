"""Circular scribbles: one looping line over the picture, in small close loops where it is dark.

C.-C. Chiu, Y.-H. Lo, R.-R. Lee and H.-K. Chu, "Tone- and feature-aware circular scribble art", Computer Graphics Forum
34, 2015: a pen turns on a disc that follows a path through the picture; tone sets the size of the disc and the spacing
of its loops. Here the path is that of `one_line`.

A pen that turns at radius r while its disc advances by p per turn draws sqrt(1 + (2 pi r / p)^2) of line per length of
path. Passes of the path are about as far apart as its points; the overlap of ink is measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import Layer, ToneMethod
from linewright.sources.tone.one_line import way_through
from linewright.sources.tone.stippling import PALEST, settled

RADIUS: Final = 0.6
"""Radius of the loops, in distances of the path's points: neighbouring bands overlap, so that the path does not
show."""

PALE_LARGER: Final = 1.0
"""Relative enlargement of loops at the palest places."""

LENGTH: Final = 0.93
"""Length per point of a short path through settled points, in point distances (measured; as in `one_line`)."""

PATH_SHARE: Final = 0.66
"""Largest share of the ink that the path alone takes at pale places; the points are spaced accordingly."""

DARKEST: Final = 0.97
"""Largest coverage; each further halving of the bare paper would take as much ink again."""

TREMBLE: Final = 0.18
"""Relative standard deviation of the radius, like that of a hand."""

CORNERS: Final = 14
"""Vertices per loop: a chord deviates from its arc by 1/40 of the radius."""


CALIBRATION: Final = (
    (0.0, 0.0), (0.043, 0.051), (0.097, 0.105), (0.20, 0.223), (0.376, 0.431), (0.55, 0.693), (0.715, 1.05),
    (0.872, 1.609), (0.957, 2.303), (0.98, 3.219),
)  # fmt: skip
"""Coverage, and pen width times line length per area that gives it: measured on constant tones, with loops of 3.5 and 6
pens; they differ by 0.03."""


@dataclass(frozen=True)
class Scribbles(ToneMethod):
    """Loops in a single line."""

    size: float = settings.number("size of the loops in dark areas, in pen widths", 3.5, 2.0, 60.0, "pens")
    rounds: int = settings.number("number of relaxation steps of the path's points", 20, 1, 300)
    seed: int = settings.seed("seed of the initial points and of the loops")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """One stroke."""
        field = layer.field
        wanted = np.where(field.coverage < PALEST, 0.0, np.minimum(field.coverage, DARKEST))
        dense = np.where(wanted > 0, self._apart_mm(wanted.astype(np.float64), field.pen_mm) ** -2.0, 0.0)
        count = round(float(dense.mean()) * field.width_mm * field.height_mm)
        if count < 2:
            return []
        spread = Field(dense.astype(np.float32), field.width_mm, field.height_mm, field.pen_mm)
        places = np.unique(settled(spread, count, self.rounds, self.seed, layer.report, "placing loops"), axis=0)
        if len(places) < 2:
            return []
        path = way_through(places, layer.report)
        return [self._looped(path, Field(wanted.astype(np.float32), field.width_mm, field.height_mm, field.pen_mm))]

    def _band_mm(self, coverage: Points, pen_mm: float) -> Points:
        """Approximate width of a band of loops."""
        return self.size * pen_mm * (1.0 + PALE_LARGER * (1.0 - coverage) ** 2)

    def _apart_mm(self, coverage: Points, pen_mm: float) -> Points:
        """Distance of the path's points: a band, or more where the path alone is enough ink."""
        ink = np.maximum(_ink(coverage), 1e-3)
        return np.maximum(self._band_mm(coverage, pen_mm), LENGTH * pen_mm / (PATH_SHARE * ink))

    def _looped(self, path: Points, field: Field) -> Points:
        """The line of a pen that turns about a point on the path."""
        from scipy import ndimage

        pen = field.pen_mm
        step = pen / 2
        run = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))))
        along = np.arange(0.0, run[-1], step)
        middle = np.column_stack([np.interp(along, run, path[:, axis]) for axis in (0, 1)])
        middle = ndimage.gaussian_filter1d(middle, 0.35 * self.size * pen / step, axis=0, mode="nearest")
        cover = field.smoothed(pen).at(middle)
        # Wanted length of line per length of path; the excess over 1 comes from turning.
        longer = _ink(cover) * self._apart_mm(cover, pen) / (LENGTH * pen)
        radius = RADIUS * self._band_mm(cover, pen)
        turn = np.cumsum(step * np.sqrt(np.maximum(longer**2 - 1.0, 0.0)) / radius)
        hand = ndimage.gaussian_filter1d(
            np.random.default_rng(self.seed).normal(0, 1, len(along)), 2 * self.size, mode="nearest"
        )
        hand *= TREMBLE / max(float(hand.std()), 1e-9)
        radius = radius * np.clip(1.0 + hand, 0.4, 1.6)
        # Vertices per share of a loop, and one per pen width where there are hardly any loops.
        count = turn * CORNERS / (2 * np.pi) + along / pen
        at = np.interp(np.arange(0.0, count[-1], 1.0), count, np.arange(len(count), dtype=np.float64))
        x, y, r, t = (
            np.interp(at, np.arange(len(count)), values) for values in (middle[:, 0], middle[:, 1], radius, turn)
        )
        line = np.column_stack((x + r * np.cos(t), y + r * np.sin(t)))
        return np.asarray(np.clip(line, 0.0, [field.width_mm, field.height_mm]))


def _ink(coverage: Points) -> Points:
    """Pen width times line length per area that gives this coverage."""
    return np.asarray(np.interp(coverage, *np.array(CALIBRATION).T))
