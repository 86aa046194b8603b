"""Surprise: one or more patterns, composed for the sheet, framed, and numbered with their seed.

Four compositions: a plate (one pattern in a frame), a window (a field of lines seen through a round, oval or arched
opening), a medallion (a round figure with a field of lines around it) and a triptych (three fields side by side). The
seed determines everything and is written below the picture, so that it can be reproduced.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.errors import SourceError
from linewright.sources import settings
from linewright.sources.lettering import Lettering
from linewright.sources.patterns.cells import Cells
from linewright.sources.patterns.currents import Currents
from linewright.sources.patterns.dunes import Dunes
from linewright.sources.patterns.ferns import Ferns
from linewright.sources.patterns.finish import finished
from linewright.sources.patterns.folds import Folds
from linewright.sources.patterns.growth import Growth
from linewright.sources.patterns.heads import Heads
from linewright.sources.patterns.islands import Islands
from linewright.sources.patterns.pendulums import Pendulums
from linewright.sources.patterns.ribbon import Ribbon
from linewright.sources.patterns.rosettes import Rosettes
from linewright.sources.patterns.scales import Scales
from linewright.sources.patterns.tiles import Tiles
from linewright.sources.patterns.wheels import Wheels
from linewright.sources.picture import Picture, Wish

FIELDS: Final = (Cells, Currents, Ribbon, Scales, Tiles, Islands)
"""Patterns that fill any area to its edge, so they may be clipped to any shape."""

FIGURES: Final = (Wheels, Rosettes, Heads, Pendulums)
"""Patterns that stand free in the middle of their area."""

SCENES: Final = (Dunes, Ferns, Growth, Folds, Islands)
"""Patterns that need a rectangle."""

Shape = Callable[[Points], Points]
"""Signed distance to the edge of a convex shape, mm, negative inside, at (n, 2) points."""

_LEAST_MM: Final = 30.0
"""Smallest side that leaves space for a picture beside frame and number."""


@dataclass(frozen=True)
class Surprise:
    """Settings of the pattern."""

    seed: int = settings.seed()

    def read(self, source: str, wish: Wish) -> Picture:
        """The composition in its area; ``source`` is not used."""
        del source
        if min(wish.room_mm) < _LEAST_MM:
            raise SourceError(
                f"a room of {wish.room_mm[0]:.4g} x {wish.room_mm[1]:.4g} mm is too small for a composition, which "
                f"needs {_LEAST_MM:g} mm each way",
                hint="take a larger sheet or a smaller margin",
            )
        rng = np.random.default_rng(self.seed)
        width, height = wish.room_mm
        size = min(wish.room_mm)
        number = max(size / 50, 2.6)
        foot = 3.2 * number  # the strip for the number
        panel = Panel(0.0, 0.0, width, height - foot)
        compose = (_plate, _window, _medallion, _triptych)[int(rng.integers(4))]
        strokes = compose(panel, wish, rng)
        strip = replace(wish, room_mm=(width, foot))
        caption = Lettering(face="running", size_mm=number, align="centre").read(f"No. {self.seed}", strip)
        strokes += [line + (0.0, height - foot + 0.4 * number) for line in caption.drawing]
        return finished(strokes, wish, name="surprise", joins=False)


@dataclass(frozen=True)
class Panel:
    """A rectangle of the sheet, mm."""

    x: float
    y: float
    width: float
    height: float

    def inset(self, by: float) -> Panel:
        """The panel reduced by ``by`` on all sides."""
        return Panel(self.x + by, self.y + by, self.width - 2 * by, self.height - 2 * by)

    @property
    def middle(self) -> tuple[float, float]:
        """Centre, mm."""
        return (self.x + self.width / 2, self.y + self.height / 2)

    def edge(self) -> Points:
        """Outline, closed."""
        x0, y0, x1, y1 = self.x, self.y, self.x + self.width, self.y + self.height
        return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)])


def _made(kind: type, panel: Panel, wish: Wish, rng: np.random.Generator) -> list[Points]:
    """A pattern with a random seed in a panel."""
    picture = kind(seed=int(rng.integers(2**31))).read("", replace(wish, room_mm=(panel.width, panel.height)))
    return [line + (panel.x, panel.y) for line in picture.drawing]


def _picked(rng: np.random.Generator, kinds: tuple[type, ...]) -> type:
    return kinds[int(rng.integers(len(kinds)))]


def _plate(panel: Panel, wish: Wish, rng: np.random.Generator) -> list[Points]:
    """One scene in a double frame."""
    gap = 3.5 * wish.pen_width_mm
    frame = panel.inset(wish.pen_width_mm / 2)
    inner = frame.inset(gap)
    return [frame.edge(), inner.edge(), *_made(_picked(rng, SCENES), inner.inset(2.5 * gap), wish, rng)]


def _window(panel: Panel, wish: Wish, rng: np.random.Generator) -> list[Points]:
    """A field of lines clipped to an opening with a double rim."""
    pen = wish.pen_width_mm
    gap = 3.5 * pen
    opening = panel.inset(pen / 2)
    name = str(rng.choice(["round", "oval", "arch"] if panel.height > panel.width else ["round", "oval"]))
    shape, rims = _opening(name, opening, (0.0, gap), pen)
    field = _made(_picked(rng, FIELDS), opening, wish, rng)
    return [*rims, *cut(field, lambda points: shape(points) + 2 * gap)]


def _medallion(panel: Panel, wish: Wish, rng: np.random.Generator) -> list[Points]:
    """A round figure, surrounded by a field of lines to the edge of the sheet."""
    pen = wish.pen_width_mm
    gap = 3.5 * pen
    frame = panel.inset(pen / 2)
    shape, rims = _opening("round", frame.inset(min(panel.width, panel.height) * 0.09), (0.0, gap), pen)
    radius = float(-shape(np.array([frame.middle]))[0])
    calm = (Scales, Ribbon, Currents, Tiles)
    field = cut(_made(_picked(rng, calm), frame, wish, rng), lambda points: gap - shape(points))
    x, y = frame.middle
    inside = radius - 3.2 * gap
    figure = _made(_picked(rng, FIGURES), Panel(x - inside, y - inside, 2 * inside, 2 * inside), wish, rng)
    # Some figures extend into the corners of their square.
    return [*rims, *cut(figure, lambda points: shape(points) + 2 * gap), *field, frame.edge()]


def _triptych(panel: Panel, wish: Wish, rng: np.random.Generator) -> list[Points]:
    """Three framed fields in a row or column."""
    pen = wish.pen_width_mm
    gap = 6 * pen
    upright = panel.height >= panel.width
    length = ((panel.height if upright else panel.width) - 2 * gap) / 3
    kinds = rng.permutation(len(FIELDS))[:3]
    strokes: list[Points] = []
    for i, kind in enumerate(kinds.tolist()):
        at = i * (length + gap)
        one = (
            Panel(panel.x, panel.y + at, panel.width, length)
            if upright
            else Panel(panel.x + at, panel.y, length, panel.height)
        ).inset(pen / 2)
        strokes += [one.edge(), *_made(FIELDS[kind], one.inset(3 * pen), wish, rng)]
    return strokes


def _opening(name: str, panel: Panel, rims_at: tuple[float, ...], pen_width_mm: float) -> tuple[Shape, list[Points]]:
    """A convex opening as large as its panel, and its outline at each of these depths."""
    x, y = panel.middle
    if name == "arch":
        half = min(panel.width / 2, panel.height / 3)
        top, foot = panel.y + half, panel.y + panel.height

        def arch(points: Points) -> Points:
            sides = np.maximum(np.abs(points[:, 0] - x) - half, points[:, 1] - foot)
            round_head = np.hypot(points[:, 0] - x, points[:, 1] - top) - half
            return np.where(points[:, 1] < top, round_head, sides)

        def arch_rim(depth: float) -> Points:
            turn = np.linspace(math.pi, math.tau, 181)
            r = half - depth
            head = np.column_stack((x + r * np.cos(turn), top + r * np.sin(turn)))
            feet = np.array([(x + r, foot - depth), (x - r, foot - depth)])
            return np.vstack((head, feet, head[:1]))

        return arch, [arch_rim(depth) for depth in rims_at]
    a, b = panel.width / 2, panel.height / 2
    if name == "round":
        a = b = min(a, b)

    def oval(points: Points) -> Points:
        # First-order distance: value of the ellipse's function divided by its slope; exact for a circle.
        u, v = (points[:, 0] - x) / a, (points[:, 1] - y) / b
        reach = np.maximum(np.hypot(u, v), 1e-12)
        slope = np.hypot(u / a, v / b) / reach
        return np.asarray((reach - 1) / np.maximum(slope, 1e-12)) if a != b else np.asarray((reach - 1) * a)

    def oval_rim(depth: float) -> Points:
        turn = np.linspace(0.0, math.tau, max(181, int(math.tau * max(a, b) / (2 * pen_width_mm))))
        line = np.column_stack((x + (a - depth) * np.cos(turn), y + (b - depth) * np.sin(turn)))
        line[-1] = line[0]
        return line

    return oval, [oval_rim(depth) for depth in rims_at]


def cut(lines: list[Points], outside: Shape, *, step_mm: float = 0.5) -> list[Points]:
    """The parts of lines where ``outside`` is not positive; ends found by bisection.

    Lines are sampled in steps, so an excursion shorter than a step is not detected.
    """
    found: list[Points] = []
    for line in lines:
        if len(line) < 2:
            continue
        fine = _stepped(line, step_mm)
        out = outside(fine) > 0
        if not out.any():
            found.append(line)
            continue
        edges = np.flatnonzero(np.diff(out.astype(np.int8)))
        bounds = [0, *(edges + 1).tolist(), len(fine)]
        for low, high in itertools.pairwise(bounds):
            if out[low]:
                continue
            part = [fine[low:high]]
            if low:
                part.insert(0, _edge(fine[low], fine[low - 1], outside)[None])
            if high < len(fine):
                part.append(_edge(fine[high - 1], fine[high], outside)[None])
            found.append(np.vstack(part))
    return [line for line in found if len(line) > 1]


def _stepped(line: Points, step_mm: float) -> Points:
    """The line with vertices added so that no segment is longer than a step."""
    lengths = np.hypot(*np.diff(line, axis=0).T)
    counts = np.maximum(1, np.ceil(lengths / step_mm)).astype(np.int64)
    within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    share = (within / np.repeat(counts, counts))[:, None]
    begin = np.repeat(line[:-1], counts, axis=0)
    return np.vstack((begin + share * (np.repeat(line[1:], counts, axis=0) - begin), line[-1:]))


def _edge(inside: Points, beyond: Points, outside: Shape) -> Points:
    """The point, still inside, where the segment between the two points crosses the edge."""
    low, high = 0.0, 1.0
    for _ in range(30):
        middle = (low + high) / 2
        if float(outside((inside + middle * (beyond - inside))[None])[0]) > 0:
            high = middle
        else:
            low = middle
    return np.asarray(inside + low * (beyond - inside))
