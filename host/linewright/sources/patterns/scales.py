"""Scales: rows of ringed discs, each row covering the one behind it, like fish scales.

The visible part of each ring is computed exactly. Only the next row's two neighbours, and the one straight below, cover
a disc.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import finished
from linewright.sources.patterns.noise import Noise
from linewright.sources.picture import Picture, Wish


@dataclass(frozen=True)
class Scales:
    """Settings of the pattern."""

    seed: int = settings.seed()
    across: int = settings.number("scales along the shorter side; 0: the seed's choice", 0, 0, 80)
    rings: int = settings.number("lines of the fullest scale; 0: what suits the pen", 0, 0, 30)
    even: float = settings.number("1: all alike, 0: some full, some nearly empty", 0.25, 0.0, 1.0)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        across = self.across or int(rng.integers(5, 9))
        width, height = wish.room_mm
        # A scale is at least eight pens wide on any sheet.
        columns = max(1, round(width / max(min(wish.room_mm) / across, 8 * wish.pen_width_mm)))
        radius = width / columns / 2
        most = self.rings or max(1, min(9, int(radius / (2.4 * wish.pen_width_mm))))
        noise = Noise.of(rng, min(wish.room_mm) * 0.6, octaves=2)
        rows = math.ceil(height / (radius / 2)) + 2
        strokes: list[Points] = []
        for row in range(rows):
            y = row * radius / 2 + radius / 2
            wish.report("laying scales", row / rows)
            shift = radius * (row % 2)
            for column in range(-1, columns + 1):
                x = column * 2 * radius + radius + shift
                full = self.even + (1 - self.even) * (0.5 + 0.5 * math.tanh(1.2 * float(noise.at(np.array([x, y])))))
                count = max(1, round(most * full))
                rings = [_shown(x, y, radius * (1 - k / most), radius) for k in range(count)]
                strokes += _strung(rings, 2 * radius / most)
        return finished(strokes, wish, name="scales", joins=False)


def _shown(x: float, y: float, ring: float, radius: float) -> list[Points]:
    """The parts of a ring around (x, y) not covered by the discs below."""
    turn = np.linspace(0.0, math.tau, 181)
    line = np.column_stack((x + ring * np.cos(turn), y + ring * np.sin(turn)))
    hidden = np.zeros(len(line), dtype=bool)
    # The covering discs: the next row on both sides, the row after it straight below.
    for cx, cy in ((x - radius, y + radius / 2), (x + radius, y + radius / 2), (x, y + radius)):
        hidden |= np.hypot(line[:, 0] - cx, line[:, 1] - cy) < radius * (1 - 1e-9)
    if hidden.all():
        return []
    if not hidden.any():
        return [line]
    # Start where the ring is hidden, so that no visible part is split.
    first = int(np.argmax(hidden[:-1]))
    line, hidden = np.roll(line[:-1], -first, axis=0), np.roll(hidden[:-1], -first)
    shown = ~hidden
    begins = np.flatnonzero(shown & ~np.append(False, shown[:-1]))
    ends = np.flatnonzero(shown & ~np.append(shown[1:], False)) + 1
    return [line[a:b] for a, b in zip(begins, ends, strict=True) if b - a > 2]


def _strung(rings: list[list[Points]], near: float) -> list[Points]:
    """Rings joined there and back to one stroke: each step follows the edge of the covering disc, which is drawn
    anyway, so it does not show.
    """
    found: list[Points] = []
    for parts in rings:
        for part in parts:
            last = found[-1] if found and len(parts) == 1 else None
            if last is not None and float(np.hypot(*(last[-1] - part[-1]))) < near:
                found[-1] = np.vstack((last, part[::-1]))
            elif last is not None and float(np.hypot(*(last[-1] - part[0]))) < near:
                found[-1] = np.vstack((last, part))
            else:
                found.append(part)
    return found
