"""Heads: the seeds of a sunflower (H. Vogel, "A better way to construct the sunflower head", Math. Biosciences 44,
1979): the n-th seed at the radius c sqrt(n) and the angle n times 137.508 degrees, drawn as drops that grow toward the
edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import finished
from linewright.sources.picture import Picture, Wish

GOLDEN_ANGLE: Final = math.pi * (3 - math.sqrt(5))
"""2.39996 rad, 137.508 degrees: the full turn divided in the golden ratio."""


@dataclass(frozen=True)
class Heads:
    """Settings of the pattern."""

    seed: int = settings.seed()
    seeds: int = settings.number("how many; 0: what suits pen and sheet", 0, 0, 5000)
    kind: str = settings.choice(
        "shape of each seed; any: the seed's choice", "any", "any", "petals", "rings", "lattice"
    )

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        kind = str(rng.choice(["petals", "rings", "lattice"])) if self.kind == "any" else self.kind
        radius = min(wish.room_mm) / 2
        # A seed occupies pi c^2; its drop needs at least five pens across.
        most = int((radius / (3.2 * wish.pen_width_mm)) ** 2)
        count = self.seeds or max(8, min(most, int(rng.integers(250, 700))))
        c = radius / (math.sqrt(count) + 1.1)  # the outermost drop is 1.05 c long
        places = vogel(count, c)
        middle = np.array(wish.room_mm) / 2
        draw = {"petals": _petals, "rings": _rings, "lattice": _lattice}[kind]
        return finished([line + middle for line in draw(places, c, wish.pen_width_mm)], wish, name="heads", joins=False)


def vogel(count: int, c: float) -> Points:
    """(count, 2) float64: Vogel's positions, from the centre outward."""
    n = np.arange(1, count + 1)
    return np.asarray(c * np.sqrt(n)[:, None] * np.column_stack((np.cos(n * GOLDEN_ANGLE), np.sin(n * GOLDEN_ANGLE))))


def _petals(places: Points, c: float, pen_width_mm: float) -> list[Points]:
    """A pointed drop at each position, its tip outward; small in the centre."""
    t = np.linspace(0.0, math.tau, 49)
    drop = np.column_stack((np.cos(t), 0.62 * np.sin(t) * np.sin(t / 2) ** 1.3))
    lines = []
    for i, place in enumerate(places):
        away = place / np.hypot(*place)
        size = max(c * 1.05 * (0.45 + 0.55 * math.sqrt((i + 1) / len(places))), 1.6 * pen_width_mm)
        turned = drop @ np.array([away, [-away[1], away[0]]]) * size
        lines.append(np.vstack((turned[:-1], turned[:1])) + place)
    return lines


def _rings(places: Points, c: float, pen_width_mm: float) -> list[Points]:
    """A coil at each position: circles, wider toward the edge, wound as densely as the pen allows."""
    lines = []
    for i, place in enumerate(places):
        radius = max(c * 0.70 * (0.35 + 0.65 * math.sqrt((i + 1) / len(places))), 1.2 * pen_width_mm)
        pitch = 2.4 * pen_width_mm
        turns = 1 + max(0.0, (radius - 1.5 * pen_width_mm) / pitch) * (1 - math.sqrt((i + 1) / len(places)))
        t = np.linspace(0.0, turns * math.tau, int(turns * 40) + 1)
        reach = radius - pitch * np.maximum(t / math.tau - 1, 0.0)
        lines.append(place + np.column_stack((np.cos(t), np.sin(t))) * reach[:, None])
    return lines


def _lattice(places: Points, c: float, pen_width_mm: float) -> list[Points]:
    """The visible spirals (parastichies): every 21st seed joined in one direction and every 34th in the other."""
    lines = []
    n = np.arange(len(places)) + 1.0
    first = int(max(8, (6 * pen_width_mm / c) ** 2))
    for step in (21, 34):
        for start in range(step):
            along = n[max(start, first + (start - first) % step) :: step]
            if len(along) < 2:
                continue
            # Between two seeds the spiral is interpolated in n, with the rotation of this family.
            fine = np.linspace(along[0], along[-1], (len(along) - 1) * 8 + 1)
            turn = along[0] * GOLDEN_ANGLE + (fine - along[0]) * _turn_of(step) / step
            lines.append(c * np.sqrt(fine)[:, None] * np.column_stack((np.cos(turn), np.sin(turn))))
    return lines


def _turn_of(step: int) -> float:
    """Angle from a seed to the one ``step`` later, within half a turn."""
    return math.remainder(step * GOLDEN_ANGLE, math.tau)
