"""Last step of every pattern: joining, clipping to the area, dropping tiny pieces."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Final

import numpy as np
import shapely

from linewright.drawing.crop import clip
from linewright.drawing.strokes import Drawing, Points
from linewright.errors import SourceError
from linewright.sources.picture import Picture, Wish

TOUCH_MM: Final = 1e-6
"""Ends this close are equal up to rounding."""

SHAPE_MM: Final = 0.01
"""Tolerance of simplification: a twentieth of the finest pen line, half a motor step of common machines."""


def finished(strokes: Iterable[Points], wish: Wish, *, name: str, joins: bool = True) -> Picture:
    """Strokes in mm as a picture of the wish's area.

    Parameters
    ----------
    strokes : each (n, 2) float64, mm; clipped to the area.
    name : name of the pattern and of its pen.
    joins : join strokes whose ends coincide.

    Raises
    ------
    SourceError : nothing is left, because the area is too small for this pen.
    """
    lines = [
        line for line in (_without_repeats(np.asarray(stroke, dtype=np.float64)) for stroke in strokes) if len(line) > 1
    ]
    width_mm, height_mm = wish.room_mm
    drawing = clip(Drawing.from_strokes(lines), (0.0, 0.0, width_mm, height_mm))
    kept = joined(drawing) if joins else list(drawing)
    # Pieces no longer than the line width would be blots at cut ends.
    kept = [line for line in kept if _length(line) > wish.pen_width_mm]
    if not kept:
        raise SourceError(
            f"the pattern {name!r} has no line in an area of {width_mm:.4g} x {height_mm:.4g} mm with a "
            f"{wish.pen_width_mm:g} mm pen",
            hint="use a larger sheet, a smaller margin or a finer pen",
        )
    shapes = [
        shapely.get_coordinates(shapely.simplify(shapely.LineString(line), SHAPE_MM, preserve_topology=True))
        for line in kept
    ]
    return Picture(Drawing.from_strokes(shapes, pens=(wish.one_pen(name),)), width_mm, height_mm)


def distance_mm(asked_mm: float, wish: Wish, *, pens: float, least_mm: float) -> float:
    """Line spacing: the requested one, or one that suits pen and sheet.

    Parameters
    ----------
    asked_mm : 0: not requested.
    pens, least_mm : default spacing in pen widths, and its minimum in mm.

    Raises
    ------
    SourceError : the spacing is below the pen width.
    """
    if asked_mm and asked_mm < wish.pen_width_mm:
        raise SourceError(
            f"lines {asked_mm:.3g} mm apart are closer than the pen of {wish.pen_width_mm:g} mm is wide",
            hint=f"take {wish.pen_width_mm:g} mm or more, or leave it out",
        )
    return asked_mm or max(pens * wish.pen_width_mm, least_mm)


def joined(drawing: Iterable[Points]) -> list[Points]:
    """Strokes joined where exactly two ends meet; where more meet, the straightest pairs are joined first.

    Ends meet within `TOUCH_MM`.
    """
    lines = list(drawing)
    at: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
    for i, line in enumerate(lines):
        for end in (0, 1):
            at[_place(line[-end])].append((i, end))
    partner: dict[tuple[int, int], tuple[int, int]] = {}
    for ends in at.values():
        free = list(ends)
        while len(free) > 1:
            a = free.pop()
            out = _outward(lines, a)
            straightest = free.pop(int(np.argmin([out @ _outward(lines, b) for b in free])))
            partner[a], partner[straightest] = straightest, a
    return _chains(lines, partner)


def _chains(lines: list[Points], partner: dict[tuple[int, int], tuple[int, int]]) -> list[Points]:
    """Lines chained by their partners: open chains from a free end first, then rings."""
    used = [False] * len(lines)
    found = []
    starts = [(i, end) for i in range(len(lines)) for end in (0, 1) if (i, end) not in partner]
    for start in (*starts, *((i, 0) for i in range(len(lines)))):
        if used[start[0]]:
            continue
        parts: list[Points] = []
        now: tuple[int, int] | None = start
        while now is not None and not used[now[0]]:
            i, end = now
            used[i] = True
            line = lines[i] if end == 0 else lines[i][::-1]
            parts.append(line if not parts else line[1:])
            now = partner.get((i, 1 - end))
        found.append(np.concatenate(parts))
    return found


def _place(point: Points) -> tuple[int, int]:
    return (round(float(point[0]) / TOUCH_MM / 8), round(float(point[1]) / TOUCH_MM / 8))


def _outward(lines: list[Points], end: tuple[int, int]) -> Points:
    """Direction in which a line leaves one of its ends."""
    line = lines[end[0]]
    direction = line[1] - line[0] if end[1] == 0 else line[-2] - line[-1]
    return np.asarray(direction / max(float(np.hypot(*direction)), 1e-12))


def _without_repeats(line: Points) -> Points:
    if len(line) < 2:
        return line
    moves = np.append(True, (np.abs(np.diff(line, axis=0)) > TOUCH_MM).any(axis=1))
    return np.asarray(line[moves])


def _length(line: Points) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())
