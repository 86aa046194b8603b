"""Ferns: fronds that arch from one root; each pinna is one lobed line, and nearer fronds hide farther ones.

A frond repeats itself at the scale of its pinnae and of their lobes, as in parametric rewriting systems (P.
Prusinkiewicz and A. Lindenmayer, "The Algorithmic Beauty of Plants", 1990, section 1.10); the lobes are drawn as a wave
along the edge, so that a pinna needs one stroke and not twenty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import finished
from linewright.sources.picture import Picture, Wish


@dataclass(frozen=True)
class Ferns:
    """Settings of the pattern."""

    seed: int = settings.seed()
    fronds: int = settings.number("how many; 0: the seed's choice", 0, 0, 30)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        width, height = wish.room_mm
        pen = wish.pen_width_mm
        count = self.fronds or int(rng.integers(3, 7))
        spread = min(max(width / height, 0.55), 1.4)
        # From the outside inward, so that upright fronds are in front of bent ones.
        lean = np.linspace(-1.0, 1.0, count) if count > 1 else np.array([0.15])
        order = np.argsort(np.abs(lean), kind="stable")
        plain: list[list[Points]] = []
        for i in order.tolist():
            tilt = float(lean[i]) + float(rng.normal(0.0, 0.08))
            length = (1.0 - 0.25 * abs(tilt)) * float(rng.uniform(0.9, 1.05))
            plain.append(_frond(tilt * spread, length, pen / (0.8 * min(width, height)), rng))
        points = np.concatenate([line for frond in plain for line in frond])
        low, high = points.min(axis=0), points.max(axis=0)
        scale = float(min(width / (high[0] - low[0]), height / (high[1] - low[1])))
        corner = np.array([(width - (high[0] - low[0]) * scale) / 2, height - high[1] * scale])
        strokes: list[Points] = []
        before = shapely.Polygon()
        for i, frond in enumerate(plain):
            wish.report("unrolling fronds", i / count)
            lines = [(line - (low[0], 0.0)) * scale + corner for line in frond]
            strokes += _behind(lines, before, pen)
            # The area between the pinnae's tips hides what is behind, because fragments seen through a leaf look
            # cluttered.
            tips = [line[len(line) // 2] for line in lines[1:]]
            outline = [*tips[::2], lines[0][-1], *tips[1::2][::-1]]
            hull = shapely.Polygon(outline).buffer(0) if len(outline) > 3 else shapely.Polygon()
            leaves = [shapely.Polygon(line).buffer(0) for line in lines[1:]]
            before = shapely.union_all([before, hull, *leaves, shapely.LineString(lines[0]).buffer(pen)])
        return finished(strokes, wish, name="ferns", joins=False)


def _frond(tilt: float, length: float, pen: float, rng: np.random.Generator) -> list[Points]:
    """A stem and its pinnae, from (0, 0) upward; y points down; an upright stem has length 1.

    Parameters
    ----------
    tilt : -1 bends far to the left, 1 far to the right.
    pen : line width in the same unit.
    """
    steps = 160
    t = np.linspace(0.0, 1.0, steps + 1)
    # The stem leans from the start and bends more towards its end.
    angle = -math.pi / 2 + tilt * (0.3 + 1.1 * t**1.4)
    ahead = np.column_stack((np.cos(angle), np.sin(angle))) * length / steps
    stem = np.vstack((np.zeros((1, 2)), np.cumsum(ahead[:-1], axis=0)))
    lines = [stem]
    at = 0.16
    while at < 0.985:
        reach = 0.27 * length * (1 - at) ** 0.75 * min(1.0, (at / 0.3) ** 0.6)
        i = int(at * steps)
        for side in (-1.0, 1.0):
            off = side * math.radians(72 - 28 * at) + float(rng.normal(0.0, 0.03))
            if reach > 6 * pen:
                lines.append(_pinna(stem[i], float(angle[i]) + off, reach, pen, side))
        at += max(0.21 * reach / length, 3.8 * pen / length)
    return lines


def _pinna(foot: Points, angle: float, reach: float, pen: float, side: float) -> Points:
    """One pinna as a closed line: out along one lobed edge and back along the other, curved towards the frond's tip."""
    broad = 0.07 * reach + 0.4 * pen
    lobes = max(2, int(reach / max(2.6 * broad, 4.5 * pen)) * 2)
    t = np.linspace(0.0, 1.0, lobes * 12 + 1)
    edge = (
        broad * (1 - t) ** 0.6 * np.minimum(1.0, t / 0.12) ** 0.5 * (0.62 + 0.38 * np.abs(np.sin(math.pi * lobes * t)))
    )
    bend = -side * 0.25 * t**2
    turn = angle + bend
    spine = np.vstack(
        (np.zeros((1, 2)), np.cumsum(np.column_stack((np.cos(turn), np.sin(turn)))[:-1] * np.diff(t)[:, None], axis=0))
    )
    out = np.column_stack((-np.sin(turn), np.cos(turn))) * edge[:, None]
    spine = spine * reach
    there, back = spine + out, (spine - out)[::-1]
    return np.asarray(np.vstack((there, back, there[:1])) + foot)


def _behind(lines: list[Points], before: shapely.Polygon, pen_width_mm: float) -> list[Points]:
    """The visible parts of lines behind a shape, with a gap of a pen width around it."""
    if before.is_empty:
        return lines
    mask = shapely.buffer(before, 1.2 * pen_width_mm)
    shapely.prepare(mask)
    found = []
    for line in lines:
        shape = shapely.LineString(line)
        if not mask.intersects(shape):
            found.append(line)
            continue
        parts = shapely.get_parts(shapely.line_merge(shapely.difference(shape, mask)))
        found += [shapely.get_coordinates(part) for part in parts if part.length > 3 * pen_width_mm]
    return found
