"""Currents: evenly spaced lines along a divergence-free flow.

The flow follows the contours of a smooth height field and circles a few eddies; `linewright.sources.streamlines` grows
the lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import distance_mm, finished
from linewright.sources.patterns.noise import Noise
from linewright.sources.picture import Picture, Wish
from linewright.sources.streamlines import Directions, Rule, grow

BESIDE: Final = 0.99
"""Share of the spacing at which a line may start."""

CLOSEST: Final = 0.72
"""Share of the spacing at which a line ends; 0.5 leaves darker bands where lines converge."""

SHORTEST: Final = 7.0
"""Shorter lines, in spacings, are dropped: each costs a pen lift and looks like dirt."""

STEP: Final = 0.4
"""Integration step, as a share of the spacing: small enough to detect every neighbour within `CLOSEST`."""

STARTS: Final = ((0.5, 0.5), (0.2, 0.2), (0.8, 0.2), (0.2, 0.8), (0.8, 0.8))
"""Seeds of the first lines, in shares of the area."""


@dataclass(frozen=True)
class Currents:
    """Settings of the pattern."""

    seed: int = settings.seed()
    spacing_mm: float = settings.number("from line to line; 0: what suits pen and sheet", 0.0, 0.0, 100.0, "mm")
    eddies: int = settings.number("whirls in the flow", 3, 0, 20)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        spacing = distance_mm(self.spacing_mm, wish, pens=3.2, least_mm=min(wish.room_mm) / 110)
        flow = Flow(rng, wish.room_mm, self.eddies)
        lines = streamlines(flow, wish, spacing)
        return finished(lines, wish, name="currents", joins=False)


class Flow:
    """A flow on a fine grid.

    Parameters
    ----------
    room_mm : width and height of the area.
    eddies : number of eddies.
    """

    def __init__(self, rng: np.random.Generator, room_mm: tuple[float, float], eddies: int) -> None:
        size = min(room_mm)
        noise = Noise.of(rng, size * 1.3, octaves=2, roughness=0.3)
        cell = max(size, max(room_mm) / 4) / 160
        x, y = ((np.arange(count := int(side / cell) + 3) + 0.5) * side / count for side in room_mm)
        places = np.stack(np.meshgrid(x, y), axis=-1)
        slope = noise.slope_at(places) * size
        field = np.stack((slope[..., 1], -slope[..., 0]), axis=-1)
        for _ in range(eddies):
            middle = rng.uniform(0.15, 0.85, 2) * room_mm
            reach = rng.uniform(0.10, 0.22) * size
            sense = float(rng.choice([-1.0, 1.0])) * 14
            away = places - middle
            pull = np.exp(-(away**2).sum(axis=-1) / (2 * reach**2)) * sense / reach
            field += np.stack((-away[..., 1], away[..., 0]), axis=-1) * pull[..., None]
        across, down = field[..., 0], field[..., 1]
        square = np.maximum(across**2 + down**2, 1e-18)
        self._double = ((across**2 - down**2) / square, 2 * across * down / square)
        self._size = np.array(room_mm)

    def directions(self, spacing_mm: float) -> Directions:
        """The flow as `Directions`, with constant spacing."""
        return Directions(*self._double, np.array([[spacing_mm]]), self._size)


def streamlines(flow: Flow, wish: Wish, spacing_mm: float) -> list[Points]:
    """Lines of the flow, evenly spaced over the area."""
    return grow(
        flow.directions(spacing_mm),
        Rule(BESIDE, CLOSEST, STEP * spacing_mm, math.inf, SHORTEST * spacing_mm, closes=True),
        np.array(STARTS) * wish.room_mm,
        bin_mm=spacing_mm,
        report=lambda done: wish.report("laying lines", done),
    )
