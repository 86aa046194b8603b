"""Labyrinth lines: closed curves that grow over the picture and wind, closer together where it is darker.

H. Pedersen and K. Singh, "Organic labyrinths and mazes", NPAR 2006: every point of a curve is moved at random (Brownian
term), towards its neighbours (fairing), away from passages nearer than wanted, and towards those a little farther
(repulsion and attraction); tone sets the distance. The curve is resampled as it grows. Here it starts wide and becomes
finer everywhere at once, and the distance is corrected by the measured `coverage`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.photograph import Floats32
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.curve_growth import renewed, step
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import Layer, ToneMethod

PALEST: Final = 0.04
"""Coverage below which paper stays bare: passages would be 25 pens wide."""

BARE_PENS: Final = 5.0
"""Half the width of the smallest area that stays bare."""

CLOSEST: Final = 1.2
CLOSEST_AT_LAST: Final = 1.0
WIDEST: Final = 16.0
"""Largest distance of passages, in pens: at first, and after corrections, because rounding shortens the line."""

STEEPEST: Final = 0.25
"""Largest change of the distance per length of paper: neighbouring passages are about equally wide."""

FINER: Final = 0.975
"""Factor by which all passages become finer per step, until they reach the wanted distance."""

AT_FIRST: Final = 10.0
"""Initial passage width, in pens."""

GROWTH: Final = 0.25
"""Probability per step that an edge with nothing near it gets another node: the curve doubles in 14 steps."""

CORRECTED: Final = 20
"""Steps between corrections of the distance by the measured coverage."""

LENS_PENS: Final = 5.0
"""Blur for comparing ink and tone."""

SMALLEST_PENS: Final = 3.0
"""Half the width of the smallest island of tone that gets a curve."""

NODES_HIGH: Final = 400_000
"""Most nodes: about 100 m of line with a pen of 0.5 mm, more than any paper bears."""

ROUNDING: Final = (1.2, 0.8, 0.4)
"""Widths, in nodes, of the averaging along the curve."""

TOLERANCE: Final = 0.04
"""In pen widths: largest deviation of a dropped vertex."""


@dataclass(frozen=True)
class Labyrinth(ToneMethod):
    """Winding passages, one curve per island of tone."""

    wander: float = settings.number("randomness of the curve; 0: calm bends, 1: crumpled", 0.3, 0.0, 1.0)
    fairing: float = settings.number("how round bends are", 0.5, 0.1, 1.0)
    rounds: int = settings.number("additional steps after the passages have reached their final width", 80, 10, 1000)
    seed: int = settings.seed("of the bends")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """Closed curves that cross neither themselves nor each other."""
        field = layer.field
        layer.report("finding room for curves", 0.0)
        grid = field.sampled(max(field.pen_mm / 2, *field.pixel_mm))
        pixel = np.array(grid.pixel_mm)
        allowed = _allowed(grid)
        cover = np.where(allowed, grid.coverage, 0.0)
        apart = _apart(cover, allowed, field.pen_mm, pixel)
        rng = np.random.default_rng(self.seed)
        widest = AT_FIRST * field.pen_mm
        points, first = _first_curves(allowed, pixel, widest, rng)
        if not len(points):
            return []
        coarse = int(np.ceil(np.log(AT_FIRST / CLOSEST) / -np.log(FINER)))
        steps = coarse + self.rounds
        for number in range(steps):
            layer.report("growing", number / steps)
            wanted = np.maximum(apart, widest * FINER**number) if number < coarse else apart
            before, after = _neighbours(first)
            crowd, clear = np.zeros(len(points)), np.zeros(len(points))
            # The noise fades at the end, and the last steps smooth the curve.
            left = min(1.0, 2.5 * (1.0 - number / steps))
            noise = rng.normal(0.0, 0.12 * self.wander * left, points.shape)
            step(points, before, after, wanted, allowed, pixel, noise, self.fairing, crowd, clear)
            if number < steps - 10 and len(points) < NODES_HIGH:
                chance = rng.random(len(points))
                points, first = renewed(points, first, wanted, pixel, chance, GROWTH * left, crowd, clear)
            late = number - coarse
            if late > 0 and late % CORRECTED == 0 and number < steps - 15:
                lines = [_through(curve, ROUNDING[0], field) for curve in _curves(points, first)]
                apart = _corrected(apart, cover, allowed, lines, field, pixel)
        return _rounded(_curves(points, first), field)


def _allowed(grid: Field) -> NDArray[np.bool_]:
    """(h, w) where there is tone, without islands too small for a curve, half a pen inside the border."""
    from scipy import ndimage

    bare = grid.smoothed(grid.pen_mm).coverage < PALEST
    # Narrower than a pale passage: curves pass over it.
    reach = BARE_PENS * grid.pen_mm / min(grid.pixel_mm)
    core = ndimage.distance_transform_edt(bare) > reach
    allowed = ndimage.distance_transform_edt(~core) > reach if core.any() else np.ones_like(bare)
    rim = int(np.ceil(grid.pen_mm / 2 / min(grid.pixel_mm)))
    held = np.zeros_like(allowed)
    held[rim:-rim, rim:-rim] = allowed[rim:-rim, rim:-rim]
    labels, count = ndimage.label(held)
    depth = ndimage.distance_transform_edt(held) * min(grid.pixel_mm)
    deepest = ndimage.maximum(depth, labels, np.arange(count + 1)) if count else np.zeros(1)
    deep_enough = np.asarray(deepest) >= SMALLEST_PENS * grid.pen_mm
    deep_enough[0] = False
    return np.asarray(deep_enough[labels])


def _apart(cover: Points, allowed: NDArray[np.bool_], pen_mm: float, pixel: Points) -> Points:
    """(h, w) mm: distance of passages, with a slope of at most `STEEPEST`."""
    apart = np.clip(pen_mm / np.maximum(cover, 1e-3), CLOSEST * pen_mm, WIDEST * pen_mm)
    apart[~allowed] = WIDEST * pen_mm
    return _levelled(apart.astype(np.float64), STEEPEST * float(pixel.mean()))


def _levelled(values: Points, rise: float) -> Points:
    """The largest function below ``values`` with a slope of at most ``rise`` per pixel, by two sweeps of its rows and
    two of its columns, as in the distance transform of G. Borgefors (1986).
    """
    level = values.copy()
    for axis in (0, 1):
        swept = np.moveaxis(level, axis, 0)
        for order in (range(1, len(swept)), range(len(swept) - 2, -1, -1)):
            for i in order:
                other = i - 1 if order.step > 0 else i + 1
                np.minimum(swept[i], swept[other] + rise, out=swept[i])
    return level


def _first_curves(
    allowed: NDArray[np.bool_], pixel: Points, passage_mm: float, rng: np.random.Generator
) -> tuple[Points, NDArray[np.int64]]:
    """Initial curves, and their start indices: a closed curve around a random tree in each part with enough space, as
    in `ribbon`, and a circle in smaller islands.
    """
    from scipy import ndimage, sparse

    labels, count = ndimage.label(allowed)
    depth = ndimage.distance_transform_edt(allowed) * float(pixel.min())
    rows, columns = (
        max(1, int(n * side / (2 * passage_mm))) for n, side in zip(allowed.shape, pixel[::-1], strict=True)
    )
    y, x = np.mgrid[:rows, :columns] + 0.5
    middles = np.column_stack((x.ravel() / columns * allowed.shape[1], y.ravel() / rows * allowed.shape[0]))
    at = middles.astype(np.int64)
    cells = (depth[at[:, 1], at[:, 0]] > passage_mm / np.sqrt(2)).reshape(rows, columns)
    number = np.arange(rows * columns).reshape(rows, columns)
    doors = np.concatenate([
        np.column_stack((number[cut_a][both], number[cut_b][both]))
        for cut_a, cut_b in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1], np.s_[1:]))
        for both in (cells[cut_a] & cells[cut_b],)
    ])  # fmt: skip
    chances = sparse.coo_array((rng.random(len(doors)) + 0.5, doors.T), shape=(rows * columns,) * 2)
    tree = sparse.csgraph.minimum_spanning_tree(chances.tocsr()).tocoo()
    places = middles * pixel
    branches = shapely.linestrings(np.stack((places[tree.row], places[tree.col]), axis=1))
    hulls = shapely.union_all(shapely.buffer(branches, passage_mm / 2, cap_style="square", join_style="mitre"))
    curves = [shapely.get_coordinates(part.exterior)[:-1] for part in shapely.get_parts(hulls)]
    taken = np.unique(labels[at[tree.row, 1], at[tree.row, 0]])
    left = np.setdiff1d(np.arange(1, count + 1), taken)
    turn = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)
    for row, column in ndimage.maximum_position(depth, labels, left) if len(left) else ():
        middle = (np.array([column, row]) + 0.5) * pixel
        curves.append(middle + 0.6 * float(depth[row, column]) * np.column_stack((np.cos(turn), np.sin(turn))))
    first = np.cumsum([0, *(len(curve) for curve in curves)], dtype=np.int64)
    return (np.concatenate(curves) if curves else np.empty((0, 2))), first


def _neighbours(first: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(n,) previous and next node of each, along closed curves."""
    n = int(first[-1])
    before, after = np.arange(-1, n - 1), np.arange(1, n + 1)
    before[first[:-1]] = first[1:] - 1
    after[first[1:] - 1] = first[:-1]
    return before, after


def _curves(points: Points, first: NDArray[np.int64]) -> list[Points]:
    """Each curve, closed by its first point."""
    parts = [points[first[c] : first[c + 1]] for c in range(len(first) - 1)]
    return [np.vstack((part, part[:1])) for part in parts]


def _corrected(
    apart: Points, cover: Points, allowed: NDArray[np.bool_], curves: list[Points], field: Field, pixel: Points
) -> Points:
    """Distances corrected by missing or excess ink, compared through a blur."""
    from scipy import ndimage

    ink: Floats32 = inked(curves, (field.width_mm, field.height_mm), pen_mm=field.pen_mm, pixel_mm=float(pixel.mean()))
    sigma = LENS_PENS * field.pen_mm / float(pixel.mean())
    rows, columns = min(ink.shape[0], cover.shape[0]), min(ink.shape[1], cover.shape[1])
    got = np.zeros_like(cover)
    got[:rows, :columns] = ink[:rows, :columns]
    got, want = (ndimage.gaussian_filter(v * allowed, sigma, mode="nearest") for v in (got, cover))
    share = np.clip((want + 0.02) / (got + 0.02), 0.8, 1.25)
    new = np.clip(apart / share, CLOSEST_AT_LAST * field.pen_mm, 1.5 * WIDEST * field.pen_mm)
    return _levelled(new, STEEPEST * float(pixel.mean()))


def _rounded(curves: list[Points], field: Field) -> list[Points]:
    """Smooth lines near the nodes, as smooth as possible without crossings; in the worst case the curves themselves."""
    for sigma in ROUNDING:
        lines = [_through(curve, sigma, field) for curve in curves]
        if shapely.is_simple(shapely.multilinestrings([shapely.linestrings(line) for line in lines])):
            return lines
    return curves


def _through(curve: Points, sigma: float, field: Field) -> Points:
    """A smooth closed line through the nodes, averaged along the curve with this width in nodes."""
    from scipy import ndimage
    from scipy.interpolate import CubicSpline

    calm = ndimage.gaussian_filter1d(curve[:-1], sigma, axis=0, mode="wrap")
    calm = np.vstack((calm, calm[:1]))
    at = np.arange(len(calm), dtype=np.float64)
    fine = np.linspace(0.0, at[-1], 4 * len(calm) - 3)
    line = np.clip(CubicSpline(at, calm, bc_type="periodic")(fine), 0.0, [field.width_mm, field.height_mm])
    line[-1] = line[0]
    thin = shapely.simplify(shapely.linestrings(line), TOLERANCE * field.pen_mm)
    return np.asarray(shapely.get_coordinates(thin))
