"""Curves for drawings: smooth lines through few points, tapered tubes, ellipses, hatching. y points up."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

Points = NDArray[np.float64]

PER_SPAN: Final = 8
"""Points per piece of a smooth line. A piece is rarely longer than 20 mm on paper, so they lie 2.5 mm apart on a gentle
bend; tight bends are drawn with more knots."""


def smooth(knots: Points, corners: Sequence[bool] = (), *, closed: bool = False) -> Points:
    """Centripetal Catmull-Rom curve through (n, 2) knots, with sharp corners where ``corners`` says so.

    Centripetal knots keep the curve free of loops and cusps (Yuksel, Schaefer, Keyser, "Parameterization and
    applications of Catmull-Rom curves", Computer-Aided Design 43, 2011).
    """
    sharp = np.zeros(len(knots), dtype=bool)
    sharp[: len(corners)] = corners
    if closed:
        if sharp.any():  # begin at a corner, so that the seam is one
            first = int(np.flatnonzero(sharp)[0])
            knots, sharp = np.roll(knots, -first, axis=0), np.roll(sharp, -first)
            knots, sharp = np.vstack((knots, knots[:1])), np.append(sharp, True)
        else:
            return _span_chain(np.vstack((knots[-1:], knots, knots[:2])))
    cuts = [0, *(i for i in range(1, len(knots) - 1) if sharp[i]), len(knots) - 1]
    parts = []
    for low, high in itertools.pairwise(cuts):
        piece = knots[low : high + 1]
        if len(piece) == 2:
            parts.append(piece)
            continue
        # Mirrored ends: the curve leaves its first knot at the angle at which it reaches the second, which rounds the
        # end.
        before = 2 * piece[0] - piece[1] if len(piece) < 3 else piece[0] + (piece[0] - piece[1]) * 0.6
        after = piece[-1] + (piece[-1] - piece[-2]) * 0.6
        parts.append(_span_chain(np.vstack((before[None], piece, after[None]))))
    return np.vstack([parts[0], *(part[1:] for part in parts[1:])])


def _span_chain(k: Points) -> Points:
    """Curve from the second knot of (n, 2) to the last but one."""
    p0, p1, p2, p3 = k[:-3, None], k[1:-2, None], k[2:-1, None], k[3:, None]

    def gap(a: Points, b: Points) -> Points:
        return np.asarray(np.sqrt(np.maximum(np.hypot(*(b - a).transpose(2, 0, 1)), 1e-9)))[..., None]

    t1 = gap(p0, p1)
    t2 = t1 + gap(p1, p2)
    t3 = t2 + gap(p2, p3)
    t = t1 + np.linspace(0, 1, PER_SPAN, endpoint=False)[None, :, None] * (t2 - t1)
    a1 = (t1 - t) / t1 * p0 + t / t1 * p1
    a2 = (t2 - t) / (t2 - t1) * p1 + (t - t1) / (t2 - t1) * p2
    a3 = (t3 - t) / (t3 - t2) * p2 + (t - t2) / (t3 - t2) * p3
    b1 = (t2 - t) / t2 * a1 + t / t2 * a2
    b2 = (t3 - t) / (t3 - t1) * a2 + (t - t1) / (t3 - t1) * a3
    curve = (t2 - t) / (t2 - t1) * b1 + (t - t1) / (t2 - t1) * b2
    return np.vstack((curve.reshape(-1, 2), k[-2]))


def arc(x: float, y: float, rx: float, ry: float, turn: float = 0.0, start: float = 0.0, end: float = 360.0) -> Points:
    """Points of an ellipse from ``start`` to ``end`` degrees counter-clockwise, rotated by ``turn`` degrees."""
    count = max(5, round(abs(end - start) / 360 * (12 + 6 * math.sqrt(max(rx, ry)))))
    t = np.radians(np.linspace(start, end, count))
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    u, v = rx * np.cos(t), ry * np.sin(t)
    line = np.column_stack((x + c * u - s * v, y + s * u + c * v))
    if abs(end - start) >= 360:
        line[-1] = line[0]
    return line


def tube(points: Points, radii: Sequence[float]) -> BaseGeometry:
    """The area of a limb: a smooth line through (n, 2) points with a radius at each, and round ends."""
    knots = np.column_stack((points, radii))
    line = smooth(points) if len(points) > 2 else points
    share = np.linspace(0, len(points) - 1, len(line))
    r = np.interp(share, np.arange(len(points)), knots[:, 2])
    if len(line) == 2:
        share = np.linspace(0, 1, 6)[:, None]
        line, r = line[0] + share * (line[1] - line[0]), np.linspace(r[0], r[1], 6)
    along = np.gradient(line, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    across = np.column_stack((-along[:, 1], along[:, 0])) * r[:, None]
    sides = shapely.make_valid(shapely.polygons(np.vstack((line + across, (line - across)[::-1]))))
    joints = shapely.buffer(
        shapely.points(line[:: max(1, len(line) // 12)]), r[:: max(1, len(line) // 12)], quad_segs=6
    )
    ends = shapely.buffer(shapely.points(line[[0, -1]]), r[[0, -1]], quad_segs=8)
    solid = [part for part in shapely.get_parts(sides) if part.geom_type == "Polygon"]
    # Narrow gaps remain between sides and joints; this small closing removes them.
    return shapely.simplify(shapely.union_all([*solid, *joints, *ends]).buffer(0.15).buffer(-0.15), 0.04)


def joined(areas: Sequence[BaseGeometry], fillet: float) -> BaseGeometry:
    """Union of areas, with inner corners rounded to the fillet's radius."""
    whole = shapely.union_all(list(areas))
    return shapely.simplify(whole.buffer(fillet, quad_segs=6).buffer(-fillet, quad_segs=6), 0.04)


def solid(area: BaseGeometry) -> BaseGeometry:
    """Only the polygons of a geometry: cutting leaves points and lines, which later steps cannot handle."""
    parts = [part for part in shapely.get_parts(area) if part.geom_type == "Polygon" and part.area > 1e-6]
    if not parts:
        return shapely.Polygon()
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def outline(area: BaseGeometry) -> list[Points]:
    """The rings of an area, (n, 2) each."""
    rings = []
    for part in shapely.get_parts(area):
        if part.geom_type == "Polygon":
            rings += [shapely.get_coordinates(ring) for ring in (part.exterior, *part.interiors)]
    return rings


def hatching(area: BaseGeometry, gap: float, angle_deg: float, *, inset: float = 0.0) -> list[Points]:
    """Parallel lines inside an area, each (2, 2) or more, in alternating directions."""
    inner = area.buffer(-inset) if inset else area
    if inner.is_empty:
        return []
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    x0, y0, x1, y1 = inner.bounds
    middle, half = np.array(((x0 + x1) / 2, (y0 + y1) / 2)), math.hypot(x1 - x0, y1 - y0) / 2 + gap
    count = max(1, math.ceil(half / gap))
    at = np.arange(-count, count + 1) * gap
    ends = np.stack((np.full_like(at, -half), at), axis=1), np.stack((np.full_like(at, half), at), axis=1)
    turn = np.array(((c, s), (-s, c)))
    rows = np.stack((ends[0] @ turn + middle, ends[1] @ turn + middle), axis=1)
    cut = shapely.intersection(shapely.linestrings(rows), inner)
    lines = [shapely.get_coordinates(part) for row in cut for part in shapely.get_parts(row) if part.length > gap / 2]
    return [line if i % 2 else line[::-1] for i, line in enumerate(lines)]


def dot(x: float, y: float, r: float) -> Points:
    """A spiral that fills a disc of a few pen widths with ink."""
    turns = 2.0
    t = np.linspace(0.15, 1.0, 26)
    spiral = np.column_stack((x + r * t * np.cos(turns * math.tau * t), y + r * t * np.sin(turns * math.tau * t)))
    return np.vstack((spiral, arc(x, y, r, r, turns * 360 % 360)))
