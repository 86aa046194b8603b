"""Servo pulse for pen down at each place of the sheet, and where along a stroke it changes.

A sheet is never quite parallel to the rails, so one pen height does not suit all of it. The map is a grid of changes to
the pulse, interpolated linearly and constant beyond its edges.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.machine.shape import with_vertices

if TYPE_CHECKING:
    from linewright.drawing.strokes import Drawing
    from linewright.rig.rig import Rig

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

QUANTUM_US: Final = 5.0
"""Smallest change worth sending: the dead band of a hobby servo is 2 to 10 us (common practice)."""

SAMPLE_MM: Final = 2.0
"""Sampling distance along a stroke for finding where the pulse changes."""


@dataclass(frozen=True, eq=False)
class PenHeights:
    """A map of servo pulses.

    Parameters
    ----------
    down_us : pulse that the map changes.
    x_mm, y_mm : (c,) and (r,) float64, true places of columns and rows, ascending.
    change_us : (r, c) float64; all three empty: the sheet is level.
    """

    down_us: int
    x_mm: Floats
    y_mm: Floats
    change_us: Floats

    @classmethod
    def from_rig(cls, rig: Rig) -> PenHeights:
        """The map of a rig file."""
        known = rig.corrections.pen_height
        return cls(
            down_us=rig.pen.down_us,
            x_mm=np.array(known.x_mm, dtype=np.float64),
            y_mm=np.array(known.y_mm, dtype=np.float64),
            change_us=np.array(known.change_us, dtype=np.float64),
        )

    @property
    def level(self) -> bool:
        """Whether one pulse suits the whole sheet."""
        return self.change_us.size == 0

    def pulse_us(self, true_mm: Floats) -> NDArray[np.int64]:
        """(n,) int64, pulse at places (n, 2), changed in whole multiples of `QUANTUM_US`."""
        change = self._change_us(true_mm)
        return (self.down_us + np.rint(np.rint(change / QUANTUM_US) * QUANTUM_US)).astype(np.int64)

    def _change_us(self, true_mm: Floats) -> Floats:
        if self.level:
            return np.zeros(len(true_mm))
        column, across = _cell(self.x_mm, true_mm[:, 0])
        row, down = _cell(self.y_mm, true_mm[:, 1])
        next_column, next_row = np.minimum(column + 1, len(self.x_mm) - 1), np.minimum(row + 1, len(self.y_mm) - 1)
        grid = self.change_us
        top = grid[row, column] * (1.0 - across) + grid[row, next_column] * across
        bottom = grid[next_row, column] * (1.0 - across) + grid[next_row, next_column] * across
        return np.asarray(top * (1.0 - down) + bottom * down)

    def refined(self, drawing: Drawing) -> Drawing:
        """The same strokes with a vertex, accurate to `SAMPLE_MM`, wherever the pulse changes."""
        if self.level or drawing.vertices < 2:
            return drawing
        points = drawing.points_mm
        way = np.diff(points, axis=0)
        way[drawing.starts[1:-1] - 1] = 0.0
        parts = np.ceil(np.hypot(way[:, 0], way[:, 1]) / SAMPLE_MM).astype(np.int64)
        inner = np.maximum(parts - 1, 0)
        at = np.repeat(np.arange(len(inner)), inner)
        nth = np.arange(len(at)) - np.repeat(np.cumsum(inner) - inner, inner) + 1
        share = nth / parts[at]
        places = points[at] + way[at] * share[:, None]
        pulse = self.pulse_us(places)
        before = np.where(nth == 1, self.pulse_us(points)[at], np.concatenate(([0], pulse[:-1])))
        changes = pulse != before
        return with_vertices(drawing, at[changes], share[changes])

    def along(self, true_mm: Floats, stroke: Indices, rests: NDArray[np.bool_]) -> tuple[Indices, Indices]:
        """Ramps before which the pulse changes within a stroke, and the new pulses.

        Parameters
        ----------
        true_mm : (m, 2) float64, the pen's place before each ramp.
        stroke : (m,) int64, stroke that each ramp draws, -1 for travel.
        rests : (m,) bool, the pen stops before the ramp; the pulse does not change there.

        Returns
        -------
        (c,) int64 ramps before which it changes, never a stroke's first, and (c,) int64 pulses
        """
        none = np.zeros(0, dtype=np.int64)
        if self.level or not len(stroke):
            return none, none
        begins = np.concatenate(([True], stroke[1:] != stroke[:-1]))
        drawn = np.flatnonzero((stroke >= 0) & (begins | ~rests))
        pulse = self.pulse_us(true_mm[drawn])
        changes = np.concatenate(([False], pulse[1:] != pulse[:-1])) & ~begins[drawn]
        return drawn[changes], pulse[changes]


def _cell(places: Floats, at: Floats) -> tuple[Indices, Floats]:
    """(n,) index of the grid line below, and share of the distance to the next one, 0..1."""
    if len(places) == 1:
        return np.zeros(len(at), dtype=np.int64), np.zeros(len(at))
    below = np.clip(np.searchsorted(places, at, side="right") - 1, 0, len(places) - 2)
    share = (at - places[below]) / (places[below + 1] - places[below])
    return below, np.clip(share, 0.0, 1.0)
