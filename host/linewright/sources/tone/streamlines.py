"""Evenly spaced streamlines, closer together where it is darker.

B. Jobard and W. Lefer, "Creating evenly-spaced streamlines of arbitrary density", 1997: lines grow from seeds that
stand beside finished ones at the distance wanted there, and end where they come closer to another line than a share of
it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.compiled import compiled
from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.photograph import Floats32
from linewright.sources.picture import Report
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.field import Field
from linewright.sources.tone.form import directions
from linewright.sources.tone.method import Layer, ToneMethod

SEED_SHARE: Final = 0.8
"""Of the distance wanted: as near to other lines a new one begins. At 1, where lines part a new one begins only once
there is room for two, and tone comes in stairs."""

TEST_SHARE: Final = 0.72
"""Of the distance wanted: nearer than that to another line, a line ends. Their figure 5 shows 0.5 to 0.9: smaller gives
longer lines and less even tone."""

STEP: Final = 0.5
"""In pens: of the integration, by the midpoint rule."""

WIDEST: Final = 16.0
"""In pens: distance of lines in the palest parts; paler ones stay bare."""

LEAST: Final = 6.0
"""In pens: shorter lines are specks."""

SLICE: Final = 20_000
"""Steps between two reports: a fraction of a second."""

TOLERANCE: Final = 0.05
"""In pens: how far vertices may be left out."""

TRIM_REACH: Final = 6.0
"""In pens: over which distance the first draft is compared with what is wanted."""

TRIM_FLOOR: Final = 0.05
TRIM_RANGE: Final = (0.75, 1.35)
"""How far the second draft may go from the first: where there is hardly ink, the quotient says little."""

CALIBRATION: Final = (
    (0.0, 0.0), (0.059, 0.07), (0.090, 0.1), (0.192, 0.2), (0.292, 0.3), (0.381, 0.4), (0.481, 0.5), (0.568, 0.6),
    (0.672, 0.7), (0.808, 0.85), (0.897, 1.0), (0.965, 1.2), (0.994, 1.5), (1.0, 1.8),
)  # fmt: skip
"""Coverage, and pen by the distance to ask for that leaves it: measured on even tones over swirling directions, three
draws each, drawn at true width; draws differ by 0.01."""


@dataclass(frozen=True)
class Streamlines(ToneMethod):
    """Long lines that bend with what they show."""

    angle_deg: float = settings.number("direction where there is no form; 0 is level", 30.0, -180, 180, "deg")
    form: float = settings.number("how closely lines follow the form: 0 not at all, 1 fully", 1.0, 0.0, 1.0)
    reach: float = settings.number("over which distance form is averaged, in pen widths", 8.0, 1.0, 100.0, "pens")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """In the order in which they grew, each beside an earlier one."""
        turn = 30.0 * layer.number
        return grown(layer.field, self.angle_deg + turn, self.form, self.reach, layer.report)


def grown(
    field: Field, angle_deg: float, form: float, reach: float, report: Report, *, across: float = 0.0
) -> list[Points]:
    """Streamlines whose density follows a field.

    Parameters
    ----------
    reach : over which distance form is averaged, in pens.
    across : degrees by which lines are to lie across the form in place of along it.
    """
    report("finding the form", 0.0)
    pen = field.pen_mm
    cosine, sine = directions(field, angle_deg - across, form, reach * pen)
    if across:
        c, s = np.cos(np.deg2rad(2 * across)), -np.sin(np.deg2rad(2 * across))  # y points down
        cosine, sine = c * cosine - s * sine, s * cosine + c * sine
    grid = field.smoothed(pen).sampled(pen)
    wanted = asked_for(grid.coverage.astype(np.float64))
    first = _lines(grid, cosine, sine, pen / wanted, report, (0.0, 0.5))
    # How much lines cover at a distance depends on how much they bend and part, so the first draft is looked at, and
    # asked for more where it came out pale, for less where dark.
    size = (field.width_mm, field.height_mm)
    seen = _broad(inked(first, size, pen_mm=pen, pixel_mm=pen))
    asked = _broad(grid.coverage)
    trim = np.clip((asked + TRIM_FLOOR) / (seen + TRIM_FLOOR), *TRIM_RANGE)
    return _lines(grid, cosine, sine, pen / (wanted * trim), report, (0.5, 1.0))


def _broad(coverage: Floats32) -> Floats32:
    """Coverage as an eye sees it that no longer sees lines."""
    from scipy import ndimage

    return np.asarray(ndimage.gaussian_filter(coverage, TRIM_REACH, mode="nearest"), dtype=np.float32)


def _lines(
    grid: Field, cosine: Points, sine: Points, apart: NDArray[np.float64], report: Report, share: tuple[float, float]
) -> list[Points]:
    """Lines at distances (h, w), mm; ``share`` says which part of the progress this is."""
    pen = grid.pen_mm
    bed = _Bed(grid, float((pen * pen / np.maximum(apart, pen / 2)).sum()) / (STEP * pen))
    # Seeds of last resort: everywhere, darkest first, so that no island of tone is left out.
    columns = grid.coverage.shape[1]
    order = np.argsort(-grid.coverage, axis=None, kind="stable")
    spare = np.column_stack(((order % columns + 0.5) * grid.pixel_mm[0], (order // columns + 0.5) * grid.pixel_mm[1]))
    spare = spare[grid.coverage.ravel()[order] > 1 / WIDEST]
    size = np.array([grid.width_mm, grid.height_mm])
    apart = np.ascontiguousarray(apart)
    while _grow(
        bed.points, bed.line, bed.arc, bed.after, bed.first, bed.begins, bed.state, bed.side, cosine, sine, apart,
        spare, size, pen, SLICE,
    ):  # fmt: skip
        done = 0.5 * float(bed.state[2]) / max(1, bed.state[1]) + 0.5 * float(bed.state[3]) / max(1, len(spare))
        report("streamlines", share[0] + min(0.99, done) * (share[1] - share[0]))
    return [
        shapely.get_coordinates(shapely.simplify(shapely.linestrings(line), TOLERANCE * pen)) for line in bed.lines()
    ]


def asked_for(coverage: NDArray[np.float64]) -> NDArray[np.float64]:
    """Pen by the distance to ask for, so that lines cover so much; never quite 0."""
    return np.asarray(np.maximum(np.interp(coverage, *np.array(CALIBRATION).T), 1.0 / (2 * WIDEST)))


class _Bed:
    """Room for the points of all lines, in buckets by place, as flat arrays that compiled code fills.

    ``state`` holds the number of points and of lines, the line whose sides are searched next, the next spare seed, and
    the place along that line.
    """

    def __init__(self, field: Field, expected: float) -> None:
        room = int(2 * expected) + 20_000
        self.points = np.zeros((room, 2))
        self.line = np.zeros(room, dtype=np.int64)
        self.arc = np.zeros(room)
        self.after = np.full(room, -1, dtype=np.int64)
        self.side = field.pen_mm
        across, down = int(field.width_mm / self.side) + 1, int(field.height_mm / self.side) + 1
        self.first = np.full((down, across), -1, dtype=np.int64)
        self.begins = np.zeros(room // 4 + 2, dtype=np.int64)
        self.state = np.zeros(5, dtype=np.int64)

    def lines(self) -> list[Points]:
        """Points of every line, in the order along it."""
        found = []
        for number in range(int(self.state[1])):
            part = slice(self.begins[number], self.begins[number + 1])
            found.append(self.points[part][np.argsort(self.arc[part], kind="stable")])
        return found


@compiled
def _heading(
    x: float, y: float, cosine: Points, sine: Points, size: Points, hx: float, hy: float
) -> tuple[float, float]:  # pragma: no cover
    """Unit direction at a place, of the two the one that is closer to (hx, hy)."""
    rows, columns = cosine.shape
    u = min(max(x / size[0] * columns - 0.5, 0.0), columns - 1.0)
    v = min(max(y / size[1] * rows - 0.5, 0.0), rows - 1.0)
    i, j = min(int(v), max(rows - 2, 0)), min(int(u), max(columns - 2, 0))
    i1, j1 = min(i + 1, rows - 1), min(j + 1, columns - 1)
    fv, fu = v - i, u - j
    c = (cosine[i, j] * (1 - fu) + cosine[i, j1] * fu) * (1 - fv) + (
        cosine[i1, j] * (1 - fu) + cosine[i1, j1] * fu
    ) * fv
    s = (sine[i, j] * (1 - fu) + sine[i, j1] * fu) * (1 - fv) + (sine[i1, j] * (1 - fu) + sine[i1, j1] * fu) * fv
    angle = 0.5 * np.arctan2(s, c)
    dx, dy = np.cos(angle), np.sin(angle)
    if dx * hx + dy * hy < 0:
        return -dx, -dy
    return dx, dy


@compiled
def _near(
    x: float, y: float, limit: float, line: int, arc: float, own: float,
    points: Points, line_of: NDArray[np.int64], arc_of: Points, after: NDArray[np.int64], first: NDArray[np.int64],
    side: float,
) -> bool:  # fmt: skip  # pragma: no cover
    """Whether a point lies nearer than ``limit``; of the same line only those more than ``own`` away along it count."""
    down, across = first.shape
    low_u, high_u = max(0, int((x - limit) / side)), min(across - 1, int((x + limit) / side))
    low_v, high_v = max(0, int((y - limit) / side)), min(down - 1, int((y + limit) / side))
    for v in range(low_v, high_v + 1):
        for u in range(low_u, high_u + 1):
            i = first[v, u]
            while i >= 0:
                if (points[i, 0] - x) ** 2 + (points[i, 1] - y) ** 2 < limit * limit and (
                    line_of[i] != line or abs(arc_of[i] - arc) > own
                ):
                    return True
                i = after[i]
    return False


@compiled
def _grow(
    points: Points, line_of: NDArray[np.int64], arc_of: Points, after: NDArray[np.int64], first: NDArray[np.int64],
    begins: NDArray[np.int64], state: NDArray[np.int64], side: float, cosine: Points, sine: Points, apart: Points,
    spare: Points, size: Points, pen: float, budget: int,
) -> bool:  # fmt: skip  # pragma: no cover
    """Grow lines until about ``budget`` points have been tried; false when there is no place left for another."""
    rows, columns = apart.shape
    step = STEP * pen
    widest = WIDEST * pen
    tried = 0
    while tried < budget:
        # The next seed: beside a finished line, left and right of each of its points, or a spare one.
        if state[2] < state[1]:
            i = state[4] // 2
            if i < begins[state[2]]:
                i = begins[state[2]]
                state[4] = 2 * i
            if i >= begins[state[2] + 1]:
                state[2] += 1
                continue
            hand = 1.0 if state[4] % 2 == 0 else -1.0
            state[4] += 1
            px, py = points[i, 0], points[i, 1]
            dx, dy = _heading(px, py, cosine, sine, size, 1.0, 0.0)
            gap = apart[min(rows - 1, int(py / size[1] * rows)), min(columns - 1, int(px / size[0] * columns))]
            x, y = px - hand * dy * gap * SEED_SHARE * 1.01, py + hand * dx * gap * SEED_SHARE * 1.01
        elif state[3] < len(spare):
            x, y = spare[state[3], 0], spare[state[3], 1]
            state[3] += 1
        else:
            return False
        tried += 1
        if x < 0 or y < 0 or x > size[0] or y > size[1]:
            continue
        gap = apart[min(rows - 1, int(y / size[1] * rows)), min(columns - 1, int(x / size[0] * columns))]
        if gap > widest or _near(x, y, gap * SEED_SHARE, -1, 0.0, 0.0, points, line_of, arc_of, after, first, side):
            continue
        number, begin = state[1], state[0]
        if number + 2 >= len(begins):
            return False
        # Grow both ways.
        length = 0.0
        sx, sy = x, y
        hx, hy = _heading(sx, sy, cosine, sine, size, 1.0, 0.0)
        for way in (1.0, -1.0):
            x, y, gx, gy = sx, sy, way * hx, way * hy
            arc = 0.0
            while True:
                if arc != 0.0 or way > 0:
                    n = state[0]
                    if n >= len(points):
                        return False
                    points[n, 0], points[n, 1], line_of[n], arc_of[n] = x, y, number, arc
                    u, v = min(int(x / side), first.shape[1] - 1), min(int(y / side), first.shape[0] - 1)
                    after[n] = first[v, u]
                    first[v, u] = n
                    state[0] += 1
                dx, dy = _heading(x, y, cosine, sine, size, gx, gy)
                mx, my = x + 0.5 * step * dx, y + 0.5 * step * dy
                dx, dy = _heading(mx, my, cosine, sine, size, dx, dy)
                x, y, gx, gy = x + step * dx, y + step * dy, dx, dy
                arc += way * step
                tried += 1
                if x < 0 or y < 0 or x > size[0] or y > size[1] or abs(arc) > 4 * (size[0] + size[1]):
                    break
                gap = apart[min(rows - 1, int(y / size[1] * rows)), min(columns - 1, int(x / size[0] * columns))]
                if gap > widest:
                    break
                limit = gap * TEST_SHARE
                if _near(x, y, limit, number, arc, 3 * gap + step, points, line_of, arc_of, after, first, side):
                    break
            length += abs(arc)
        if length < LEAST * pen:
            # A speck: take its points out again, the last one first, as they went in.
            while state[0] > begin:
                n = state[0] - 1
                u = min(int(points[n, 0] / side), first.shape[1] - 1)
                v = min(int(points[n, 1] / side), first.shape[0] - 1)
                first[v, u] = after[n]
                state[0] -= 1
            continue
        state[1] += 1
        begins[number + 1] = state[0]
    return True
