"""Pendulums: two that swing the pen and the table, and slowly come to rest (the harmonograph of the 19th century; L.
D'Arcy Ashton, "Harmonic Vibrations and Vibration Figures", 1909).

    x = sum of A_k sin(f_k t + p_k) exp(-d t),    y likewise,

with frequencies in nearly small whole ratios. Each swing is shorter by the factor exp(-d T) than the one before; the
drawing ends where two swings would come too close for the pen. Of a few random candidates, the least dense is drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.density import overfull
from linewright.sources.patterns.finish import finished
from linewright.sources.picture import Picture, Wish

RATIOS: Final = ((1, 1), (1, 2), (2, 3), (3, 4), (3, 5), (1, 3), (4, 5), (2, 5))
"""Simple musical intervals: figures with few loops."""

INK_SHARE: Final = 0.34
"""Largest share of the figure's box covered by the line, crossings counted twice."""

PROPOSALS: Final = 16


@dataclass(frozen=True)
class _Swings:
    """Parameters of one figure.

    Parameters
    ----------
    a, b : frequencies of the two pendulums.
    decay : relative loss of amplitude per swing.
    phases : (4,) float64.
    share : share of the first pendulum in x and of the second in y.
    """

    a: float
    b: float
    decay: float
    phases: Points
    share: float

    def line(self, swings: float, per_swing: int) -> Points:
        """(n, 2) float64: the figure for a number of swings."""
        t = np.linspace(0.0, swings * math.tau, int(swings * per_swing * max(self.a, self.b)) + 2)
        p, s = self.phases, self.share
        x = s * np.sin(self.a * t + p[0]) + (1 - s) * np.sin(self.b * t + p[1])
        y = s * np.sin(self.b * t + p[2]) + (1 - s) * np.sin(self.a * t + p[3])
        return np.asarray(np.column_stack((x, y)) * np.exp(-self.decay * t / math.tau)[:, None])


@dataclass(frozen=True)
class Pendulums:
    """Settings; 0 leaves a choice to the seed."""

    seed: int = settings.seed()
    ratio: str = settings.choice("frequency ratio of the two swings", "any", "any", *(f"{a}:{b}" for a, b in RATIOS))
    decay: float = settings.number("share of its swing lost with each swing; 0: the seed's choice", 0.0, 0.0, 0.2)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        proposals = [self._proposed(rng) for _ in range(PROPOSALS)]
        sketches = [_in_room(swings, wish, per_swing=50) for swings in proposals]
        best = min(range(PROPOSALS), key=lambda i: _fault(sketches[i], wish))
        return finished([_in_room(proposals[best], wish, per_swing=220)], wish, name="pendulums", joins=False)

    def _proposed(self, rng: np.random.Generator) -> _Swings:
        a, b = RATIOS[int(rng.integers(len(RATIOS)))]
        if self.ratio != "any":
            a, b = (int(n) for n in self.ratio.split(":"))
        detune = float(rng.choice([-1, 1]) * rng.uniform(0.0006, 0.003))
        decay = self.decay or float(rng.uniform(0.014, 0.030))
        return _Swings(a, b * (1 + detune), decay, rng.uniform(0.0, math.tau, 4), float(rng.uniform(0.6, 0.9)))


def _in_room(figure: _Swings, wish: Wish, *, per_swing: int) -> Points:
    """The figure scaled to its area, with a length that suits the pen."""
    half = np.array(wish.room_mm) / 2
    # At a radius r a swing loses r * decay, which must be at least two and a half pens.
    least = min(max(2.6 * wish.pen_width_mm / (float(half.min()) * figure.decay), 0.12), 0.8)
    line = figure.line(math.log(1 / least) / figure.decay, per_swing)
    low, high = line.min(axis=0), line.max(axis=0)
    # Scaled to the area, with at most a fifth of distortion.
    scale = 2 * half / np.maximum(high - low, 1e-9)
    scale = np.minimum(scale, scale.min() * 1.2)
    line = (line - (low + high) / 2) * scale + half
    run = np.cumsum(np.hypot(*np.diff(line, axis=0).T))
    inside = int(np.searchsorted(run, INK_SHARE * float(np.prod((high - low) * scale)) / wish.pen_width_mm))
    return np.asarray(line[: max(inside, 2)])


def _fault(line: Points, wish: Wish) -> float:
    """Badness of a figure: overlapping ink, and empty space."""
    size = np.ptp(line, axis=0) / np.array(wish.room_mm)
    return overfull([line], wish.pen_width_mm) + 0.4 * float(1 - size.min())
