"""Currents: lines that follow a flow without sources, evenly spaced.

The flow turns along the contours of a smooth height and around a few eddies. Lines are laid as B. Jobard and W. Lefer
do ("Creating evenly-spaced streamlines of arbitrary density", Visualization in Scientific Computing 1997): each new
line starts at the wanted distance from one that is there, and ends where it comes closer than a share of it to any.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import distance_mm, finished
from linewright.sources.patterns.noise import Noise
from linewright.sources.picture import Picture, Wish

CLOSEST: Final = 0.72
"""Share of the distance at which a line ends; Jobard and Lefer use 0.5, which leaves darker bands where lines
converge."""

SHORTEST: Final = 7.0
"""Lines shorter than this many distances are left out: a lift of the pen each, and they look like crumbs."""

STEP: Final = 0.4
"""Of the distance, for each step along a line: close enough to see every neighbour within `CLOSEST`."""


@dataclass(frozen=True)
class Currents:
    """Settings."""

    seed: int = settings.seed()
    spacing_mm: float = settings.number("from line to line; 0: what suits pen and sheet", 0.0, 0.0, 100.0, "mm")
    eddies: int = settings.number("whirls in the flow", 3, 0, 20)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its room; there is no source."""
        del source
        rng = np.random.default_rng(self.seed)
        spacing = distance_mm(self.spacing_mm, wish, pens=3.2, least_mm=min(wish.room_mm) / 110)
        flow = Flow(rng, wish.room_mm, self.eddies)
        lines = streamlines(flow, wish, spacing)
        return finished(lines, wish, name="currents", joins=False)


class Flow:
    """Directions of the flow on a fine grid, looked up at any place."""

    def __init__(self, rng: np.random.Generator, room_mm: tuple[float, float], eddies: int) -> None:
        width, height = room_mm
        size = min(room_mm)
        noise = Noise.of(rng, size * 1.3, octaves=2, roughness=0.3)
        self._cell = max(size, max(room_mm) / 4) / 160
        nx, ny = int(width / self._cell) + 3, int(height / self._cell) + 3
        x, y = np.meshgrid(np.arange(nx) * self._cell, np.arange(ny) * self._cell)
        places = np.stack((x, y), axis=-1)
        slope = noise.slope_at(places) * size
        field = np.stack((slope[..., 1], -slope[..., 0]), axis=-1)
        for _ in range(eddies):
            middle = rng.uniform(0.15, 0.85, 2) * room_mm
            reach = rng.uniform(0.10, 0.22) * size
            sense = float(rng.choice([-1.0, 1.0])) * 14
            away = places - middle
            pull = np.exp(-(away**2).sum(axis=-1) / (2 * reach**2)) * sense / reach
            field += np.stack((-away[..., 1], away[..., 0]), axis=-1) * pull[..., None]
        self._field = (field / np.maximum(np.hypot(field[..., 0], field[..., 1]), 1e-9)[..., None]).tolist()
        self._nx, self._ny = nx, ny

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Unit vector there: bilinear between the four grid places around it."""
        u, v = x / self._cell, y / self._cell
        i, j = min(max(int(u), 0), self._nx - 2), min(max(int(v), 0), self._ny - 2)
        u, v = u - i, v - j
        top, low = self._field[j], self._field[j + 1]
        (ax, ay), (bx, by), (cx, cy), (dx, dy) = top[i], top[i + 1], low[i], low[i + 1]
        fx = (ax * (1 - u) + bx * u) * (1 - v) + (cx * (1 - u) + dx * u) * v
        fy = (ay * (1 - u) + by * u) * (1 - v) + (cy * (1 - u) + dy * u) * v
        size = math.hypot(fx, fy) or 1.0
        return fx / size, fy / size


class _Near:
    """Points in square bins of one distance, to ask whether any is near."""

    def __init__(self, distance: float) -> None:
        self._size = distance
        self._bins: dict[tuple[int, int], list[tuple[float, float]]] = {}

    def add(self, points: list[tuple[float, float]]) -> None:
        for x, y in points:
            self._bins.setdefault((int(x // self._size), int(y // self._size)), []).append((x, y))

    def any(self, x: float, y: float, distance: float) -> bool:
        """Whether a point is nearer than this, which may be at most the size of a bin."""
        i, j = int(x // self._size), int(y // self._size)
        square = distance * distance
        for a in (i - 1, i, i + 1):
            for b in (j - 1, j, j + 1):
                for px, py in self._bins.get((a, b), ()):
                    if (px - x) * (px - x) + (py - y) * (py - y) < square:
                        return True
        return False


def streamlines(flow: Flow, wish: Wish, spacing: float) -> list[Points]:
    """Lines of the flow, evenly spaced over the room."""
    width, height = wish.room_mm
    near = _Near(spacing)
    found: list[Points] = []
    queue: deque[list[tuple[float, float]]] = deque()

    def grow(x: float, y: float) -> None:
        line = _line(flow, x, y, wish.room_mm, spacing, near)
        if len(line) * STEP >= SHORTEST:
            near.add(line)
            queue.append(line)
            found.append(np.array(line))

    area = width * height
    laid = 0.0
    for fx, fy in ((0.5, 0.5), (0.2, 0.2), (0.8, 0.2), (0.2, 0.8), (0.8, 0.8)):
        if not near.any(fx * width, fy * height, spacing):
            grow(fx * width, fy * height)
        while queue:
            line = queue.popleft()
            laid += len(line) * STEP * spacing * spacing
            wish.report("laying lines", min(laid / area, 1.0))
            for x, y in line[::2]:
                dx, dy = flow.at(x, y)
                for side in (spacing, -spacing):
                    nx, ny = x - dy * side, y + dx * side
                    if 0 <= nx <= width and 0 <= ny <= height and not near.any(nx, ny, spacing * 0.999):
                        grow(nx, ny)
    return found


def _line(
    flow: Flow, x: float, y: float, room_mm: tuple[float, float], spacing: float, near: _Near
) -> list[tuple[float, float]]:
    """Both ways from a place, by the midpoint rule, until it leaves the room, meets a line or comes back to itself."""
    step = STEP * spacing
    ways = []
    own = _Near(spacing)
    for sense in (step, -step):
        at, way = (x, y), [(x, y)]
        for count in range(4000):
            dx, dy = flow.at(*at)
            mx, my = flow.at(at[0] + dx * sense / 2, at[1] + dy * sense / 2)
            at = (at[0] + mx * sense, at[1] + my * sense)
            if not (0 <= at[0] <= room_mm[0] and 0 <= at[1] <= room_mm[1]) or near.any(*at, CLOSEST * spacing):
                break
            # Its own points count once they are far enough behind.
            if count > 6 and own.any(*at, CLOSEST * spacing):
                break
            way.append(at)
            if count > 6:
                own.add([way[-6]])
        ways.append(way)
    return ways[1][:0:-1] + ways[0]
