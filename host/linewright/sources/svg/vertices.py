"""Positions and directions of markers (arrow heads) on a path (SVG 2, section 13.4)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from linewright.sources.painting.segments import ARC, CUBIC, ROW, Segments

Vector = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Vertex:
    """A place on a path: kind of marker (0 start, 1 middle, 2 end), position, direction."""

    kind: int
    x: float
    y: float
    angle_deg: float


def vertices(segments: Segments, first_outline: int) -> list[Vertex]:
    """The vertices of the path whose outlines start with ``first_outline`` and are the last ones."""
    places: list[tuple[Vector, Vector | None, Vector | None]] = []
    starts = [*segments.starts[first_outline:], len(segments)]
    for outline, (low, high) in enumerate(pairwise(starts), first_outline):
        pieces = [ends for row in range(low, high) for ends in _pieces(segments.kinds[row], _row(segments, row))]
        closed = segments.closed[outline]
        leaving = pieces[0][1]
        arriving = pieces[-1][3]
        places.append((pieces[0][0], arriving if closed else None, leaving))
        for piece, following in pairwise(pieces):
            places.append((piece[2], piece[3], following[1]))
        places.append((pieces[-1][2], arriving, leaving if closed else None))
    found = []
    for i, (at, before, after) in enumerate(places):
        kind = 0 if i == 0 else 2 if i == len(places) - 1 else 1
        found.append(Vertex(kind, *at, _direction(before, after)))
    return found


def _direction(arriving: Vector | None, leaving: Vector | None) -> float:
    if arriving is None or leaving is None:
        only = arriving or leaving or (1.0, 0.0)
        return math.degrees(math.atan2(only[1], only[0]))
    first, second = math.atan2(arriving[1], arriving[0]), math.atan2(leaving[1], leaving[0])
    turn = (second - first + math.pi) % math.tau - math.pi
    return math.degrees(first + turn / 2.0)


def _row(segments: Segments, row: int) -> list[float]:
    return list(segments.rows[ROW * row : ROW * row + ROW])


def _pieces(kind: int, row: list[float]) -> list[tuple[Vector, Vector, Vector, Vector]]:
    """Ends of a segment; a full ellipse has four of them (SVG 2, section 10.3)."""
    if kind == ARC and abs(row[7]) >= math.tau:
        quarter = row[7] / 4.0
        return [_ends(kind, [*row[:6], row[6] + i * quarter, quarter]) for i in range(4)]
    return [_ends(kind, row)]


def _ends(kind: int, v: list[float]) -> tuple[Vector, Vector, Vector, Vector]:
    """Start, direction there, end, direction there."""
    if kind == ARC:
        cx, cy, ux, uy, vx, vy, t0, dt = v
        sign = 1.0 if dt >= 0.0 else -1.0
        found = []
        for t in (t0, t0 + dt):
            cosine, sine = math.cos(t), math.sin(t)
            found.append((cx + ux * cosine + vx * sine, cy + uy * cosine + vy * sine))
            found.append((sign * (vx * cosine - ux * sine), sign * (vy * cosine - uy * sine)))
        return found[0], found[1], found[2], found[3]
    points = [(v[i], v[i + 1]) for i in (0, 2, 4, 6)]
    start, end = points[0], points[3]
    if kind != CUBIC:
        points = [start, end]
    leaving = next((_minus(p, start) for p in points[1:] if p != start), (0.0, 0.0))
    arriving = next((_minus(end, p) for p in reversed(points[:-1]) if p != end), (0.0, 0.0))
    return start, leaving, end, arriving


def _minus(a: Vector, b: Vector) -> Vector:
    return (a[0] - b[0], a[1] - b[1])
