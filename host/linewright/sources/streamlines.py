"""Evenly spaced streamlines: lines along given directions, at given distances.

B. Jobard and W. Lefer, "Creating evenly-spaced streamlines of arbitrary density", Visualization in Scientific Computing
1997: lines grow from seeds beside finished lines at the wanted distance, and end where they come closer to another line
than a share of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import compiled
from linewright.drawing.strokes import Points

CLOSES: Final = 0.25
"""Share of the wanted distance: a line that passes its seed this closely is closed."""

SLICE: Final = 20_000
"""Steps between two reports: a fraction of a second."""


class Directions(NamedTuple):
    """Directions and distances, on grids over an area.

    Parameters
    ----------
    cosine, sine : (rows, columns) float64, of twice the angle, so that opposite directions are equal;
        interpolated between cell centres.
    apart : float64, distance between lines, mm, on a grid of its own; constant per cell.
    size : (2,) float64, width and height of the area, mm.
    """

    cosine: Points
    sine: Points
    apart: NDArray[np.float64]
    size: Points


class Rule(NamedTuple):
    """Parameters of line growth.

    Parameters
    ----------
    seed_share : share of the wanted distance at which a new line may start.
    end_share : share of the wanted distance below which a line ends at another one. The paper's figure 5 shows 0.5 to
        0.9: smaller gives longer lines that are less evenly spaced.
    step_mm : step of the integration, by the midpoint rule.
    widest_mm : where the wanted distance is larger, no lines are drawn.
    shortest_mm : shorter lines are dropped.
    closes : a line that returns to its seed is closed; False: it ends before it, as at any other line.
    """

    seed_share: float
    end_share: float
    step_mm: float
    widest_mm: float
    shortest_mm: float
    closes: bool = False


def grow(
    directions: Directions, rule: Rule, seeds_mm: Points, *, bin_mm: float, report: Callable[[float], object]
) -> list[Points]:
    """Grow lines, each beside an earlier one.

    Parameters
    ----------
    seeds_mm : (k, 2) float64, further seeds, used in order when no place beside other lines is left.
    bin_mm : side of the bins for neighbour searches.
    report : called with the share done, 0 to 1.
    """
    rows, columns = directions.apart.shape
    cell_mm2 = float(directions.size[0] * directions.size[1]) / (rows * columns)
    points = float((cell_mm2 / np.maximum(directions.apart, rule.step_mm)).sum()) / rule.step_mm
    bed = _Bed.empty(directions.size, bin_mm, points)
    while _grow(bed, directions, rule, seeds_mm, SLICE):
        at = bed.state
        done = 0.5 * float(at[2]) / max(1, at[1]) + 0.5 * float(at[3]) / max(1, len(seeds_mm))
        report(min(0.99, done))
    return bed.lines()


class _Bed(NamedTuple):
    """Storage for the points of all lines, binned by position, as flat arrays for compiled code.

    Parameters
    ----------
    points, line, arc : position of each point, mm, its line, and its distance along the line from the seed, mm.
    after, first : the next point in the same bin, and the first point of each bin; -1: none.
    begins : first point of each line.
    state : number of points and of lines, the line whose sides are searched next, the next further seed, and the
        position along that line.
    side : side of a bin, mm.
    """

    points: Points
    line: NDArray[np.int64]
    arc: Points
    after: NDArray[np.int64]
    first: NDArray[np.int64]
    begins: NDArray[np.int64]
    state: NDArray[np.int64]
    side: float

    @classmethod
    def empty(cls, size: Points, side: float, expected: float) -> _Bed:
        room = int(2 * expected) + 20_000
        across, down = int(size[0] / side) + 1, int(size[1] / side) + 1
        return cls(
            points=np.zeros((room, 2)),
            line=np.zeros(room, dtype=np.int64),
            arc=np.zeros(room),
            after=np.full(room, -1, dtype=np.int64),
            first=np.full((down, across), -1, dtype=np.int64),
            begins=np.zeros(room // 4 + 2, dtype=np.int64),
            state=np.zeros(5, dtype=np.int64),
            side=side,
        )

    def lines(self) -> list[Points]:
        """The points of every line, in order."""
        count = int(self.state[1])
        if not count:
            return []
        points = _along(self, count)
        ends = self.begins[: count + 1].tolist()
        return [points[begin:end] for begin, end in pairwise(ends)]


@compiled
def _along(bed: _Bed, count: int) -> Points:  # pragma: no cover
    """The points of the first ``count`` lines, each from one end to the other.

    A line is stored as it grew: from its seed in one direction, then in the other.
    """
    points, arc, begins = bed.points, bed.arc, bed.begins
    found = np.empty((begins[count], 2))
    for line in range(count):
        begin, end = begins[line], begins[line + 1]
        middle = begin + 1
        while middle < end and arc[middle] > 0.0:
            middle += 1
        for i in range(middle, end):
            found[begin + end - 1 - i] = points[i]
        for i in range(begin, middle):
            found[end - middle + i] = points[i]
    return found


@compiled
def heading(x: float, y: float, given: Directions, hx: float, hy: float) -> tuple[float, float]:  # pragma: no cover
    """Unit direction at a place, of the two opposite ones the one closer to (hx, hy)."""
    cosine, sine, size = given.cosine, given.sine, given.size
    rows, columns = cosine.shape
    u = min(max(x / size[0] * columns - 0.5, 0.0), columns - 1.0)
    v = min(max(y / size[1] * rows - 0.5, 0.0), rows - 1.0)
    i, j = min(int(v), max(rows - 2, 0)), min(int(u), max(columns - 2, 0))
    i1, j1 = min(i + 1, rows - 1), min(j + 1, columns - 1)
    fv, fu = v - i, u - j
    c = (cosine[i, j] * (1 - fu) + cosine[i, j1] * fu) * (1 - fv) + (
        cosine[i1, j] * (1 - fu) + cosine[i1, j1] * fu
    ) * fv
    s = (sine[i, j] * (1 - fu) + sine[i, j1] * fu) * (1 - fv) + (sine[i1, j] * (1 - fu) + sine[i1, j1] * fu) * fv
    # The half-angle formula without cancellation; sines and arcs would be slower.
    length = math.sqrt(c * c + s * s)
    if length == 0.0:
        dx, dy = 1.0, 0.0
    elif c >= 0.0:
        dx = math.sqrt(0.5 * (1.0 + c / length))
        dy = 0.5 * s / length / dx
    else:
        dy = math.sqrt(0.5 * (1.0 - c / length))
        dx = 0.5 * s / length / dy
    if dx * hx + dy * hy < 0:
        return -dx, -dy
    return dx, dy


@compiled
def _near(x: float, y: float, limit: float, line: int, arc: float, own: float, bed: _Bed) -> bool:  # pragma: no cover
    """Whether a point is closer than ``limit`` to a stored one; on its own line only points more than ``own`` away
    along it count.
    """
    points, line_of, arc_of, after, first, side = bed.points, bed.line, bed.arc, bed.after, bed.first, bed.side
    down, across = first.shape
    low_u, high_u = max(0, int((x - limit) / side)), min(across - 1, int((x + limit) / side))
    low_v, high_v = max(0, int((y - limit) / side)), min(down - 1, int((y + limit) / side))
    for v in range(low_v, high_v + 1):
        for u in range(low_u, high_u + 1):
            i = first[v, u]
            while i >= 0:
                if (points[i, 0] - x) ** 2 + (points[i, 1] - y) ** 2 < limit * limit and (
                    line_of[i] != line or abs(arc_of[i] - arc) > own
                ):
                    return True
                i = after[i]
    return False


@compiled
def _grow(bed: _Bed, given: Directions, rule: Rule, spare: Points, budget: int) -> bool:  # pragma: no cover
    """Grow lines until about ``budget`` points have been tried; False when no place is left."""
    points, line_of, arc_of, after, first = bed.points, bed.line, bed.arc, bed.after, bed.first
    begins, state, side = bed.begins, bed.state, bed.side
    apart, size = given.apart, given.size
    step, widest = rule.step_mm, rule.widest_mm
    rows, columns = apart.shape
    tried = 0
    while tried < budget:
        # The next seed: beside a finished line, left and right of each of its points, or a further seed.
        if state[2] < state[1]:
            i = state[4] // 2
            if i < begins[state[2]]:
                i = begins[state[2]]
                state[4] = 2 * i
            if i >= begins[state[2] + 1]:
                state[2] += 1
                continue
            hand = 1.0 if state[4] % 2 == 0 else -1.0
            state[4] += 1
            px, py = points[i, 0], points[i, 1]
            dx, dy = heading(px, py, given, 1.0, 0.0)
            gap = apart[min(rows - 1, int(py / size[1] * rows)), min(columns - 1, int(px / size[0] * columns))]
            x, y = px - hand * dy * gap * rule.seed_share * 1.01, py + hand * dx * gap * rule.seed_share * 1.01
        elif state[3] < len(spare):
            x, y = spare[state[3], 0], spare[state[3], 1]
            state[3] += 1
        else:
            return False
        tried += 1
        if x < 0 or y < 0 or x > size[0] or y > size[1]:
            continue
        gap = apart[min(rows - 1, int(y / size[1] * rows)), min(columns - 1, int(x / size[0] * columns))]
        if gap > widest or _near(x, y, gap * rule.seed_share, -1, 0.0, 0.0, bed):
            continue
        number, begin = state[1], state[0]
        if number + 2 >= len(begins):
            return False
        # Grow both ways.
        length = 0.0
        sx, sy = x, y
        hx, hy = heading(sx, sy, given, 1.0, 0.0)
        ring = False
        for way in (1.0, -1.0):
            if ring:
                break
            x, y, gx, gy = sx, sy, way * hx, way * hy
            arc = 0.0
            while True:
                if arc != 0.0 or way > 0:
                    n = state[0]
                    if n >= len(points):
                        return False
                    points[n, 0], points[n, 1], line_of[n], arc_of[n] = x, y, number, arc
                    u, v = min(int(x / side), first.shape[1] - 1), min(int(y / side), first.shape[0] - 1)
                    after[n] = first[v, u]
                    first[v, u] = n
                    state[0] += 1
                if ring:
                    break
                dx, dy = heading(x, y, given, gx, gy)
                mx, my = x + 0.5 * step * dx, y + 0.5 * step * dy
                dx, dy = heading(mx, my, given, dx, dy)
                x, y, gx, gy = x + step * dx, y + step * dy, dx, dy
                arc += way * step
                tried += 1
                if x < 0 or y < 0 or x > size[0] or y > size[1] or abs(arc) > 4 * (size[0] + size[1]):
                    break
                gap = apart[min(rows - 1, int(y / size[1] * rows)), min(columns - 1, int(x / size[0] * columns))]
                if gap > widest:
                    break
                limit = gap * rule.end_share
                if _near(x, y, limit, number, arc, 3 * gap + step, bed):
                    ahead, beside = (sx - x) * dx + (sy - y) * dy, (sx - x) * dy - (sy - y) * dx
                    ring = way > 0 and rule.closes and 0 < ahead < 1.5 * gap and abs(beside) < CLOSES * gap
                    if not ring:
                        break
                    x, y = sx, sy  # repeats the point and ends the line
            length += abs(arc)
        if length < rule.shortest_mm:
            # Too short: remove its points, last one first.
            while state[0] > begin:
                n = state[0] - 1
                u = min(int(points[n, 0] / side), first.shape[1] - 1)
                v = min(int(points[n, 1] / side), first.shape[0] - 1)
                first[v, u] = after[n]
                state[0] -= 1
            continue
        state[1] += 1
        begins[number + 1] = state[0]
    return True
