"""Rosettes: rings of waves as engraved on banknotes and watch cases, several concentric wreaths.

A wreath is one wave around a circle, r = R + A sin(n t + p) times a modulation with its own period, drawn several times
with shifted phase p; all lines lie between the same two edges and meet in knots. Each line is closed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import finished
from linewright.sources.picture import Picture, Wish


@dataclass(frozen=True)
class Rosettes:
    """Settings; 0 leaves a choice to the seed."""

    seed: int = settings.seed()
    wreaths: int = settings.number("one in the other; 0: the seed's choice", 0, 0, 12)
    strands: int = settings.number("lines of a wreath; 0: what suits the pen", 0, 0, 24)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        radius = min(wish.room_mm) / 2 - wish.pen_width_mm / 2
        wreaths = self.wreaths or int(rng.integers(2, 5))
        edges = radius * np.concatenate(([1.0], np.cumprod(rng.uniform(0.58, 0.82, wreaths))))
        folds = int(rng.choice([6, 8, 9, 10, 12]))
        strokes = []
        for i in range(wreaths):
            outer, inner = float(edges[i]), float(edges[i + 1]) + 1.5 * wish.pen_width_mm
            if i and outer - inner < 8 * wish.pen_width_mm:
                break
            strokes += wreath(inner, outer, folds, rng, wish.pen_width_mm, self.strands)
        middle = np.array(wish.room_mm) / 2
        return finished([line + middle for line in strokes], wish, name="rosettes", joins=False)


def wreath(
    inner: float, outer: float, folds: int, rng: np.random.Generator, pen_width_mm: float, strands: int
) -> list[Points]:
    """The lines of a wreath between two circles, all closed.

    Parameters
    ----------
    folds : repetitions around the circle.
    strands : number of lines; 0: as many as stay two and a half pens apart.
    """
    waves = folds * int(rng.choice([2, 3, 4]))
    depth = float(rng.uniform(0.25, 0.55))
    middle, reach = (inner + outer) / 2, (outer - inner) / 2
    pitch = math.tau * middle / waves
    # Parallel strands are spaced by fractions of the wavelength; on steep flanks they come closer by the slope.
    steep = math.cos(math.atan(reach * math.tau / pitch))
    count = strands or int(min(max(3, pitch * max(steep, 0.35) / (2.6 * pen_width_mm)), 12))
    t = np.linspace(0.0, math.tau, waves * 60 + 1)
    swell = 1 - depth * (0.5 - 0.5 * np.cos(folds * t))
    lines = []
    for k in range(count):
        r = middle + reach * swell * np.sin(waves * t + math.tau * k / count)
        line = np.column_stack((r * np.cos(t), r * np.sin(t)))
        line[-1] = line[0]
        lines.append(line)
    return lines
