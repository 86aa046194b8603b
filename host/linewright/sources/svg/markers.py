"""`Markers`: arrow heads and the like, drawn at the vertices of a path."""

from __future__ import annotations

from dataclasses import replace
from xml.etree.ElementTree import Element

from linewright.sources.painting.matrices import IDENTITY, apply, multiply, scaling, translation
from linewright.sources.svg.affine import fit_view_box, parse_transform, parse_view_box
from linewright.sources.svg.document import local_name
from linewright.sources.svg.effects import Effects
from linewright.sources.svg.grammar import url_of
from linewright.sources.svg.lengths import angle_deg, length_px
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
        """The markers of a path at its vertices; ``context`` : the paints of the path."""
        for vertex in found:
            link = url_of(place.style.markers[vertex.kind])
            target = None if link is None else self._scene.document.target(link[0])
            if target is None or local_name(target) != "marker" or target in place.inside:
                continue
            self._marker(target, place, vertex, context)

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
        shares = {"left": 0.0, "top": 0.0, "center": 0.5, "right": 1.0, "bottom": 1.0}
        reference = []
        for name, axis, size in (("refX", "x", viewport[0]), ("refY", "y", viewport[1])):
            text = values.get(name, "0")
            around = place if box is None else inner  # what a percentage refers to
            stated = shares.get(text)
            length = self._scene.length(target, {name: text}, name, axis, around, 0.0) if stated is None else 0.0
            reference.append(length if stated is None else stated * size)
        at = apply(fit, *reference)
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
