"""Outlines: silhouettes and dark features, each as one line.

The lines are those of `flow`: a difference of Gaussians across the local direction, averaged along it (Kang, Lee and
Chui 2007; Winnemoeller, Kyprianidis and Olsen 2012), followed along their crests by `crests`. A dark feature gives one
line, while an edge detector gives two; at the border of a dark area the line is inside it, half a pen from the edge. A
second pass slightly beside the first makes broad lines heavier.

The method is called ``outline``, because ``linewright lines`` is a command that works with any method.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.photograph import Floats32
from linewright.sources.tone.crests import Pursuit, crests
from linewright.sources.tone.flow import ALONG, along, dark_lines, noise_of_lines
from linewright.sources.tone.method import TOLERANCE, Layer, ToneMethod
from linewright.sources.tone.trace import Chain, smooth, to_strokes

WEAK_SHARE: Final = 0.4
"""Share of the strong threshold down to which a line is followed (Canny recommends a third to a half for edges)."""

THRESHOLDS: Final = (0.30, 0.03)
"""Measure at which a line starts, at detail 0 and 1; linear in between. A black line on white has 1, the edge of black
0.4, the edge of a grey half as dark 0.2."""

FULL: Final = 0.35
PALE: Final = 0.3
"""Measure of the strongest lines in a picture of full contrast: thresholds of a paler picture are reduced in
proportion, down to this share."""

STRONGEST: Final = 0.99
"""Quantile of the measure taken as the strongest lines."""

TEXTURE: Final = 6.0
"""Smallest start measure in medians of the measure: fur, waves and grass are texture, not lines."""

GRAIN: Final = 5.0
"""Smallest start measure in standard deviations of the grain, which one place in two million exceeds."""

OF_STRONGEST: Final = 0.6
"""Upper limit of the threshold from texture, so that a picture of texture only is still drawn."""

SMOOTH_PENS: Final = 0.8
"""Standard deviation of the smoothing along a line: removes pixel noise and leaves corners as sharp as the pen."""

BROAD_PENS: Final = 1.1
"""Distance beside a line at which the picture is tested: if it is still dark there, the line is broad."""

BESIDE_PENS: Final = 0.55
"""Distance of the second pass from the first: together they are one and a half pens wide."""

TAPER_PENS: Final = 3.0
"""Length over which the second pass departs from the first at its ends."""

RUN_PENS: Final = 8.0
"""Shortest second pass; shorter ones are blots."""


@dataclass(frozen=True)
class Outline(ToneMethod):
    """Lines along silhouettes and dark features."""

    detail: float = settings.number("amount of small and pale detail: 0 least, 1 most", 0.5, 0.0, 1.0)
    blur: float = settings.number("width of the lines to find, in pen widths", 1.0, 0.4, 20.0, "pens")
    least: float = settings.number("shorter lines are left out, in pen widths", 8.0, 0.0, 200.0, "pens")
    gap: float = settings.number("gaps in a line up to this length are closed, in pen widths", 4.0, 0.0, 50.0, "pens")
    weight: float = settings.number("tendency to draw broad lines twice; 0: never", 0.5, 0.0, 1.0)

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """Strongest lines first; second passes last."""
        layer.report("finding directions", 0.0)
        field = layer.field
        pixel = float(np.mean(field.pixel_mm))
        pen_px = field.pen_mm / pixel
        width_px = max(0.7, 0.4 * self.blur * pen_px)
        cosine, sine = along(field.coverage, max(1.0, self.blur * pen_px), 45.0)
        layer.report("finding lines", 0.4)
        measure = dark_lines(field.coverage, cosine, sine, width_px)
        wanted = THRESHOLDS[0] * (THRESHOLDS[1] / THRESHOLDS[0]) ** self.detail
        strongest = float(np.quantile(measure, STRONGEST))
        texture = float(np.median(measure[measure > 0])) if (measure > 0).any() else 0.0
        strong = max(
            wanted * min(1.0, max(PALE, strongest / FULL)),
            min(TEXTURE * texture, OF_STRONGEST * strongest),
            GRAIN * noise_of_lines(field.coverage, width_px),
        )
        layer.report("following lines", 0.7)
        how = Pursuit(
            strong,
            WEAK_SHARE * strong,
            self.gap * pen_px,
            max(1.0, 0.9 * pen_px),
            max(2.0, self.least * pen_px),
            ALONG * width_px,
        )
        lines = [smooth(line, SMOOTH_PENS * pen_px) for line in crests(measure, cosine, sine, how)]
        if self.weight > 0:
            lines += _second_passes(lines, field.coverage, pen_px, 1.0 - self.weight)
        found = to_strokes(lines, field.pixel_mm, TOLERANCE * field.pen_mm, self.least * field.pen_mm)
        return [np.clip(stroke, 0.0, [field.width_mm, field.height_mm]) for stroke in found]


def _second_passes(lines: list[Chain], coverage: Floats32, pen_px: float, dark: float) -> list[Chain]:
    """Second lines beside broad ones, on the darker side, where the picture is ``dark``."""
    from scipy import ndimage

    found: list[Chain] = []
    for line in lines:
        if len(line) < RUN_PENS * pen_px:
            continue
        way = np.gradient(line, axis=0)
        normal = np.column_stack((-way[:, 1], way[:, 0])) / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
        beside = np.stack(
            [
                ndimage.map_coordinates(
                    coverage, (line + side * BROAD_PENS * pen_px * normal).T[::-1], order=1, mode="nearest"
                )
                for side in (-1.0, 1.0)
            ]
        )
        beside = ndimage.gaussian_filter1d(beside, TAPER_PENS * pen_px, axis=1, mode="nearest")
        for number, side in enumerate((-1.0, 1.0)):
            broad = (beside[number] > 0.35 + 0.6 * dark) & (beside[number] - beside[1 - number] > 0.15)
            runs, count = ndimage.label(broad)
            for at in ndimage.find_objects(runs, count):
                part = slice(at[0].start, at[0].stop)
                length = part.stop - part.start
                if length < RUN_PENS * pen_px:
                    continue
                from_end = np.minimum(np.arange(length), np.arange(length)[::-1])
                leave = np.clip(from_end / (TAPER_PENS * pen_px), 0.0, 1.0)
                found.append(line[part] + (side * BESIDE_PENS * pen_px * leave)[:, None] * normal[part])
    return found
