"""The measured geometric errors of a machine, and the map between pen position and drive position.

Three positions are distinguished. The *true* position is that of the pen on the sheet, in machine mm. The *carriage*
position is measured along its two rails, mm from the homed zero: a squareness error tilts the y rail towards x, and a
straightness error pushes the pen aside. The *drive* position is what the motors count; it differs from the carriage
position by the backlash of the axes. (Scale errors are part of the rig's steps per mm.)

::

    x = qx + tan(squareness) qy + sy(qy)        y = qy + sx(qx)

``sx`` and ``sy`` are straightness deviations as in ISO 230-1: the sideways deviation of the pen along an axis,
interpolated linearly between the given places and zero at the homed zero. These two formulas give the pen position of a
carriage position; the inverse is computed by fixed-point iteration.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing
from linewright.machine.play import engaged_at, first_sense, follow, lag

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Pair = tuple[float, float]
Table = tuple[Pair, ...]

REACH_SLACK_MM: Final = 1e-6
"""Tolerance for rounding: scaled and clipped coordinates are off by a few 1e-13."""

ROUNDS: Final = 10
"""Each iteration of the inverse multiplies the error by at most 0.05 (0.087 + 0.05) < 0.01, with the steepest tables
and the largest squareness error that a rig file allows. Ten rounds leave 1e-20 m."""


@dataclass(frozen=True)
class MachineShape:
    """Measured geometric errors of a machine; the default has none.

    Parameters
    ----------
    lean : tangent of the squareness error, positive where the y axis tilts towards +x.
    straight_x, straight_y : (place along the axis, deviation across it), mm, places ascending; empty: straight.
    play_mm : backlash of x and y.
    home_sense : direction of the last homing motion of each axis, 1 or -1: the side on which backlash is taken up at
        the homed zero.
    reach_mm : travel of x and y, mm of carriage.
    """

    lean: float = 0.0
    straight_x: Table = ()
    straight_y: Table = ()
    play_mm: Pair = (0.0, 0.0)
    home_sense: tuple[int, int] = (1, 1)
    reach_mm: Pair = (math.inf, math.inf)

    @property
    def bends(self) -> bool:
        """Whether the pen position differs from the carriage position anywhere."""
        return bool(self.lean or self.straight_x or self.straight_y)

    @property
    def plays(self) -> bool:
        """Whether an axis has backlash."""
        return any(self.play_mm)

    # Places

    def true_mm(self, carriage_mm: Floats) -> Floats:
        """(n, 2) float64, pen positions, mm, for carriage positions (n, 2)."""
        if not self.bends:
            return carriage_mm
        qx, qy = carriage_mm.T
        return np.column_stack((qx + self.lean * qy + _aside(self.straight_y, qy), qy + _aside(self.straight_x, qx)))

    def carriage_mm(self, true_mm: Floats) -> Floats:
        """(n, 2) float64, carriage positions that bring the pen to ``true_mm`` (n, 2)."""
        if not self.bends:
            return true_mm
        x, y = true_mm.T
        qx, qy = x, y
        for _ in range(ROUNDS if self.straight_x else 1):
            qy = y - _aside(self.straight_x, qx)
            qx = x - self.lean * qy - _aside(self.straight_y, qy)
        return np.column_stack((qx, qy))

    def carriage_at(self, drive_mm: Floats, restart: tuple[NDArray[np.int64], Floats] | None = None) -> Floats:
        """(n, 2) float64, carriage positions along one uninterrupted path of the drives (n, 2) that starts where homing
        ends.

        ``restart``: places (k,) in the path at which the carriage is known, and its positions there (k, 2).
        """
        if not self.plays:
            return drive_mm
        columns = []
        for axis in (0, 1):
            half = self.play_mm[axis] / 2.0
            shift = self.home_sense[axis] * half
            begin = float(drive_mm[0, axis])
            known = None if restart is None else (restart[0], restart[1][:, axis])
            columns.append(follow(drive_mm[:, axis] + shift, half, begin, known))
        return np.column_stack(columns)

    @property
    def room_mm(self) -> tuple[Pair, Pair]:
        """Lowest and highest drive positions: the travel, extended by the backlash on the side away from home."""
        low = tuple(-play if sense > 0 else 0.0 for play, sense in zip(self.play_mm, self.home_sense, strict=True))
        high = tuple(
            reach + (play if sense < 0 else 0.0)
            for reach, play, sense in zip(self.reach_mm, self.play_mm, self.home_sense, strict=True)
        )
        return (low[0], low[1]), (high[0], high[1])

    @property
    def box_mm(self) -> tuple[float, float, float, float]:
        """The largest upright box of pen positions, x0, y0, x1, y1, mm, that the carriage can reach."""
        far_x, far_y = self.reach_mm
        if not self.bends:
            return (0.0, 0.0, far_x, far_y)
        # The tables are piecewise linear, so the extremes are at their places.
        x = np.clip([0.0, far_x, *(at for at, _ in self.straight_x)], 0.0, far_x)
        y = np.clip([0.0, far_y, *(at for at, _ in self.straight_y)], 0.0, far_y)

        def rim_mm(qx: Floats | float, qy: Floats | float, axis: int) -> Floats:
            return self.true_mm(np.column_stack(np.broadcast_arrays(np.atleast_1d(qx), np.atleast_1d(qy))))[:, axis]

        return (
            float(rim_mm(0.0, y, 0).max()),
            float(rim_mm(x, 0.0, 1).max()),
            float(rim_mm(far_x, y, 0).min()),
            float(rim_mm(x, far_y, 1).min()),
        )

    @property
    def stretch(self) -> float:
        """Upper bound of the ratio of pen travel to carriage travel."""
        p = abs(self.lean) + _steepest(self.straight_y)
        return float(np.linalg.norm(np.array([[1.0, p], [_steepest(self.straight_x), 1.0]]), 2)) if self.bends else 1.0

    # Strokes

    def refined(self, drawing: Drawing) -> Drawing:
        """The same strokes with added vertices wherever the drives' path has a corner: see `drives`.

        Parameters
        ----------
        drawing : true mm, at least one stroke.
        """
        # Twice, because a line along one axis may bend back and forth over a place of the other's table.
        for axis, table in 2 * ((0, self.straight_x), (1, self.straight_y)):
            if table:
                drawing = with_vertices(drawing, *self._crossings(drawing.points_mm, axis, table))
        for axis in (0, 1):
            if self.play_mm[axis]:
                place = self.carriage_mm(drawing.points_mm)[:, axis]
                sense = first_sense(place, drawing.starts, self.home_sense[axis])
                drawing = with_vertices(drawing, *engaged_at(place, drawing.starts, sense))
        return drawing

    def _crossings(self, points: Floats, axis: int, table: Table) -> tuple[Indices, Floats]:
        """Segments that cross a position of the axis's table, and each crossing as a fraction of its segment, strictly
        between 0 and 1.
        """
        places = np.array([at for at, _ in table])
        along = self.carriage_mm(points)[:, axis]
        begin, end = along[:-1], along[1:]
        first = np.searchsorted(places, np.minimum(begin, end), side="right")
        count = np.maximum(np.searchsorted(places, np.maximum(begin, end), side="left") - first, 0)
        at = np.repeat(np.arange(len(count)), count)
        place = places[np.repeat(first - np.cumsum(count) + count, count) + np.arange(len(at))]
        share = (place - begin[at]) / (end[at] - begin[at])
        # The axis position is not exactly linear along the segment. Every second iteration multiplies the error by the
        # square of the slopes, below 0.02.
        for _ in range(4):
            there = self.carriage_mm(points[at] * (1.0 - share[:, None]) + points[at + 1] * share[:, None])[:, axis]
            share = np.clip(share + (place - there) / (end[at] - begin[at]), 0.0, 1.0)
        inside = (share > 0.0) & (share < 1.0)
        return at[inside], share[inside]

    def drives(self, drawing: Drawing) -> tuple[Drawing, Floats]:
        """Drive positions that make the pen draw the strokes.

        Parameters
        ----------
        drawing : true mm, `refined`.

        Returns
        -------
        The strokes in mm of drive, vertex by vertex, and (k, 2) float64, the sense in which each axis must be engaged
        when a stroke begins: 1 or -1, 0 for an axis without play.
        """
        place = self.carriage_mm(drawing.points_mm)
        senses = np.zeros((len(drawing), 2))
        if self.plays and len(drawing):
            place = place.copy()
            for axis in (0, 1):
                play, home = self.play_mm[axis], self.home_sense[axis]
                if play:
                    senses[:, axis] = first_sense(place[:, axis], drawing.starts, home)
                    place[:, axis] += play / 2.0 * (lag(place[:, axis], drawing.starts, senses[:, axis]) - home)
        return replace(drawing, points_mm=place), senses


def _aside(table: Table, along: Floats) -> Floats | float:
    """(n,) sideways deviation of the pen at positions along an axis, mm, relative to the homed zero."""
    if not table:
        return 0.0
    places, off = np.array(table).T
    return np.asarray(np.interp(along, places, off) - np.interp(0.0, places, off))


def _steepest(table: Table) -> float:
    if len(table) < 2:
        return 0.0
    places, off = np.array(table).T
    return float(np.abs(np.diff(off) / np.diff(places)).max())


def with_vertices(drawing: Drawing, at: Indices, share: Floats) -> Drawing:
    """The same strokes with vertices inserted on their segments.

    Parameters
    ----------
    at : (m,) int64, index of the segment's first vertex; gaps between strokes are skipped.
    share : (m,) float64, share of the segment, between 0 and 1.
    """
    between = np.zeros(max(drawing.vertices, 1), dtype=np.bool_)
    between[drawing.starts[1:] - 1] = True
    use = ~between[at]
    order = np.lexsort((share[use], at[use]))
    at, share = at[use][order], share[use][order, None]
    if not len(at):
        return drawing
    points = drawing.points_mm
    more = points[at] * (1.0 - share) + points[at + 1] * share
    starts = drawing.starts + np.searchsorted(at, drawing.starts - 1, side="right")
    return replace(drawing, points_mm=np.insert(points, at + 1, more, axis=0), starts=starts)
