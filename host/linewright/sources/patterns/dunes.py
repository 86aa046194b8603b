"""Dunes: rows of ridges, each hidden by nearer ones.

Lines are computed from front to back, and only parts above a floating horizon are drawn (T. J. Wright, "A two-space
solution to the hidden line problem for plotting functions of two variables", IEEE Trans. Computers C-22, 1973).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import finished
from linewright.sources.patterns.noise import Noise
from linewright.sources.picture import Picture, Wish


@dataclass(frozen=True)
class Dunes:
    """Settings of the pattern."""

    seed: int = settings.seed()
    ridges: int = settings.number("how many; 0: what suits pen and sheet", 0, 0, 400)
    height: float = settings.number("of the highest, as a share of the sheet", 0.16, 0.0, 0.6)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        width, depth = wish.room_mm
        pen = wish.pen_width_mm
        rise = self.height * depth
        ridges = self.ridges or max(6, min(90, int((depth - rise) / (4.2 * pen))))
        noise = Noise.of(rng, min(wish.room_mm) * 0.55, octaves=4, roughness=0.45)
        x = np.linspace(0.0, width, max(int(width / 0.4), 50))
        horizon = np.full(len(x), np.inf)
        crest = rng.uniform(0.3, 0.7) * width
        strokes: list[Points] = []
        for i in range(ridges):
            wish.report("raising dunes", i / ridges)
            share = i / max(ridges - 1, 1)  # 0 at the front
            # Rows are closer together towards the back, as in perspective.
            foot = depth - (depth - rise) * share * (1.25 - 0.25 * share)
            far = np.stack((x, np.full(len(x), share * depth * 0.9)), axis=-1)
            body = np.exp(-(((x - crest - (share - 0.5) * width * 0.3) / (0.30 * width)) ** 2))
            bump = np.maximum(noise.at(far) + 0.9, 0.0) ** 1.5 * 0.36
            line = foot - rise * body * bump * (0.35 + 0.65 * np.sin(np.pi * min(share * 0.85 + 0.1, 1.0)))
            strokes += _seen(x, line, horizon, pen)
            horizon = np.minimum(horizon, line - 1.5 * pen)
        return finished(strokes, wish, name="dunes", joins=False)


def _seen(x: Points, line: Points, horizon: Points, pen_width_mm: float) -> list[Points]:
    """The parts of a line above the horizon (y points down), with interpolated ends."""
    over = horizon - line  # positive: visible
    seen = over > 0
    parts: list[list[tuple[float, float]]] = [[]]
    for i in range(len(x)):
        if i and seen[i] != seen[i - 1] and np.isfinite(over[i]) and np.isfinite(over[i - 1]):
            t = float(over[i - 1] / (over[i - 1] - over[i]))
            at = (float(x[i - 1] + t * (x[i] - x[i - 1])), float(line[i - 1] + t * (line[i] - line[i - 1])))
            parts[-1].append(at)
            if seen[i - 1]:
                parts.append([])
        if seen[i]:
            parts[-1].append((float(x[i]), float(line[i])))
    return [np.array(part) for part in parts if len(part) > 1 and part[-1][0] - part[0][0] > 3 * pen_width_mm]
