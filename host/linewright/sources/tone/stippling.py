"""Stippling: dots at the weighted centres of Voronoi cells.

A. Secord, "Weighted Voronoi stippling", NPAR 2002: points at the weighted centres of their Voronoi cells are evenly
spread at every density. Lloyd's iteration moves them there, here on a grid, with steps enlarged by half, which halves
their number (over-relaxation).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import available, compiled
from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.picture import Report
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import Layer, ToneMethod

PIXELS_PER_POINT: Final = 30
"""Grid pixels per point: a cell's centre is accurate to about a twentieth of its size."""

STRETCH: Final = 1.5
"""Over-relaxation of the steps; at 2 the dots oscillate for ever."""

PALEST: Final = 0.015
"""Coverage below which paper stays bare: single dots in a white sky look like dirt."""

POINTS_HIGH: Final = 400_000
"""Most dots: enough for the darkest picture on A3 with a pen of 0.5 mm."""

SPIRAL_PITCH: Final = 0.85
"""In pen widths: pitch of the spiral that fills a larger dot; turns overlap slightly."""


@dataclass(frozen=True)
class Stippling(ToneMethod):
    """Dots."""

    points: int = settings.number(
        "how many dots; 0: as many as the tones need. Few dots become large ones", 0, 0, POINTS_HIGH
    )
    rounds: int = settings.number("how often the dots settle", 30, 1, 300)
    seed: int = settings.seed("of the random first places")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """One dot each, or a small spiral if a dot is larger than the pen."""
        field = layer.field
        wanted = np.where(field.coverage < PALEST, 0.0, field.coverage)
        area = field.width_mm * field.height_mm
        needed = float(density(wanted, field.pen_mm).mean()) * area
        count = self.points or round(min(needed, POINTS_HIGH))
        if count < 1 or needed == 0:
            return []
        if not self.points and count > MANY:
            layer.note(
                f"{count} dots as wide as the pen are {count / TAPS_S / 3600:.0f} h of tapping at {TAPS_S} a second; "
                f"stippling:points={MANY} takes fewer and larger ones"
            )
        # The dot size that gives the coverage with this count, at least the pen's own.
        size = dot_for(wanted, area, count, field.pen_mm)
        spread = Field(density(wanted, size).astype(np.float32), field.width_mm, field.height_mm, field.pen_mm)
        count = min(count, round(float(spread.coverage.mean()) * area) or 1)
        places = settled(spread, count, self.rounds, self.seed, layer.report, "stippling")
        return dots(places, size, field)


MANY: Final = 10_000
TAPS_S: Final = 3
"""Dots per second of a hobby servo; more than an hour of them gives a warning."""


COVERS: Final = (
    (0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.35, 1.5, 1.7),
    (0.0, 0.3, 0.5, 0.696, 0.783, 0.856, 0.912, 0.950, 0.975, 0.993, 0.998, 1.0),
)
"""Total area of the dots per paper area, and their coverage: measured on 2500 settled dots of constant density. In a
perfect triangular lattice dots touch at 0.907 and cover everything at 1.209; settled ones are not quite perfect."""


def density(coverage: NDArray[np.floating], dot_mm: float) -> NDArray[np.float64]:
    """Dots per mm^2 that give this coverage after Lloyd's iteration."""
    return np.asarray(np.interp(coverage, COVERS[1], COVERS[0]) / (np.pi * dot_mm**2 / 4))


def dot_for(coverage: NDArray[np.floating], area_mm2: float, count: int, least_mm: float) -> float:
    """Diameter of ``count`` dots that give the wanted coverage, mm; at least ``least_mm``.

    Density is proportional to 1 / diameter^2, so it follows from that of any one diameter.
    """
    unit = float(density(coverage, 1.0).mean()) * area_mm2
    return max(least_mm, float(np.sqrt(unit / count)))


def settled(spread: Field, count: int, rounds: int, seed: int, report: Report, state: str) -> Points:
    """(count, 2) points, mm, at the weighted centres of their cells; ``spread.coverage`` is a density, in any unit."""
    rng = np.random.default_rng(seed)
    area = spread.width_mm * spread.height_mm
    grid = _sampled(spread, float(np.sqrt(area / (PIXELS_PER_POINT * count))))
    weight = np.ascontiguousarray(grid.coverage, dtype=np.float64)
    rows, columns = weight.shape
    running = np.cumsum(weight)
    at = np.searchsorted(running, (np.arange(count) + rng.random(count)) / count * running[-1], side="right")
    at = np.minimum(at, weight.size - 1)
    x, y = at % columns + rng.random(count), at // columns + rng.random(count)
    centre = _centres if available() else _centres_by_tree
    for number in range(rounds):
        report(state, number / rounds)
        cx, cy = centre(weight, x, y)
        stretch = STRETCH if number < rounds - 3 else 1.0  # no over-relaxation in the last steps
        x = np.clip(x + stretch * (cx - x), 0.0, columns - 1e-9)
        y = np.clip(y + stretch * (cy - y), 0.0, rows - 1e-9)
    return np.column_stack((x * grid.pixel_mm[0], y * grid.pixel_mm[1]))


def _sampled(spread: Field, pixel_mm: float) -> Field:
    """A density on another grid; unlike coverage it may exceed 1."""
    top = float(spread.coverage.max())
    unit = Field(spread.coverage / np.float32(top), spread.width_mm, spread.height_mm, spread.pen_mm)
    return unit.sampled(pixel_mm)


@compiled
def _centres(weight: NDArray[np.float64], x: Points, y: Points) -> tuple[Points, Points]:  # pragma: no cover
    """Weighted centre of the pixels nearest to each point; a point without pixels is not moved.

    Points are in buckets of about two each; for each pixel, rings of buckets are searched until no farther ring can
    contain a nearer point.
    """
    rows, columns = weight.shape
    count = len(x)
    side = max(1.0, np.sqrt(2.0 * rows * columns / count))
    across, down = int(columns / side) + 1, int(rows / side) + 1
    first = np.full(across * down, -1, np.int64)
    after = np.full(count, -1, np.int64)
    for i in range(count):
        b = int(y[i] / side) * across + int(x[i] / side)
        after[i] = first[b]
        first[b] = i
    mass, sum_x, sum_y = np.zeros(count), np.zeros(count), np.zeros(count)
    for row in range(rows):
        near = -1
        for column in range(columns):
            w = weight[row, column]
            if w <= 0.0:
                continue
            px, py = column + 0.5, row + 0.5
            bx, by = int(px / side), int(py / side)
            best = 1e30
            if near >= 0:  # start with the neighbouring pixel's result
                best = (x[near] - px) ** 2 + (y[near] - py) ** 2
            for ring in range(max(across, down) + 1):
                # Lower bound of the distance to everything in this ring.
                reach = min(px - (bx - ring + 1) * side, (bx + ring) * side - px)
                reach = min(reach, py - (by - ring + 1) * side, (by + ring) * side - py)
                if ring > 0 and reach > 0 and reach * reach > best:
                    break
                for v in range(by - ring, by + ring + 1):
                    if v < 0 or v >= down:
                        continue
                    whole = v == by - ring or v == by + ring
                    for u in range(bx - ring, bx + ring + 1, 1 if whole else max(1, 2 * ring)):
                        if u < 0 or u >= across:
                            continue
                        i = first[v * across + u]
                        while i >= 0:
                            d = (x[i] - px) ** 2 + (y[i] - py) ** 2
                            if d < best:
                                best = d
                                near = i
                            i = after[i]
            mass[near] += w
            sum_x[near] += w * px
            sum_y[near] += w * py
    out_x, out_y = x.copy(), y.copy()
    for i in range(count):
        if mass[i] > 0:
            out_x[i] = sum_x[i] / mass[i]
            out_y[i] = sum_y[i] / mass[i]
    return out_x, out_y


def _centres_by_tree(weight: NDArray[np.float64], x: Points, y: Points) -> tuple[Points, Points]:
    """The same with scipy's tree: eight times slower, but the fastest without numba."""
    from scipy.spatial import cKDTree

    row, column = np.nonzero(weight)
    share = weight[row, column]
    _, near = cKDTree(np.column_stack((x, y))).query(np.column_stack((column + 0.5, row + 0.5)), workers=-1)
    mass = np.bincount(near, share, len(x))
    safe = np.where(mass > 0, mass, 1.0)
    out_x = np.bincount(near, share * (column + 0.5), len(x)) / safe
    out_y = np.bincount(near, share * (row + 0.5), len(x)) / safe
    return np.where(mass > 0, out_x, x), np.where(mass > 0, out_y, y)


def dots(places: Points, size_mm: float, field: Field) -> list[Points]:
    """Strokes that make dots of this diameter: a single touch, or a spiral from the centre outwards."""
    radius = (size_mm - field.pen_mm) / 2
    if radius < field.pen_mm / 20:
        return [place[None] for place in places]
    turns = int(np.ceil(radius / (SPIRAL_PITCH * field.pen_mm)))
    corners = max(8, int(np.ceil(2 * np.pi / np.arccos(1 - min(0.5, 0.03 * field.pen_mm / radius)))))
    theta = np.linspace(0, 2 * np.pi * turns, corners * turns + 1)
    way = np.concatenate((radius * theta / (2 * np.pi * turns), np.full(corners, radius)))
    angle = np.concatenate((theta, np.linspace(0, 2 * np.pi, corners + 1)[1:]))
    shape = way[:, None] * np.column_stack((np.cos(angle), np.sin(angle)))
    whole = places[:, None, :] + shape
    return list(np.clip(whole, 0.0, [field.width_mm, field.height_mm]))
