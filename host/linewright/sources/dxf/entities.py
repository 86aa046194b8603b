"""Entities of a DXF as curves: arcs are kept, splines become cubics."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from linewright.sources.painting.letters import draw, letter
from linewright.sources.painting.limits import FileLimits, refuse
from linewright.sources.painting.segments import ARC, Segments

if TYPE_CHECKING:
    from linewright.sources.painting.marks import Painting

Painted = Literal["line", "fill"]

LEADING: Final = 5 / 3
"""Baseline distance in a paragraph, in capital heights (the format's definition, for a spacing of 1)."""

GAP: Final = 0.7
"""Width of a missing letter's gap, in capital heights."""

PATTERN_LINES_HIGH: Final = 20_000
"""Most lines of one hatched filling: ten metres at half a millimetre apart; finer ones are treated as a tone."""


class EntityOutlines:
    """Draws entities into segments, in units of the file, y upward.

    Parameters
    ----------
    unit_mm : mm per unit.
    """

    def __init__(self, segments: Segments, unit_mm: float, limits: FileLimits, painting: Painting) -> None:
        self.segments = segments
        self.unit_mm = unit_mm
        self.limits = limits
        self.painting = painting

    def draw(self, entity: Any) -> Painted | None:
        """Add an entity's outlines; returns how they are painted, or None if they cannot be drawn."""
        kind = entity.dxftype()
        if len(self.segments) > self.limits.segments:
            limit = self.limits.segments
            hint = "simplify the drawing"
            raise refuse("too many lines and curves", None, limit, "segments", where=self.painting.name, hint=hint)
        if kind == "LINE":
            self._line_through([entity.dxf.start, entity.dxf.end])
        elif kind == "POINT":
            self._line_through([entity.dxf.location, entity.dxf.location])
        elif kind in ("CIRCLE", "ARC"):
            self._arc(entity, kind == "CIRCLE")
        elif kind == "ELLIPSE":
            self._ellipse(entity)
        elif kind == "LWPOLYLINE":
            elevation = float(entity.dxf.get("elevation", 0.0))
            points = [(x, y, elevation, bulge) for x, y, bulge in entity.get_points("xyb")]
            self._bulged(entity.ocs(), points, bool(entity.closed))
        elif kind == "POLYLINE" and entity.is_2d_polyline:
            points = [(*v.dxf.location.xyz, float(v.dxf.get("bulge", 0.0))) for v in entity.vertices]
            self._bulged(entity.ocs(), points, bool(entity.is_closed))
        elif kind == "POLYLINE" and entity.is_3d_polyline:
            points = [v.dxf.location for v in entity.vertices]
            self._line_through([*points, points[0]] if entity.is_closed else points)
        elif kind in ("SPLINE", "HELIX"):
            from ezdxf import path

            self._path(path.make_path(entity))
        elif kind in ("SOLID", "TRACE", "3DFACE"):
            corners = list(entity.wcs_vertices())
            self._line_through([*corners, corners[0]])
            return "line" if kind == "3DFACE" else "fill"
        elif kind in ("HATCH", "MPOLYGON"):
            from ezdxf import path

            if self._pattern(entity):
                return "line"
            for outline in path.from_hatch(entity):
                self._path(outline)
            return "fill"
        elif kind in ("TEXT", "ATTRIB", "MTEXT"):
            self._text(entity)
        else:
            return None
        return "line"

    def _pattern(self, entity: Any) -> bool:
        """Draw a patterned filling as lines, which cover nothing; False for one that is solid or too fine."""
        from ezdxf.render.hatching import HatchingError, hatch_entity

        rows, outlines = len(self.segments), len(self.segments.starts)
        try:
            for begin, end in itertools.islice(hatch_entity(entity), PATTERN_LINES_HIGH + 1):
                self._line_through([begin, end])
        except HatchingError:  # lines too close together, or without direction
            self.segments.drop(rows, outlines)
        if len(self.segments) - rows > PATTERN_LINES_HIGH:
            self.segments.drop(rows, outlines)
        return len(self.segments) > rows

    def _line_through(self, points: list[Any]) -> None:
        if len(points) < 2:
            return
        self.segments.begin()
        for begin, end in itertools.pairwise(points):
            self.segments.line(begin[0], begin[1], end[0], end[1])
        if len(points) > 3 and tuple(points[0])[:2] == tuple(points[-1])[:2]:
            self.segments.close()

    def _row(self, centre: Any, u: Any, v: Any, first: float, turn: float) -> None:
        """A piece of an ellipse by its centre and two conjugate radii, projected to the plane."""
        self.segments.rows.extend((centre[0], centre[1], u[0], u[1], v[0], v[1], first, turn))
        self.segments.kinds.append(ARC)

    def _arc(self, entity: Any, whole: bool) -> None:
        ocs, radius = entity.ocs(), float(entity.dxf.radius)
        centre = ocs.to_wcs(entity.dxf.center)
        u, v = ocs.to_wcs((radius, 0, 0)), ocs.to_wcs((0, radius, 0))
        first, turn = 0.0, math.tau
        if not whole:
            first = math.radians(float(entity.dxf.start_angle))
            turn = (math.radians(float(entity.dxf.end_angle)) - first) % math.tau or math.tau
        self.segments.begin()
        self._row(centre, u, v, first, turn)
        if whole:
            self.segments.close()

    def _ellipse(self, entity: Any) -> None:
        first, last = float(entity.dxf.start_param), float(entity.dxf.end_param)
        turn = (last - first) % math.tau or math.tau
        self.segments.begin()
        self._row(entity.dxf.center, entity.dxf.major_axis, entity.minor_axis, first, turn)
        if turn == math.tau:
            self.segments.close()

    def _bulged(self, ocs: Any, points: list[tuple[float, float, float, float]], closed: bool) -> None:
        """A polyline whose pieces may be arcs: a bulge is the tangent of a quarter of the arc's angle."""
        if len(points) < 2:
            return
        pairs = list(itertools.pairwise(points))
        if closed:
            pairs.append((points[-1], points[0]))
        self.segments.begin()
        for (x0, y0, z, bulge), (x1, y1, _, _) in pairs:
            if bulge == 0.0 or (x0, y0) == (x1, y1):
                begin, end = ocs.to_wcs((x0, y0, z)), ocs.to_wcs((x1, y1, z))
                self.segments.line(begin[0], begin[1], end[0], end[1])
                continue
            turn = 4.0 * math.atan(bulge)
            # The centre is beside the middle of the chord, to its left for a bulge up to a half circle.
            away = (1.0 - bulge * bulge) / (4.0 * bulge)
            cx, cy = (x0 + x1) / 2 - (y1 - y0) * away, (y0 + y1) / 2 + (x1 - x0) * away
            radius = math.hypot(x0 - cx, y0 - cy)
            first = math.atan2(y0 - cy, x0 - cx)
            u, v = ocs.to_wcs((radius, 0, 0)), ocs.to_wcs((0, radius, 0))
            self._row(ocs.to_wcs((cx, cy, z)), u, v, first, turn)
        if closed:
            self.segments.close()

    def _path(self, outline: Any) -> None:
        """A path of ezdxf: lines, quadratic and cubic curves."""
        if not len(outline):
            return
        at, begun = outline.start, False
        for command in outline.commands():
            end = command.end
            name = command.type.name
            if name == "MOVE_TO":
                at, begun = end, False
                continue
            if not begun:
                self.segments.begin()
                begun = True
            if name == "CURVE4_TO":
                one, two = command.ctrl1, command.ctrl2
                self.segments.cubic((at.x, at.y, one.x, one.y, two.x, two.y, end.x, end.y))
            elif name == "CURVE3_TO":
                self.segments.quadratic(at.x, at.y, command.ctrl.x, command.ctrl.y, end.x, end.y)
            else:
                self.segments.line(at.x, at.y, end.x, end.y)
            at = end
        if begun and outline.is_closed:
            self.segments.close()

    def _text(self, entity: Any) -> None:
        """Text in single-line letters, at its position, height, rotation and width."""
        is_paragraph = entity.dxftype() == "MTEXT"
        height = float(entity.dxf.char_height if is_paragraph else entity.dxf.height)
        if not (math.isfinite(height) and height > 0):
            return
        ocs = entity.ocs()
        stretch, step = 1.0, 0.0
        if is_paragraph:
            lines = entity.plain_text(split=True)
            at, turn = entity.dxf.insert, math.radians(float(entity.get_rotation()))
            down, across = divmod(int(entity.dxf.get("attachment_point", 1)) - 1, 3)
            step = LEADING * height * float(entity.dxf.get("line_spacing_factor", 1.0))
            foot = -height + down / 2 * (height + step * (len(lines) - 1))
            share = across / 2
        else:
            lines = [entity.plain_text()]
            align, first, _ = entity.get_placement()
            at, turn = ocs.to_wcs(first), math.radians(float(entity.dxf.get("rotation", 0.0)))
            name = align.name
            share = 1.0 if "RIGHT" in name else 0.5 if "CENTER" in name or name == "MIDDLE" else 0.0
            foot = -height * (1.0 if name.startswith("TOP") else 0.5 if name.startswith("MIDDLE") else 0.0)
            stretch = float(entity.dxf.get("width", 1.0))
        along = np.array(ocs.to_wcs((math.cos(turn), math.sin(turn), 0.0)).vec2)
        up = np.array(ocs.to_wcs((-math.sin(turn), math.cos(turn), 0.0)).vec2)
        # From a letter's own units (capitals of height 1, y down) to the file's.
        linear = np.column_stack((along * height * stretch, -up * height))
        for number, words in enumerate(lines):
            found = [letter(character) for character in words]
            if None in found:
                self.painting.notes.add("a text has letters that the single-line face lacks; gaps are left there")
            letters = [one or ((), GAP) for one in found]
            x = -share * sum(advance for _, advance in letters) * stretch * height
            for strokes, advance in letters:
                place = np.array([at[0], at[1]]) + along * x + up * (foot - number * step)
                draw(self.segments, strokes, linear, (float(place[0]), float(place[1])))
                x += advance * stretch * height
