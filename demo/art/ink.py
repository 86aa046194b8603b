"""A drawing board for the postcards: strokes hidden by what lies in front, written as real SVG.

A card is drawn from front to back. Every shape that covers what is behind it is added to one covered area;
a later stroke keeps only the parts outside that area. What remains is written as the SVG element it came from: circles
as ``circle`` or arcs, curves as cubic Béziers, straight strokes as polylines, repeated parts as ``symbol`` and ``use``.
A pen cannot draw white over black, so hiding has to happen here and not by fills.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

Points = NDArray[np.float64]

# Shortest visible piece worth lowering a pen for, mm: about one line width of the pens the cards are made for.
SHORTEST_MM = 0.5
# Spacing of the points through which a cut curve is written again, mm. A Catmull-Rom curve through points of a
# circle of 4 mm radius, 0.9 mm apart, leaves it by less than 0.002 mm.
KNOT_MM = 0.9


def points(*xy: float) -> Points:
    """``points(x0, y0, x1, y1, ...)`` as an (n, 2) array, mm."""
    return np.array(xy, dtype=np.float64).reshape(-1, 2)


def spline(knots: Points | Sequence[Sequence[float]], *, closed: bool = False, per_span: int = 14) -> Points:
    """Centripetal Catmull-Rom curve through the knots, sampled densely.

    Centripetal knots keep the curve free of loops and cusps (Yuksel, Schaefer, Keyser, Computer-Aided Design 43, 2011).
    """
    k = np.asarray(knots, dtype=np.float64)
    if closed:
        k = np.vstack([k[-1], k, k[:2]])
    else:
        k = np.vstack([2 * k[0] - k[1], k, 2 * k[-1] - k[-2]])
    out: list[Points] = []
    u = np.linspace(0, 1, per_span, endpoint=False)[:, None]
    for p0, p1, p2, p3 in zip(k[:-3], k[1:-2], k[2:-1], k[3:], strict=True):
        t0 = 0.0
        t1 = t0 + math.sqrt(max(float(np.hypot(*(p1 - p0))), 1e-6))
        t2 = t1 + math.sqrt(max(float(np.hypot(*(p2 - p1))), 1e-6))
        t3 = t2 + math.sqrt(max(float(np.hypot(*(p3 - p2))), 1e-6))
        t = t1 + u * (t2 - t1)
        a1 = (t1 - t) / (t1 - t0) * p0 + (t - t0) / (t1 - t0) * p1
        a2 = (t2 - t) / (t2 - t1) * p1 + (t - t1) / (t2 - t1) * p2
        a3 = (t3 - t) / (t3 - t2) * p2 + (t - t2) / (t3 - t2) * p3
        b1 = (t2 - t) / (t2 - t0) * a1 + (t - t0) / (t2 - t0) * a2
        b2 = (t3 - t) / (t3 - t1) * a2 + (t - t1) / (t3 - t1) * a3
        out.append((t2 - t) / (t2 - t1) * b1 + (t - t1) / (t2 - t1) * b2)
    out.append(k[-2][None, :])
    return np.vstack(out)


def ellipse(
    cx: float, cy: float, rx: float, ry: float | None = None, *, start: float = 0.0, end: float = 360.0
) -> Points:
    """Points of an ellipse from ``start`` to ``end`` degrees (0 = to the right, 90 = down), about 0.25 mm apart."""
    ry = rx if ry is None else ry
    n = max(16, int(math.radians(abs(end - start)) * max(rx, ry) / 0.25))
    t = np.radians(np.linspace(start, end, n))
    return np.column_stack([cx + rx * np.cos(t), cy + ry * np.sin(t)])


def turned(p: Points, degrees: float, about: tuple[float, float] = (0.0, 0.0)) -> Points:
    """Turn clockwise as seen on the sheet (y runs down)."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    centre = np.array(about)
    return np.asarray((p - centre) @ np.array([[c, s], [-s, c]]) + centre)


def area(*outlines: Points) -> BaseGeometry:
    """The union of closed outlines, mended where they cross themselves."""
    return shapely.union_all([shapely.make_valid(Polygon(o)) for o in outlines])


def hatch(shape: BaseGeometry, spacing_mm: float, degrees: float, *, inset_mm: float = 0.25) -> list[Points]:
    """Parallel lines inside a shape, alternately in both directions, clear of its edge by ``inset_mm``."""
    inner = shape.buffer(-inset_mm)
    if inner.is_empty:
        return []
    cx, cy = inner.centroid.x, inner.centroid.y
    x0, y0, x1, y1 = inner.bounds
    half = math.hypot(x1 - x0, y1 - y0)
    lines = []
    for i, offset in enumerate(np.arange(-half, half, spacing_mm)):
        ends = points(-half, offset, half, offset) + (cx, cy)
        line = turned(ends, degrees, (cx, cy))
        lines.extend(_pieces(LineString(line[:: -1 if i % 2 else 1]).intersection(inner)))
    return [p for p in lines if _length(p) >= SHORTEST_MM]


def _length(p: Points) -> float:
    return float(np.hypot(*np.diff(p, axis=0).T).sum())


def _pieces(g: BaseGeometry) -> list[Points]:
    """The line pieces of a geometry."""
    if g.is_empty:
        return []
    if g.geom_type == "LineString":
        return [np.asarray(g.coords, dtype=np.float64)[:, :2]]
    return [p for part in getattr(g, "geoms", ()) for p in _pieces(part)]


def _number(v: float) -> str:
    text = f"{v:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _pair(p: Points) -> str:
    return f"{_number(p[0])} {_number(p[1])}"


def curve_path(p: Points, knot_mm: float = KNOT_MM) -> str:
    """Path data of cubic Béziers through dense points thinned to ``knot_mm``; closed where the ends meet."""
    run = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))))
    n = max(2, round(run[-1] / knot_mm)) + 1
    at = np.linspace(0, run[-1], n)
    k = np.column_stack([np.interp(at, run, p[:, 0]), np.interp(at, run, p[:, 1])])
    closed = bool(np.hypot(*(p[0] - p[-1])) < 1e-6) and n > 4
    if closed:
        slope = (np.roll(k[:-1], -1, axis=0) - np.roll(k[:-1], 1, axis=0)) / 6
        slope = np.vstack([slope, slope[:1]])
    else:
        slope = np.empty_like(k)
        slope[1:-1] = (k[2:] - k[:-2]) / 6
        slope[0] = (4 * k[1] - k[2] - 3 * k[0]) / 6
        slope[-1] = (3 * k[-1] - 4 * k[-2] + k[-3]) / 6
    text = [f"M{_pair(k[0])}C"]
    text.extend(
        f"{_pair(k[i] + slope[i])} {_pair(k[i + 1] - slope[i + 1])} {_pair(k[i + 1])}" for i in range(len(k) - 1)
    )
    return text[0] + " ".join(text[1:]) + ("Z" if closed else "")


class Card:
    """One postcard. Draw from front to back; :meth:`svg` gives the file."""

    def __init__(
        self, width_mm: float, height_mm: float, title: str, about: str, pens: dict[str, tuple[str, float]]
    ) -> None:
        self.width_mm, self.height_mm = width_mm, height_mm
        self.title, self.about, self.pens = title, about, pens
        self.covered: BaseGeometry = Polygon()
        self.window: BaseGeometry | None = None
        self._layers: dict[tuple[str, str], list[str]] = {}
        self._symbols: dict[str, str] = {}
        self._here: list[str] = []

    def layer(self, name: str, pen: str) -> None:
        """Everything that follows belongs to this layer and pen."""
        self._here = self._layers.setdefault((name, pen), [])

    def cover(self, *outlines: Points | BaseGeometry) -> None:
        """Hide whatever is drawn later inside these outlines."""
        shapes = [o if isinstance(o, BaseGeometry) else area(o) for o in outlines]
        self.covered = shapely.union_all([self.covered, *shapes])
        shapely.prepare(self.covered)

    def visible(self, p: Points) -> list[Points]:
        """The parts of a stroke that lie in the window and behind nothing."""
        line: BaseGeometry = LineString(p)
        if self.window is not None:
            line = line.intersection(self.window)
        if self.covered.intersects(line):
            line = line.difference(self.covered)
        if line.geom_type == "MultiLineString":
            line = shapely.line_merge(line)
        return [q for q in _pieces(line) if _length(q) >= SHORTEST_MM]

    def curve(self, p: Points | Sequence[Sequence[float]], *, cover: bool = False, knot_mm: float = KNOT_MM) -> None:
        """A smooth stroke through dense points."""
        dense = np.asarray(p, dtype=np.float64)
        for q in self.visible(dense):
            self._here.append(f'<path d="{curve_path(q, knot_mm)}"/>')
        if cover:
            self.cover(dense)

    def line(self, p: Points | Sequence[Sequence[float]], *, cover: bool = False) -> None:
        """A stroke with straight sides and true corners."""
        corners = np.asarray(p, dtype=np.float64)
        for q in self.visible(corners):
            if len(q) == 2:
                (x1, y1), (x2, y2) = q
                self._here.append(
                    f'<line x1="{_number(x1)}" y1="{_number(y1)}" x2="{_number(x2)}" y2="{_number(y2)}"/>'
                )
            elif np.array_equal(q[0], q[-1]):
                self._here.append(f'<polygon points="{" ".join(_pair(v) for v in q[:-1])}"/>')
            else:
                self._here.append(f'<polyline points="{" ".join(_pair(v) for v in q)}"/>')
        if cover:
            self.cover(corners)

    def lines(self, many: Iterable[Points]) -> None:
        """Many straight strokes."""
        for p in many:
            self.line(p)

    def oval(
        self,
        cx: float,
        cy: float,
        rx: float,
        ry: float | None = None,
        *,
        start: float = 0.0,
        end: float = 360.0,
        cover: bool = False,
    ) -> None:
        """A circle, an ellipse or an arc of one; what is cut off stays a true arc."""
        ry = rx if ry is None else ry
        p = ellipse(cx, cy, rx, ry, start=start, end=end)
        whole = abs(end - start) >= 360
        for q in self.visible(p):
            if whole and math.isclose(_length(q), _length(p), rel_tol=1e-9):
                if rx == ry:
                    self._here.append(f'<circle cx="{_number(cx)}" cy="{_number(cy)}" r="{_number(rx)}"/>')
                else:
                    self._here.append(
                        f'<ellipse cx="{_number(cx)}" cy="{_number(cy)}" rx="{_number(rx)}" ry="{_number(ry)}"/>'
                    )
                continue
            angles = np.unwrap(np.arctan2((q[:, 1] - cy) / ry, (q[:, 0] - cx) / rx))
            large, sweep = int(abs(angles[-1] - angles[0]) > math.pi), int(angles[-1] > angles[0])
            self._here.append(
                f'<path d="M{_pair(q[0])}A{_number(rx)} {_number(ry)} 0 {large} {sweep} {_pair(q[-1])}"/>'
            )
        if cover:
            self.cover(p)

    def raw(self, element: str) -> None:
        """An SVG element as it is: the caller knows that nothing hides it."""
        self._here.append(element)

    def symbol(self, name: str, content: str, *, view_box: str = "") -> None:
        """A part that is drawn once and placed often."""
        box = f' viewBox="{view_box}"' if view_box else ""
        self._symbols[name] = f'<symbol id="{name}"{box} overflow="visible">{content}</symbol>'

    def use(self, name: str, transform: str = "", *, box: tuple[float, float, float, float] | None = None) -> None:
        """Place a symbol, by a transform or into a box (x, y, width, height)."""
        place = ""
        if box is not None:
            place = "".join(f' {k}="{_number(v)}"' for k, v in zip(("x", "y", "width", "height"), box, strict=True))
        if transform:
            place += f' transform="{transform}"'
        self._here.append(f'<use href="#{name}"{place}/>')

    def svg(self) -> str:
        """The card as a file."""
        styles = "\n".join(
            f"    .{name} {{ fill: none; stroke: {colour}; stroke-width: {width}px; "
            "stroke-linecap: round; stroke-linejoin: round }"
            for name, (colour, width) in self.pens.items()
        )
        width, height = _number(self.width_mm), _number(self.height_mm)
        out = [
            '<?xml version="1.0" encoding="UTF-8"?>',
            '<svg xmlns="http://www.w3.org/2000/svg"',
            f'     width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}">',
            f"  <title>{escape(self.title)}</title>",
            f"  <desc>{escape(self.about)}</desc>",
            f"  <style>\n{styles}\n  </style>",
        ]
        if self._symbols:
            out += ["  <defs>", *(f"    {s}" for s in self._symbols.values()), "  </defs>"]
        for (name, pen), elements in self._layers.items():
            if elements:
                out += [f'  <g id="{name}" class="{pen}">', *(f"    {e}" for e in elements), "  </g>"]
        out.append("</svg>")
        return "\n".join(out) + "\n"
