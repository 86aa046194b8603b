"""Pendulums: two that swing the pen and the table, and slowly come to rest (the harmonograph of the 19th century; L.
D'Arcy Ashton, "Harmonic Vibrations and Vibration Figures", 1909).

    x = sum of A_k sin(f_k t + p_k) exp(-d t),    y likewise,

with frequencies in nearly small whole ratios. Each swing is shorter than the last by the factor exp(-d T); the drawing
ends where two swings would come closer than the pen is wide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.sources import settings
from linewright.sources.patterns.finish import finished
from linewright.sources.picture import Picture, Wish

RATIOS: Final = ((1, 1), (1, 2), (2, 3), (3, 4), (3, 5), (1, 3), (4, 5), (2, 5))
"""Simple musical intervals: the figures with few loops, which the eye can follow."""

INK_SHARE: Final = 0.38
"""Of the figure's box that the line may cover."""


@dataclass(frozen=True)
class Pendulums:
    """Settings; 0 leaves a choice to the seed."""

    seed: int = settings.number("which of them", 1, 0, 2**31)
    ratio: str = settings.choice("of the two swings", "any", "any", *(f"{a}:{b}" for a, b in RATIOS))
    decay: float = settings.number("share of its swing lost with each swing; 0: the seed's choice", 0.0, 0.0, 0.2)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its room; there is no source."""
        del source
        rng = np.random.default_rng(self.seed)
        chosen = RATIOS[int(rng.integers(len(RATIOS)))]
        a, b = chosen if self.ratio == "any" else (int(n) for n in self.ratio.split(":"))
        half = np.array(wish.room_mm) / 2
        reach = float(half.min())
        decay = self.decay or float(rng.uniform(0.014, 0.030))
        # A swing of the slower pendulum takes 2 pi; what it loses at a reach x is x * decay, two pens at least.
        detune = float(rng.choice([-1, 1]) * rng.uniform(0.0006, 0.003))
        least = min(max(2.2 * wish.pen_width_mm / (reach * decay), 0.12), 0.8)
        swings = math.log(1 / least) / decay
        t = np.linspace(0.0, swings * math.tau, int(swings * 220 * max(a, b)) + 1)
        fade = np.exp(-decay * t / math.tau)
        p = rng.uniform(0.0, math.tau, 4)
        share = float(rng.uniform(0.6, 0.9))
        x = share * np.sin(a * t + p[0]) + (1 - share) * np.sin(b * (1 + detune) * t + p[1])
        y = share * np.sin(b * (1 + detune) * t + p[2]) + (1 - share) * np.sin(a * t + p[3])
        line = np.column_stack((x, y)) * fade[:, None]
        low, high = line.min(axis=0), line.max(axis=0)
        # As large as the room, and no more than a fifth out of its proportion.
        scale = 2 * half / (high - low)
        scale = np.minimum(scale, scale.min() * 1.2)
        line = (line - (low + high) / 2) * scale + half
        # No more of it than leaves half of the paper white, each crossing counted twice.
        run = np.cumsum(np.hypot(*np.diff(line, axis=0).T))
        inside = int(np.searchsorted(run, INK_SHARE * float(np.prod((high - low) * scale)) / wish.pen_width_mm))
        return finished([line[: max(inside, 2)]], wish, name="pendulums", joins=False)
