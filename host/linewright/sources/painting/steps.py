"""Lines where a gradient jumps: hard stops, and the ends of repeated gradients."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from linewright.sources.painting.flatten import Floats, Ints, Polylines, polylines_of
from linewright.sources.painting.gradients import Gradient, Stop
from linewright.sources.painting.inks import contrast
from linewright.sources.painting.marks import Paint
from linewright.sources.painting.matrices import inverse, multiply, scaling
from linewright.sources.painting.runs import Runs, Segmented, crossings
from linewright.sources.painting.sight import NEAR_MM, Sight

STEP: Final = 0.1
"""Smallest drawn jump, as a share of the range of red, green or blue on white."""

MOST: Final = 2000
"""Most lines of one gradient; a finer one is treated as a tone."""

MOST_POINTS: Final = 400_000
"""Most points of the circles of one gradient; very large pictures get coarser circles."""


def steps(sight: Sight, marks: list[int], tolerance_mm: float) -> tuple[Polylines, list[str]]:
    """Lines across fillings where their gradient jumps.

    Parameters
    ----------
    marks : numbers of marks with a visible filling.

    Returns
    -------
    Lines whose ``owner`` is the mark, and their colours, those of the side with more contrast to paper.
    """
    found: list[Floats] = []
    owners: list[int] = []
    colours: list[str] = []
    for number in marks:
        paint = sight.marks[number].fill
        region = sight.shapes.fill_of(number)
        if paint is None or paint.gradient is None or region is None or not sight.shapes.encloses(number):
            continue
        zoom = sight.shapes.placed.zoom
        for line, colour in _of_gradient(paint, zoom, sight.regions.boxes_mm[region], tolerance_mm):
            found.append(line)
            owners.append(number)
            colours.append(colour)
    lines = polylines_of(found, np.arange(len(found)).tolist())
    if not found:
        return lines, []
    numbers = np.array(owners, dtype=np.int64)
    inside = _inside(lines, numbers, sight)
    kept = inside.owner
    return Polylines(inside.points_mm, inside.starts, numbers[kept]), [colours[i] for i in kept.tolist()]


def _inside(lines: Polylines, marks: Ints, sight: Sight) -> Polylines:
    """The parts of lines inside the fillings of their marks."""
    region_of_mark = {int(mark): sight.shapes.fill_of(int(mark)) for mark in np.unique(marks)}
    region = np.array([region_of_mark[int(mark)] for mark in marks], dtype=np.int64)
    parts = Segmented(lines)
    edges = np.flatnonzero(np.isin(sight.regions.shape, region))
    pair, edge = sight.pairs(parts, edges)
    own = sight.regions.shape[edge] == region[parts.stroke[pair]]
    pair, edge = pair[own], edge[own]
    regions = sight.regions
    hit, share, _, _ = crossings(parts.begin[pair], parts.end[pair], regions.begin[edge], regions.end[edge], NEAR_MM)
    runs = Runs(parts, pair[hit], share)
    seen = regions.inside(region[runs.stroke], runs.middle)
    return runs.kept(runs.smoothed(seen, sight.pen_mm / 3, sight.pen_mm / 3))[0]


def _of_gradient(paint: Paint, zoom: float, box_mm: Floats, tolerance_mm: float) -> list[tuple[Floats, str]]:
    """Lines of a gradient across a box on the sheet, with their colours."""
    gradient = paint.gradient
    assert gradient is not None
    jumps = _jumps(gradient, paint.alpha)
    if not jumps:
        return []
    matrix = multiply(scaling(zoom, zoom), gradient.matrix)
    a, b, c, d, e, f = inverse(matrix)
    x0, y0, x1, y1 = box_mm
    radial = gradient.circles[2] > 0.0 or gradient.circles[5] > 0.0
    with np.errstate(all="ignore"):  # checked for NaN below
        corners = np.array(((x0, y0), (x1, y0), (x1, y1), (x0, y1))) @ np.array(((a, b), (c, d))) + (e, f)
        places = _around_circle(gradient, corners) if radial else _along_line(gradient, corners)
    if places is None or not np.isfinite((*places, *corners.ravel())).all():
        return []
    found = []
    repeated = _repeated(jumps, gradient.spread, *places)
    most = MOST_POINTS // max(1, len(repeated))
    for at, colour in repeated:
        line = _circle(gradient, at, matrix, tolerance_mm, most) if radial else _straight(gradient, at, corners)
        if line is not None:
            a, b, c, d, e, f = matrix
            found.append((line @ np.array(((a, b), (c, d))) + (e, f), colour))
    return found


def _jumps(gradient: Gradient, alpha: float) -> list[tuple[float, str]]:
    """Offsets of the jumps, with the colour of higher contrast."""
    stops = gradient.stops
    offsets = np.maximum.accumulate(np.array([stop.offset for stop in stops]))
    found = []
    i = 0
    while i < len(stops):
        j = i
        while j + 1 < len(stops) and offsets[j + 1] == offsets[i]:
            j += 1
        if j > i and _differ(stops[i], stops[j], alpha):
            found.append((float(offsets[i]), _stronger(stops[i], stops[j])))
        i = j + 1
    if gradient.spread == "repeat" and _differ(stops[-1], stops[0], alpha):
        # In a repeated gradient the end meets the start; jumps at 0 or 1 are part of that.
        found = [one for one in found if 0.0 < one[0] < 1.0] + [(0.0, _stronger(stops[-1], stops[0]))]
    return found


def _differ(first: Stop, second: Stop, alpha: float) -> bool:
    def on_white(stop: Stop) -> Floats:
        colour = np.array([int(stop.colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
        return np.asarray(1.0 - alpha * stop.alpha * (1.0 - colour))

    return bool(np.abs(on_white(first) - on_white(second)).max() > STEP)


def _stronger(first: Stop, second: Stop) -> str:
    return max(first, second, key=lambda stop: stop.alpha * contrast(stop.colour)).colour


def _repeated(jumps: list[tuple[float, str]], spread: str, low: float, high: float) -> list[tuple[float, str]]:
    """All jumps between two parameters, for a gradient continued beyond its ends."""
    if spread == "pad":
        return [one for one in jumps if low <= one[0] <= high]
    first, last = math.floor(low), math.ceil(high)
    if (last - first) * len(jumps) > MOST:
        return []
    found = []
    for whole in range(first, last + 1):
        mirrored = spread == "reflect" and whole % 2 == 1
        for offset, colour in jumps:
            at = whole + (1.0 - offset if mirrored else offset)
            if low <= at <= high:
                found.append((at, colour))
    return found


def _along_line(gradient: Gradient, corners: Floats) -> tuple[float, float] | None:
    x0, y0, _, x1, y1, _ = gradient.circles
    dx, dy = x1 - x0, y1 - y0
    at = ((corners[:, 0] - x0) * dx + (corners[:, 1] - y0) * dy) / (dx * dx + dy * dy)
    return float(at.min()), float(at.max())


def _straight(gradient: Gradient, at: float, corners: Floats) -> Floats:
    x0, y0, _, x1, y1, _ = gradient.circles
    dx, dy = x1 - x0, y1 - y0
    middle = np.array((x0 + at * dx, y0 + at * dy))
    across = np.array((-dy, dx)) / math.hypot(dx, dy)
    reach = (corners - middle) @ across
    return np.stack((middle + reach.min() * across, middle + reach.max() * across))


def _around_circle(gradient: Gradient, corners: Floats) -> tuple[float, float] | None:
    """Smallest and largest parameter whose circle intersects a box; None for circles that are not nested."""
    x0, y0, r0, x1, y1, r1 = gradient.circles
    if math.hypot(x1 - x0, y1 - y0) >= abs(r1 - r0):
        return None
    # Every corner is inside the circle whose radius exceeds its distance.
    away = float(np.hypot(corners[:, 0] - x0, corners[:, 1] - y0).max())
    speed = r1 - r0 - math.copysign(math.hypot(x1 - x0, y1 - y0), r1 - r0)
    if speed == 0.0:
        return None
    end, start = (away - r0) / speed, -r0 / (r1 - r0)
    return min(start, end), max(start, end)


def _circle(gradient: Gradient, at: float, matrix: tuple[float, ...], tolerance_mm: float, most: int) -> Floats | None:
    x0, y0, r0, x1, y1, r1 = gradient.circles
    radius = r0 + at * (r1 - r0)
    if radius <= 0.0:
        return None
    widest = radius * math.sqrt(matrix[0] ** 2 + matrix[1] ** 2 + matrix[2] ** 2 + matrix[3] ** 2)
    if not 0.0 < widest < math.inf:
        return None
    count = math.pi / math.acos(max(0.0, 1.0 - tolerance_mm / widest)) if widest < 1e9 * tolerance_mm else most
    count = math.ceil(min(max(count, 12), most))
    turn = np.linspace(0.0, 2.0 * math.pi, count + 1)
    centre = np.array((x0 + at * (x1 - x0), y0 + at * (y1 - y0)))
    return np.asarray(centre + radius * np.column_stack((np.cos(turn), np.sin(turn))))
