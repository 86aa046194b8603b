"""Ripples: rings around stones that fell into still water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from linewright.drawing.strokes import Drawing
from linewright.sources import settings
from linewright.sources.picture import Picture, Wish


@dataclass(frozen=True)
class Ripples:
    """Settings of the pattern."""

    about: ClassVar[str] = "rings around stones in still water"
    takes: ClassVar[str] = "seed"

    seed: int = settings.seed()
    stones: int = settings.number("stones that fell in", 3, 1, 40)
    spacing_mm: float = settings.number("between rings", 3.0, 1.0, 20.0, "mm")

    def read(self, source: str, wish: Wish) -> Picture:
        """The rings of every stone, as far as they lie whole in the room."""
        del source  # a pattern grows from its seed
        rng = np.random.default_rng(self.seed)
        width, height = wish.room_mm
        around = np.linspace(0.0, 2.0 * np.pi, 73)
        circle = np.column_stack((np.cos(around), np.sin(around)))
        strokes = []
        for number in range(self.stones):
            wish.report("dropping stones", number / self.stones)
            x, y = rng.uniform((0.2 * width, 0.2 * height), (0.8 * width, 0.8 * height))
            reach = min(x, y, width - x, height - y, rng.uniform(0.1, 0.5) * width)
            strokes += [circle * radius + (x, y) for radius in np.arange(self.spacing_mm, reach, self.spacing_mm)]
        return Picture(Drawing.from_strokes(strokes), width, height)
