"""One line: a single stroke through all stipples.

C. S. Kaplan and R. Bosch, "TSP art", Bridges 2005: a short path through stipples draws the picture without a pen lift.
Coverage is proportional to the length of line, and the length of a short path through points is proportional to the
square root of their density, so density follows the square of the tone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.picture import Report
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import Layer, ToneMethod
from linewright.sources.tone.stippling import PALEST, POINTS_HIGH, settled
from linewright.tidy.cost import BY_LENGTH
from linewright.tidy.tour import find_tour
from linewright.tidy.watcher import Watcher

MOST_UNASKED: Final = 200_000
"""Default limit of bends: a picture on A4 with a pen of 0.5 mm needs 50 000 to 150 000."""

DENSEST: Final = 1.1
"""Largest product of pen width and root of the density: it covers 0.972; solid ink would need two fifths more bends."""

LEAST_SHARE: Final = 0.9
"""Share of the needed bends below which the user is told that the picture becomes paler (by 5 % at this share)."""

CALIBRATION: Final = (
    (0.0, 0.0), (0.103, 0.1), (0.203, 0.2), (0.298, 0.3), (0.446, 0.45), (0.589, 0.6), (0.730, 0.75), (0.865, 0.9),
    (0.960, 1.05), (0.994, 1.2), (1.0, 1.3),
)  # fmt: skip
"""Coverage, and the product of pen width and root of density that gives it: measured on 2500 bends of constant tone, at
true width. Below 0.9 it is a path of 1.01 / sqrt(density) per bend that covers once; above, paths begin to overlap."""


@dataclass(frozen=True)
class OneLine(ToneMethod):
    """A single unbroken line."""

    points: int = settings.number("bends of the line; 0: as many as the tones need, 200 000 at most", 0, 0, POINTS_HIGH)
    rounds: int = settings.number("number of relaxation steps of the bends", 20, 1, 300)
    seed: int = settings.seed("seed of the random initial positions")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """One stroke; the longest segment of the closed path is left out."""
        field = layer.field
        wanted = np.where(field.coverage < PALEST, 0.0, field.coverage)
        dense = density(wanted, field.pen_mm)
        needed = float(dense.mean()) * field.width_mm * field.height_mm
        count = self.points or round(min(needed, MOST_UNASKED))
        if count < 2 or needed == 0:
            return []
        if count < LEAST_SHARE * needed:
            layer.note(
                f"with {count} bends the line comes out {np.sqrt(count / needed):.0%} as dark as wanted; "
                f"{round(needed)} would do, or a wider pen, or a smaller sheet"
            )
        spread = Field(dense.astype(np.float32), field.width_mm, field.height_mm, field.pen_mm)
        places = settled(spread, count, self.rounds, self.seed, layer.report, "placing bends")
        places = np.unique(places, axis=0)  # two bends at one place would make a segment of length 0
        return [way_through(places, layer.report)]


def density(coverage: NDArray[np.floating], pen_mm: float) -> NDArray[np.float64]:
    """Bends per mm^2 of a line with this coverage."""
    root = np.minimum(np.interp(coverage, *np.array(CALIBRATION).T), DENSEST)
    return np.asarray((root / pen_mm) ** 2)


def way_through(places: Points, report: Report) -> Points:
    """Different places (n, 2), in the order of a short path through all of them.

    It is a closed path without its longest segment.
    """
    ring = places[_way(places, report)]
    longest = int(np.argmax(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)))
    return np.roll(ring, -longest - 1, axis=0)


def _way(places: Points, report: Report) -> NDArray[np.int64]:
    """Order of a short closed path through bends, found like the order of dots for a pen.

    2- and 3-opt without kicks is 1 % longer than a result that takes forty times as long (10 000 stipples).
    """
    twice, none = np.repeat(places, 2, axis=0), np.zeros(len(places) + 1, dtype=np.int64)
    start = (float(places[0, 0]), float(places[0, 1]))
    watcher = Watcher(lambda _state, done: report("finding the line", done))
    tour = find_tour(twice, none, np.empty((0, 2)), start, start, BY_LENGTH, effort="quick", watcher=watcher)
    return np.asarray(tour.nodes // 2)
