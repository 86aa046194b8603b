"""Contour lines of a grid of heights, by marching squares with linear interpolation.

W. E. Lorensen and H. E. Cline, "Marching cubes", 1987, in two dimensions. Lines have the order, direction and exact
coordinates of scikit-image's ``find_contours``, so patterns do not need that library.
"""

from __future__ import annotations

from collections import deque
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Points

Place = tuple[float, float]

_TOP, _RIGHT, _FOOT, _LEFT = range(4)

_STEPS: Final = {
    1: ((_TOP, _LEFT),), 2: ((_RIGHT, _TOP),), 3: ((_RIGHT, _LEFT),), 4: ((_LEFT, _FOOT),), 5: ((_TOP, _FOOT),),
    6: ((_RIGHT, _TOP), (_LEFT, _FOOT)), 7: ((_RIGHT, _FOOT),), 8: ((_FOOT, _RIGHT),),
    9: ((_TOP, _LEFT), (_FOOT, _RIGHT)), 10: ((_FOOT, _TOP),), 11: ((_FOOT, _LEFT),), 12: ((_LEFT, _RIGHT),),
    13: ((_TOP, _RIGHT),), 14: ((_LEFT, _TOP),),
}  # fmt: skip
"""Line segments by the corners above the level (1 top left, 2 top right, 4 bottom left, 8 bottom right), as sides of
the square from which and to which they go. Higher ground is on the left as y points down; two high corners on a
diagonal stay separate."""


def isolines(height: NDArray[np.floating[Any]], level: float, x: Points, y: Points) -> list[Points]:
    """Contour lines at a level; closed ones end where they begin.

    Parameters
    ----------
    height : (ny, nx) at the places ``x`` (nx,) and ``y`` (ny,).

    Returns
    -------
    list of (n, 2) float64, x and y
    """
    heights = np.asarray(height, dtype=np.float64)
    above = heights > level
    kind = above[:-1, :-1] * 1 + above[:-1, 1:] * 2 + above[1:, :-1] * 4 + above[1:, 1:] * 8
    rows, columns = np.nonzero((kind > 0) & (kind < 15))
    sides = _crossings(heights, level, x, y, rows, columns)
    steps = [
        (places[begin], places[end])
        for case, places in zip(kind[rows, columns].tolist(), sides, strict=True)
        for begin, end in _STEPS[case]
    ]
    return [np.array(line) for line in _strung(steps)]


def _crossings(
    height: Points, level: float, x: Points, y: Points, rows: NDArray[np.int64], columns: NDArray[np.int64]
) -> list[tuple[Place, Place, Place, Place]]:
    """Crossings of the level with the top, right, bottom and left side of squares; undefined for sides without a
    crossing.
    """
    corner = [height[rows + down, columns + right] for down in (0, 1) for right in (0, 1)]
    top_left, top_right, foot_left, foot_right = corner
    left, right, top, foot = x[columns], x[columns + 1], y[rows], y[rows + 1]
    on_top = left + _share(top_left, top_right, level) * (right - left)
    on_foot = left + _share(foot_left, foot_right, level) * (right - left)
    on_left = top + _share(top_left, foot_left, level) * (foot - top)
    on_right = top + _share(top_right, foot_right, level) * (foot - top)
    pairs = ((on_top, top), (right, on_right), (on_foot, foot), (left, on_left))
    sides = [list(zip(across.tolist(), down.tolist(), strict=True)) for across, down in pairs]
    return list(zip(*sides, strict=True))


def _share(here: Points, there: Points, level: float) -> Points:
    """Position of the level between two heights, as a share."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(here == there, 0.0, (level - here) / (there - here))


def _strung(steps: list[tuple[Place, Place]]) -> list[deque[Place]]:
    """Segments joined to lines, each identified by its first segment."""
    lines: dict[int, deque[Place]] = {}
    first: dict[Place, int] = {}  # line by its start
    last: dict[Place, int] = {}  # line by its end
    for number, (begin, end) in enumerate(steps):
        if begin == end:  # the level passes through a corner of the grid
            continue
        after, before = first.pop(end, None), last.pop(begin, None)
        if before is None and after is None:
            lines[number] = deque((begin, end))
            first[begin] = last[end] = number
        elif before is None and after is not None:
            lines[after].appendleft(begin)
            first[begin] = after
        elif after is None and before is not None:
            lines[before].append(end)
            last[end] = before
        elif after == before and before is not None:
            lines[before].append(end)
        elif after is not None and before is not None:
            one, other = lines[before], lines[after]
            if before < after:
                one.extend(other)
                del lines[after]
                last[one[-1]] = before
            else:
                other.extendleft(reversed(one))
                del lines[before]
                first[other[0]] = after
    return [lines[number] for number in sorted(lines)]
