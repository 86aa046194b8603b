"""`Segments`: lines, cubics and elliptic arcs of a whole picture as rows, before flattening.

Every row has eight numbers of any kind, so that a picture is one array:

======  ==============================================================================
kind    row
======  ==============================================================================
LINE    ``x0 y0  x0 y0  x1 y1  x1 y1``: a cubic with its controls on its ends
CUBIC   ``x0 y0  x1 y1  x2 y2  x3 y3``; a quadratic is raised to a cubic, which is exact
ARC     ``cx cy  ux uy  vx vy  t0 dt``: ``P(t) = c + u*cos(t) + v*sin(t)``, t from t0 to t0+dt
======  ==============================================================================

An affine matrix maps the four point pairs of the first two kinds, and ``c``, ``u``, ``v`` of the third, so arcs stay
exact ellipses under scaling, skewing and mirroring.
"""

from __future__ import annotations

import math
from array import array

LINE, CUBIC, ARC = 0, 1, 2
ROW = 8


class Segments:
    """Grows while a file is read. An outline is a run of rows; `begin` starts one.

    Attributes
    ----------
    rows : ``ROW`` doubles per segment, user units of its element.
    kinds : one byte per segment.
    starts : first row of each outline.
    closed : whether each outline returns to its first point.
    """

    def __init__(self) -> None:
        self.rows = array("d")
        self.kinds = bytearray()
        self.starts: list[int] = []
        self.closed: list[bool] = []

    def __len__(self) -> int:
        return len(self.kinds)

    def begin(self) -> None:
        """Start an outline, which must get at least one segment before the next one starts."""
        self.starts.append(len(self.kinds))
        self.closed.append(False)

    def line(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """A straight segment."""
        self.rows.extend((x0, y0, x0, y0, x1, y1, x1, y1))
        self.kinds.append(LINE)

    def cubic(self, row: tuple[float, float, float, float, float, float, float, float]) -> None:
        """A cubic Bezier segment from its four points."""
        self.rows.extend(row)
        self.kinds.append(CUBIC)

    def quadratic(self, x0: float, y0: float, qx: float, qy: float, x1: float, y1: float) -> None:
        """A quadratic Bezier segment, raised to the cubic that is the same curve."""
        third = 1.0 / 3.0
        self.rows.extend((
            x0, y0,
            x0 + 2.0 * third * (qx - x0), y0 + 2.0 * third * (qy - y0),
            x1 + 2.0 * third * (qx - x1), y1 + 2.0 * third * (qy - y1),
            x1, y1,
        ))  # fmt: skip
        self.kinds.append(CUBIC)

    def ellipse_piece(self, cx: float, cy: float, rx: float, ry: float, t0: float, dt: float) -> None:
        """A piece of an ellipse with axes along x and y; parameters in radians."""
        self.rows.extend((cx, cy, rx, 0.0, 0.0, ry, t0, dt))
        self.kinds.append(ARC)

    def arc(
        self,
        start: tuple[float, float],
        radii: tuple[float, float],
        tilt_deg: float,
        large: bool,
        sweep: bool,
        end: tuple[float, float],
    ) -> None:
        """An arc in the end-point form of path data."""
        row = centre_form(start, radii, tilt_deg, large, sweep, end)
        if row is None:
            self.line(*start, *end)
        else:
            self.rows.extend(row)
            self.kinds.append(ARC)

    def close(self) -> None:
        """Mark the last outline as closed; the caller has already drawn back to its first point."""
        self.closed[-1] = True

    def copied(self, rows: int, outlines: int) -> Segments:
        """A copy of everything after the first ``rows`` segments and ``outlines`` outlines."""
        copy = Segments()
        copy.rows, copy.kinds = self.rows[ROW * rows :], self.kinds[rows:]
        copy.starts, copy.closed = [start - rows for start in self.starts[outlines:]], self.closed[outlines:]
        return copy

    def append(self, other: Segments) -> None:
        """Append all outlines of another `Segments`."""
        before = len(self)
        self.rows.extend(other.rows)
        self.kinds.extend(other.kinds)
        self.starts.extend(start + before for start in other.starts)
        self.closed.extend(other.closed)

    def drop(self, rows: int, outlines: int) -> None:
        """Remove everything after the first ``rows`` segments and ``outlines`` outlines."""
        del self.rows[ROW * rows :], self.kinds[rows:], self.starts[outlines:], self.closed[outlines:]


def centre_form(
    start: tuple[float, float],
    radii: tuple[float, float],
    tilt_deg: float,
    large: bool,
    sweep: bool,
    end: tuple[float, float],
) -> tuple[float, float, float, float, float, float, float, float] | None:
    """An ARC row from end-point form, or None if the arc is a straight line.

    SVG 1.1, appendix F.6.5 with the out-of-range rules of F.6.6: signs of radii are dropped, a zero radius makes a
    line, and radii that are too small are scaled up.
    """
    rx, ry = abs(radii[0]), abs(radii[1])
    if rx == 0.0 or ry == 0.0:
        return None
    tilt = math.radians(tilt_deg % 360.0) if math.isfinite(tilt_deg) else math.nan
    cosine, sine = (math.cos(tilt), math.sin(tilt)) if math.isfinite(tilt) else (math.nan, math.nan)
    half_x, half_y = (start[0] - end[0]) / 2.0, (start[1] - end[1]) / 2.0
    # The ends on the unit circle around the middle of the chord: (p, q) and (-p, -q).
    p = (cosine * half_x + sine * half_y) / rx
    q = (cosine * half_y - sine * half_x) / ry
    reach = p * p + q * q
    # The chord is 2*sqrt(reach) in units of the radius. Below 1e-8 the short arc deviates by less than 2e-9 of the
    # chord, while the difference of two nearly equal angles would be less accurate.
    if reach < 0.25e-16 and not large:
        return None
    if not math.isfinite(reach) or reach == 0.0:
        return None if math.isfinite(half_x + half_y) and not math.isnan(reach) else _NOT_FINITE_ROW
    if reach > 1.0:
        grow = math.sqrt(reach)
        rx, ry, p, q, reach = rx * grow, ry * grow, p / grow, q / grow, 1.0
    away = math.sqrt((1.0 - reach) / reach)
    if large == sweep:
        away = -away
    centre_p, centre_q = away * q, -away * p
    t0 = math.atan2(q - centre_q, p - centre_p)
    dt = math.atan2(-q - centre_q, -p - centre_p) - t0
    if sweep and dt < 0.0:
        dt += math.tau
    elif not sweep and dt > 0.0:
        dt -= math.tau
    ux, uy, vx, vy = rx * cosine, rx * sine, -ry * sine, ry * cosine
    cx = (start[0] + end[0]) / 2.0 + ux * centre_p + vx * centre_q
    cy = (start[1] + end[1]) / 2.0 + uy * centre_p + vy * centre_q
    return (cx, cy, ux, uy, vx, vy, t0, dt)


# Kept in the rows, so that the check of all coordinates finds and names the element.
_NOT_FINITE_ROW = (math.nan,) * 6 + (0.0, 0.0)
