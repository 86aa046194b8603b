"""`Markers`: arrow heads and other symbols at the vertices of a path."""

from __future__ import annotations

from dataclasses import replace
from xml.etree.ElementTree import Element

from linewright.sources.painting.matrices import IDENTITY, apply, multiply, scaling, translation
from linewright.sources.svg.affine import fit_view_box, parse_transform, parse_view_box
from linewright.sources.svg.document import local_name
from linewright.sources.svg.effects import Effects
from linewright.sources.svg.grammar import url_of
from linewright.sources.svg.lengths import Axis, angle_deg, length_px
from linewright.sources.svg.place import Context, Place
from linewright.sources.svg.scene import SvgScene, Walker, shown
from linewright.sources.svg.vertices import Vertex


class Markers:
    """Draws markers."""

    def __init__(self, scene: SvgScene, walker: Walker, effects: Effects) -> None:
        self._scene = scene
        self._walker = walker
        self._effects = effects

    def draw(self, place: Place, found: list[Vertex], context: Context) -> None:
        """The markers of a path at its vertices; ``context`` : paints of the path."""
        for vertex in found:
            link = url_of(place.style.markers[vertex.kind])
            target = None if link is None else self._scene.document.target(link[0])
            if target is None or local_name(target) != "marker" or target in place.inside:
                continue
            self._marker(target, place, vertex, context)

    def _reference(self, target: Element, text: str, axis: Axis, place: Place, size: float) -> float:
        """A coordinate of the marker's reference point; keywords are shares of the marker's ``size``."""
        share = {"left": 0.0, "top": 0.0, "center": 0.5, "right": 1.0, "bottom": 1.0}.get(text)
        return self._scene.length(target, {axis: text}, axis, axis, place, 0.0) if share is None else share * size

    def _marker(self, target: Element, place: Place, vertex: Vertex, context: Context) -> None:
        declared = self._scene.cascade.declared(target)
        if not shown(declared):
            return
        values = {**target.attrib, **declared}
        by_stroke = values.get("markerUnits", "strokeWidth") != "userSpaceOnUse"
        scale = 1.0
        if by_stroke:
            scale = length_px(place.style.stroke_width, "other", place.viewport, place.style.font_px) or 0.0
        width = self._scene.length(target, {"w": values.get("markerWidth", "3")}, "w", "x", place, 3.0)
        height = self._scene.length(target, {"h": values.get("markerHeight", "3")}, "h", "y", place, 3.0)
        box = parse_view_box(values.get("viewBox", ""))
        if width <= 0.0 or height <= 0.0 or scale <= 0.0 or (box is not None and min(box[2:]) <= 0.0):
            return
        orient = values.get("orient", "0").strip()
        if orient in ("auto", "auto-start-reverse"):
            angle = vertex.angle_deg + (180.0 if orient != "auto" and vertex.kind == 0 else 0.0)
        else:
            angle = angle_deg(orient) or 0.0
        fit = IDENTITY if box is None else fit_view_box(box, values.get("preserveAspectRatio", ""), width, height)
        viewport = (width, height) if box is None else (box[2], box[3])
        inner = replace(place, viewport=viewport)
        around = place if box is None else inner  # reference of percentages
        x = self._reference(target, values.get("refX", "0"), "x", around, viewport[0])
        y = self._reference(target, values.get("refY", "0"), "y", around, viewport[1])
        at = apply(fit, x, y)
        turn = parse_transform(f"rotate({angle:.12g})", place.viewport, 1.0) or IDENTITY
        matrix = multiply(multiply(translation(vertex.x, vertex.y), turn), scaling(scale, scale))
        matrix = multiply(place.matrix, multiply(matrix, translation(-at[0], -at[1])))
        style = self._scene.style(declared, self._scene.style_around(target))
        inner = replace(
            inner, matrix=matrix, style=style, inside=(*place.inside, target), context=context, viewport=viewport
        )
        if self._scene.hides_overflow(target, declared):
            inner = self._scene.framed(inner, 0.0, 0.0, width, height)
        inner = replace(inner, matrix=multiply(matrix, fit))
        self._effects.applied(target, declared, inner, lambda at: self._walker.children(target, at))
