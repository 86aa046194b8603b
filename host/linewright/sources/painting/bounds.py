"""`bounds`: the exact bounding box of curves, for lengths that refer to a shape's own box."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.sources.painting.segments import ARC, CUBIC

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]


def bounds(kinds: NDArray[np.uint8], rows: Floats) -> Box | None:
    """``(x, y, width, height)`` of the bounding box of segments (m,), (m, 8); None if there are none."""
    if not len(kinds):
        return None
    arc = kinds == ARC
    plain = rows[~arc]
    points = [plain[:, 0:2], plain[:, 6:8]]
    cubic = rows[kinds == CUBIC]
    if len(cubic):
        points += [_at_cubic(cubic, t) for t in _turning_points(cubic)]
    if arc.any():
        points += _of_arcs(rows[arc])
    every = np.concatenate(points)
    low, high = every.min(axis=0), every.max(axis=0)
    return (float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1]))


def _turning_points(rows: Floats) -> list[Floats]:
    """Parameters of the extrema of x and y of a cubic, up to four each; 0 for none."""
    found = []
    for axis in (0, 1):
        p0, p1, p2, p3 = (rows[:, i + axis] for i in (0, 2, 4, 6))
        a, b, c = p3 - p0 + 3.0 * (p1 - p2), 2.0 * (p0 - 2.0 * p1 + p2), p1 - p0
        with np.errstate(divide="ignore", invalid="ignore"):
            root = np.sqrt(b * b - 4.0 * a * c)
            # The stable form of the quadratic formula, without cancellation.
            q = -0.5 * (b + np.copysign(root, b))
            for t in (q / a, c / q):
                found.append(np.where(np.isfinite(t) & (t > 0.0) & (t < 1.0), t, 0.0))
    return found


def _at_cubic(rows: Floats, t: Floats) -> Floats:
    s = 1.0 - t
    weights = (s * s * s, 3.0 * s * s * t, 3.0 * s * t * t, t * t * t)
    return np.asarray(sum(w[:, None] * rows[:, i : i + 2] for w, i in zip(weights, (0, 2, 4, 6), strict=True)))


def _of_arcs(rows: Floats) -> list[Floats]:
    centre, u, v, first, turn = rows[:, 0:2], rows[:, 2:4], rows[:, 4:6], rows[:, 6], rows[:, 7]
    low = np.minimum(first, first + turn)
    found = []
    for t in (first, first + turn):
        found.append(centre + u * np.cos(t)[:, None] + v * np.sin(t)[:, None])
    for axis in (0, 1):
        top = np.arctan2(v[:, axis], u[:, axis])
        for half in (0.0, np.pi):
            t = low + (top + half - low) % (2.0 * np.pi)
            t = np.where(t <= low + np.abs(turn), t, first)
            found.append(centre + u * np.cos(t)[:, None] + v * np.sin(t)[:, None])
    return found
