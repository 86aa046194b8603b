"""Follows lines along the crests of a line measure, strongest first.

A line starts where the measure is highest and follows the local direction both ways, kept on the crest (K. G. Steger,
"An unbiased detector of curvilinear structures", IEEE PAMI 20, 1998, has the parabola across it), until the measure
falls below a lower bound. It crosses gaps and existing lines straight on, and ends at a line that it merges with. So a
silhouette is one stroke, nothing is drawn twice, and ends have none of the hooks of thinned pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import compiled
from linewright.drawing.strokes import Points
from linewright.sources.photograph import Floats32
from linewright.sources.tone.trace import Chain

TURN: Final = 0.3
"""Largest turn, radians per pixel: a radius of three pixels, slightly more than a pen."""

RECENTRE: Final = 0.4
"""Share of the distance to the crest that each step corrects; all of it would follow the grain."""


LEAP_FROM: Final = 12
"""Distance before an end, in pixels, from which the direction across a gap is taken."""


@dataclass(frozen=True)
class Pursuit:
    """Parameters of line following; lengths in pixels.

    Parameters
    ----------
    strong : measure at which a line starts.
    weak : measure at which it ends.
    gap_px : longest gap that is crossed.
    apart_px : distance beside a line within which no other is followed.
    least_px : shorter lines are dropped.
    smear_px : standard deviation of the averaging along lines in the measure: ends are cut back to where the
        measure is half of that within the line, which is the true end.
    """

    strong: float
    weak: float
    gap_px: float
    apart_px: float
    least_px: float
    smear_px: float = 0.0


def crests(measure: Floats32, cosine: Points, sine: Points, how: Pursuit) -> list[Chain]:
    """Lines, each (n, 2) x, y in pixels with integer pixel centres; a closed one ends where it begins.

    Parameters
    ----------
    measure : (h, w) strength of a line at each place.
    cosine, sine : double angle of the direction, (h, w) each.
    """
    on_crest = _on_crest(measure, cosine, sine)
    begins = np.flatnonzero(on_crest.ravel() & (measure.ravel() >= how.strong))
    begins = begins[np.argsort(-measure.ravel()[begins], kind="stable")]
    # Lines keep apart, so all of them together have fewer points than there are pixels.
    points = np.zeros((measure.size + 16, 2))
    ends = np.zeros(len(begins) + 1, dtype=np.int64)
    count = _pursue(
        np.ascontiguousarray(measure, dtype=np.float32), cosine, sine, begins, how.weak,
        int(np.ceil(how.gap_px)), float(how.apart_px), int(np.ceil(how.least_px)), points, ends,
    )  # fmt: skip
    lines = [points[ends[i] : ends[i + 1]] for i in range(count)]
    lines = [_ended(line, measure, how.smear_px) for line in lines]
    return [line.copy() for line in lines if len(line) >= max(2, how.least_px)]


def _ended(line: Chain, measure: Floats32, smear_px: float) -> Chain:
    """The line without the extension that averaging adds at its ends."""
    from scipy import ndimage

    reach = int(3 * smear_px)
    if not reach or len(line) < 4 * reach or (line[0] == line[-1]).all():
        return line
    cut = [0, 0]
    for side, from_end in enumerate((line, line[::-1])):
        values = ndimage.map_coordinates(measure, from_end[: 2 * reach].T[::-1], order=1, mode="nearest")
        cut[side] = int(np.argmax(values >= 0.5 * np.median(values[reach:])))
    return line[cut[0] : len(line) - cut[1]]


def _on_crest(measure: Floats32, cosine: Points, sine: Points) -> NDArray[np.bool_]:
    """(h, w) local maxima across the direction."""
    from scipy import ndimage

    rows, columns = np.indices(measure.shape, dtype=np.float32)
    angle = (0.5 * np.arctan2(sine, cosine)).astype(np.float32)
    dx, dy = -np.sin(angle), np.cos(angle)
    sides = [
        ndimage.map_coordinates(measure, [rows + step * dy, columns + step * dx], order=1, mode="nearest")
        for step in (-1, 1)
    ]
    return np.asarray((measure >= sides[0]) & (measure >= sides[1]))


@compiled
def _pursue(
    measure: Floats32, cosine: Points, sine: Points, begins: NDArray[np.int64], weak: float, gap: int, apart: float,
    least: int, points: Points, ends: NDArray[np.int64],
) -> int:  # fmt: skip  # pragma: no cover
    """Follow lines from ``begins``; returns their number. Line i is in ``points[ends[i] : ends[i + 1]]``."""
    rows, columns = measure.shape
    owner = np.zeros((rows, columns), np.int64)
    longest = rows * columns
    ahead, back = np.zeros((longest, 2)), np.zeros((longest, 2))
    count = 0
    for begin in begins:
        i, j = begin // columns, begin % columns
        if owner[i, j] != 0:
            continue
        own = count + 1
        angle = 0.5 * np.arctan2(sine[i, j], cosine[i, j])
        n_ahead, closed = _follow(measure, cosine, sine, owner, own, float(j), float(i), angle, weak, gap, apart, ahead)
        n_back = 0
        if not closed:
            n_back, _ = _follow(
                measure, cosine, sine, owner, own, float(j), float(i), angle + np.pi, weak, gap, apart, back
            )
        total = n_ahead + n_back + 1
        used = ends[count]
        if total < least or used + total + 1 > len(points):
            # What it has passed stays free for others, but no line starts here again.
            _mark(owner, ahead, n_ahead, 0, own, 0, apart)
            _mark(owner, back, n_back, 0, own, 0, apart)
            owner[i, j] = -1
            continue
        for k in range(n_back):
            points[used + k] = back[n_back - 1 - k]
        points[used + n_back, 0], points[used + n_back, 1] = j, i
        for k in range(n_ahead):
            points[used + n_back + 1 + k] = ahead[k]
        if closed:
            points[used + total] = points[used]
            total += 1
        _mark(owner, points[used : used + total], total, 0, 0, own, apart)
        count += 1
        ends[count] = used + total
    return count


@compiled
def _mark(
    owner: NDArray[np.int64], line: Points, count: int, first: int, of: int, to: int, radius: float
) -> None:  # pragma: no cover
    """Set the owner of pixels within ``radius`` of a line from ``of`` (0: none) to ``to``."""
    rows, columns = owner.shape
    for k in range(first, count):
        x, y = line[k, 0], line[k, 1]
        for i in range(max(0, int(np.ceil(y - radius))), min(rows, int(y + radius) + 1)):
            for j in range(max(0, int(np.ceil(x - radius))), min(columns, int(x + radius) + 1)):
                if (i - y) ** 2 + (j - x) ** 2 > radius * radius:
                    continue
                if owner[i, j] == of or (of == 0 and owner[i, j] < 0):
                    owner[i, j] = to


@compiled
def _at(values: Floats32, x: float, y: float) -> float:  # pragma: no cover
    """Bilinear interpolation, clamped at the border."""
    rows, columns = values.shape
    x, y = min(max(x, 0.0), columns - 1.0), min(max(y, 0.0), rows - 1.0)
    j, i = min(int(x), max(0, columns - 2)), min(int(y), max(0, rows - 2))
    u, v = min(j + 1, columns - 1), min(i + 1, rows - 1)
    fx, fy = x - j, y - i
    top = values[i, j] * (1 - fx) + values[i, u] * fx
    return float(top * (1 - fy) + (values[v, j] * (1 - fx) + values[v, u] * fx) * fy)


@compiled
def _follow(
    measure: Floats32, cosine: Points, sine: Points, owner: NDArray[np.int64], own: int, x: float, y: float,
    heading: float, weak: float, gap: int, apart: float, found: Points,
) -> tuple[int, bool]:  # fmt: skip  # pragma: no cover
    """Points after (x, y) along the crest, one per pixel; and whether the line closed."""
    rows, columns = measure.shape
    start_x, start_y = x, y
    # Its own track counts as occupied only far enough behind that a turn is needed to reach it.
    behind = int(4 * apart) + 6
    through = int(2 * apart) + 4
    n = good = missed = marked = 0
    met = False  # whether the gap is another line
    while n < len(found) and missed <= (through if met else gap):
        i, j = int(y + 0.5), int(x + 0.5)
        if missed == 0:
            bend = 0.5 * np.arctan2(sine[i, j], cosine[i, j]) - heading
            bend -= np.pi * np.round(bend / np.pi)
            heading += min(TURN, max(-TURN, bend))
        x += np.cos(heading)
        y += np.sin(heading)
        if not (0 <= x <= columns - 1 and 0 <= y <= rows - 1):
            break
        across_x, across_y = -np.sin(heading), np.cos(heading)
        low, mid, high = (
            _at(measure, x - across_x, y - across_y), _at(measure, x, y), _at(measure, x + across_x, y + across_y)
        )  # fmt: skip
        if missed == 0:
            # To the top of the parabola; beyond its inflections, uphill.
            curve = low - 2 * mid + high
            top = 0.5 * (low - high) / curve if curve < 0 else np.sign(high - low)
            shift = RECENTRE * min(0.75, max(-0.75, top))
            x += shift * across_x
            y += shift * across_y
        if n > behind and (x - start_x) ** 2 + (y - start_y) ** 2 < 2.25:
            return n, True
        found[n, 0], found[n, 1] = x, y
        n += 1
        i, j = min(rows - 1, max(0, int(y + 0.5))), min(columns - 1, max(0, int(x + 0.5)))
        taken = owner[i, j] > 0
        if taken:
            met = True
        if mid >= weak and not taken:
            good, missed, met = n, 0, False
        else:
            if missed == 0 and n > LEAP_FROM:
                # Near a line's end its direction is disturbed; use the part before.
                first, last = n - 1 - LEAP_FROM, n - 1 - LEAP_FROM // 3
                heading = np.arctan2(found[last, 1] - found[first, 1], found[last, 0] - found[first, 0])
            missed += 1
        while marked < n - behind:
            _mark(owner, found, marked + 1, marked, 0, own, apart)
            marked += 1
    if met:
        # Continue to the centre of the line it merged with, and no further.
        good = min(n, good + int(apart + 0.5))
    return good, False
