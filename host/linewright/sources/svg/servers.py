"""`PaintServers`: resolves a paint to a colour, a gradient in mm of the page, or a pattern."""

from __future__ import annotations

import math
from dataclasses import replace
from xml.etree.ElementTree import Element

from linewright.sources.painting.bounds import Box
from linewright.sources.painting.gradients import Gradient, Stop
from linewright.sources.painting.inks import OPAQUE
from linewright.sources.painting.marks import Paint
from linewright.sources.painting.matrices import IDENTITY, Matrix, flattens, multiply
from linewright.sources.painting.notes import Notes
from linewright.sources.svg.affine import around, fit_view_box, parse_origin, parse_transform, parse_view_box
from linewright.sources.svg.cascade import Cascade, Declared
from linewright.sources.svg.document import Document, href_of, local_name
from linewright.sources.svg.grammar import url_of
from linewright.sources.svg.lengths import Axis, fraction, length_px
from linewright.sources.svg.paint import CURRENT, NONE, colour_and_alpha
from linewright.sources.svg.place import Pattern, Place

Circles = tuple[float, float, float, float, float, float]

_MOST_LINKS = 8  # a gradient may refer to another one; files use one or two links


class PaintServers:
    """Resolves a paint at a place: colour, opacity, gradient.

    Parameters
    ----------
    document, cascade : source of the servers and the colours of their stops.
    notes : receives warnings.
    """

    def __init__(self, document: Document, cascade: Cascade, notes: Notes) -> None:
        self._document = document
        self._cascade = cascade
        self._notes = notes
        self._stops: dict[Element, tuple[Stop, ...]] = {}

    def paint(self, text: str, alpha: float, place: Place, box: Box | None, line: int | None) -> Paint | Pattern | None:
        """The paint of a valid ``fill`` or ``stroke``; None if nothing is painted.

        Parameters
        ----------
        alpha : opacity of this paint, without that of enclosing groups.
        box : bounding box of the shape in its own units, for servers that refer to it.
        line : line of the element, for warnings.
        """
        word = text.lower()
        if word == NONE or alpha <= 0.0:
            return None
        if word in ("context-fill", "context-stroke"):
            found = None if place.context is None else place.context.fill if word[8:] == "fill" else place.context.line
            if found is None:
                return None
            if isinstance(found, Pattern):
                return replace(found, alpha=found.alpha * alpha)
            return Paint(found.colour, found.alpha * alpha, found.gradient, found.opaque and alpha >= OPAQUE)
        link = url_of(text)
        if link is None:
            return self._flat(text, alpha, place)
        server = self._document.target(link[0])
        kind = None if server is None else local_name(server)
        if server is not None and box is not None and min(box[2:]) <= 0.0 and link[1] and self._by_box(server):
            return self._flat(link[1], alpha, place)  # without a box the server is invalid (SVG 2, section 8.11)
        if server is not None and kind in ("linearGradient", "radialGradient") and self._has_stops(server):
            return self._gradient(server, alpha, place, box)
        if server is not None and kind == "pattern":
            return self._pattern(server, alpha, place, box, line)
        if link[1] == "" or link[1].lower() == NONE:
            if server is None:
                self._notes.add(f"the paint '{link[0][:40]}' is not in the file; nothing is painted with it", line)
            return None
        return self._flat(link[1], alpha, place)

    def _by_box(self, server: Element) -> bool:
        """Whether a paint server refers to the bounding box of the painted shape."""
        kinds = ("pattern",) if local_name(server) == "pattern" else ("linearGradient", "radialGradient")
        values = _first_given(self._chain(server, kinds))
        name = "patternUnits" if kinds == ("pattern",) else "gradientUnits"
        return values.get(name, "objectBoundingBox") != "userSpaceOnUse"

    def _flat(self, text: str, alpha: float, place: Place) -> Paint | None:
        found = colour_and_alpha(text)
        if found is not None and found[0] == CURRENT:
            found = colour_and_alpha(place.style.color)
        if found is None or found[0] == CURRENT:
            return None
        total = found[1] * alpha
        return Paint(found[0], total * place.alpha, None, total >= OPAQUE) if total > 0.0 else None

    def _chain(self, server: Element, kinds: tuple[str, ...]) -> list[Element]:
        """A server and those it takes attributes from, nearest first."""
        chain = [server]
        while len(chain) <= _MOST_LINKS:
            following = self._document.target(href_of(chain[-1]))
            if following is None or local_name(following) not in kinds or following in chain:
                break
            chain.append(following)
        return chain

    def _has_stops(self, server: Element) -> bool:
        """Whether a gradient has colours; without them it is invalid, and the fallback paint applies."""
        chain = self._chain(server, ("linearGradient", "radialGradient"))
        return any(local_name(child) == "stop" for element in chain for child in element)

    def _gradient(self, server: Element, alpha: float, place: Place, box: Box | None) -> Paint | None:
        chain = self._chain(server, ("linearGradient", "radialGradient"))
        owner = next((e for e in chain if any(local_name(c) == "stop" for c in e)), None)
        stops = () if owner is None else self._stops_of(owner)
        if not stops:
            return None
        if len(stops) == 1:
            return self._of_one(stops[0], alpha, place)
        values = _first_given(chain)
        by_box = values.get("gradientUnits", "objectBoundingBox") != "userSpaceOnUse"
        if by_box and (box is None or box[2] <= 0.0 or box[3] <= 0.0):
            return None
        viewport = (1.0, 1.0) if by_box else place.viewport
        radial = local_name(server) == "radialGradient"
        same = tuple(e for e in chain if local_name(e) == local_name(server))
        geometry = _first_given(list(same))
        circles = _circles(geometry, radial, viewport, place.style.font_px)
        if radial:
            self._doubt_circles(circles, geometry)
        own = self._transform(server, values.get("gradientTransform", ""), place)
        if circles is None:
            return self._of_one(stops[-1], alpha, place)
        matrix = multiply(place.matrix, multiply(_unit(box), own) if by_box and box is not None else own)
        if flattens(matrix) or flattens(own):
            return self._of_one(stops[-1], alpha, place)
        spread = values.get("spreadMethod", "pad")
        gradient = Gradient(
            matrix, circles, stops, "reflect" if spread == "reflect" else "repeat" if spread == "repeat" else "pad"
        )
        darkest = max(stops, key=lambda stop: stop.alpha * (1.0 - _lightness(stop.colour)))
        seen = max(stop.alpha for stop in stops) * alpha
        if seen <= 0.0:
            return None
        return Paint(darkest.colour, alpha * place.alpha, gradient, gradient.least_alpha * alpha >= OPAQUE)

    def _doubt_circles(self, circles: Circles | None, geometry: Declared) -> None:
        """Warn about parts of a radial gradient that cannot be drawn."""
        if circles is None:
            if (fraction(geometry.get("fr", "0")) or 0.0) < 0.0:
                self._notes.add("the radius fr of a radial gradient is negative; its last colour is taken instead")
            return
        fx, fy, fr, cx, cy, r = circles
        if math.hypot(fx - cx, fy - cy) + fr >= r:
            self._notes.add("the focus of a radial gradient is not inside its circle; where it ends there is no line")

    def _transform(self, server: Element, text: str, place: Place) -> Matrix:
        """The transform of a server, around its ``transform-origin``."""
        own = parse_transform(text, place.viewport, place.style.font_px) or IDENTITY
        origin = self._cascade.declared(server).get("transform-origin")
        at = None if origin is None else parse_origin(origin, place.viewport, place.style.font_px)
        return own if at is None else around(at, own)

    def _of_one(self, stop: Stop, alpha: float, place: Place) -> Paint | None:
        total = stop.alpha * alpha
        return Paint(stop.colour, total * place.alpha, None, total >= OPAQUE) if total > 0.0 else None

    def _stops_of(self, owner: Element) -> tuple[Stop, ...]:
        found = self._stops.get(owner)
        if found is None:
            found = self._stops[owner] = tuple(self._stop(s, owner) for s in owner if local_name(s) == "stop")
        return found

    def _stop(self, element: Element, owner: Element) -> Stop:
        declared = self._cascade.declared(element)
        text = declared.get("stop-color", "black")
        if text.lower() == "inherit":
            text = self._cascade.declared(owner).get("stop-color", "black")
        if text.lower() == "currentcolor":
            text = self._current_colour(element)
        colour, alpha = colour_and_alpha(text) or ("#000000", 1.0)
        opacity = declared.get("stop-opacity", "1")
        if opacity.lower() == "inherit":
            opacity = self._cascade.declared(owner).get("stop-opacity", "1")
        share = fraction(opacity)
        offset = fraction(element.get("offset", "0"))
        return Stop(
            min(1.0, max(0.0, offset or 0.0)),
            "#000000" if colour == CURRENT else colour,
            alpha * (1.0 if share is None else min(1.0, max(0.0, share))),
        )

    def _current_colour(self, element: Element) -> str:
        """``color`` inherited by the element."""
        at: Element | None = element
        while at is not None:
            found = self._cascade.declared(at).get("color", "inherit")
            if found.lower() not in ("inherit", "unset", "currentcolor"):
                return found
            at = self._document.parent(at)
        return "black"

    def _pattern(
        self, server: Element, alpha: float, place: Place, box: Box | None, line: int | None
    ) -> Pattern | Paint | None:
        chain = self._chain(server, ("pattern",))
        content = next((e for e in chain if any(local_name(c) is not None for c in e)), None)
        values = _first_given(chain)
        by_box = values.get("patternUnits", "objectBoundingBox") != "userSpaceOnUse"
        content_by_box = values.get("patternContentUnits", "userSpaceOnUse") == "objectBoundingBox"
        if content is None or content in place.inside:
            if content is not None:
                self._notes.add("a pattern that contains itself is not drawn", line)
            return None
        if (by_box or content_by_box) and (box is None or box[2] <= 0.0 or box[3] <= 0.0):
            return None
        viewport = (1.0, 1.0) if by_box else place.viewport
        font_px = place.style.font_px
        x = _length(values.get("x"), "x", viewport, font_px, 0.0)
        y = _length(values.get("y"), "y", viewport, font_px, 0.0)
        width = _length(values.get("width"), "x", viewport, font_px, 0.0)
        height = _length(values.get("height"), "y", viewport, font_px, 0.0)
        if by_box and box is not None:
            x, y, width, height = box[0] + x * box[2], box[1] + y * box[3], width * box[2], height * box[3]
        if width <= 0.0 or height <= 0.0:
            return None
        own = self._transform(server, values.get("patternTransform", ""), place)
        matrix = multiply(place.matrix, own)
        if flattens(matrix):
            self._notes.add("a pattern is squeezed to nothing by its transform and not drawn", line)
            return None
        view = parse_view_box(values.get("viewBox", ""))
        inner = IDENTITY  # the content's origin is the tile's corner
        inner_viewport = place.viewport
        if view is not None:
            if min(view[2:]) <= 0.0:
                return None
            inner = fit_view_box(view, values.get("preserveAspectRatio", ""), width, height)
            inner_viewport = (view[2], view[3])
        elif content_by_box and box is not None:
            inner = (box[2], 0.0, 0.0, box[3], 0.0, 0.0)
            inner_viewport = (1.0, 1.0)
        overflow = self._cascade.declared(server).get("overflow", "hidden")
        return Pattern(
            content, (x, y, width, height), matrix, inner, inner_viewport, alpha, overflow not in ("visible", "auto")
        )


def _first_given(chain: list[Element]) -> Declared:
    """Attributes of a chain of servers, nearest first, without those in foreign namespaces."""
    values: Declared = {}
    for element in reversed(chain):
        values.update(element.attrib)
    return values


def _unit(box: Box | None) -> Matrix:
    if box is None:
        return IDENTITY
    return (box[2], 0.0, 0.0, box[3], box[0], box[1])


def _length(text: str | None, axis: Axis, viewport: tuple[float, float], font_px: float, default: float) -> float:
    value = None if text is None else length_px(text, axis, viewport, font_px)
    return default if value is None else value


def _circles(values: Declared, radial: bool, viewport: tuple[float, float], font_px: float) -> Circles | None:
    """See `Gradient`; None if the gradient has no extent, so that its last colour fills everything."""

    def at(name: str, axis: Axis, share: float) -> float:
        whole = {"x": viewport[0], "y": viewport[1], "other": ((viewport[0] ** 2 + viewport[1] ** 2) / 2) ** 0.5}
        return _length(values.get(name), axis, viewport, font_px, share * whole[axis])

    if not radial:
        x1, y1, x2, y2 = at("x1", "x", 0.0), at("y1", "y", 0.0), at("x2", "x", 1.0), at("y2", "y", 0.0)
        return None if (x1, y1) == (x2, y2) else (x1, y1, 0.0, x2, y2, 0.0)
    cx, cy, r = at("cx", "x", 0.5), at("cy", "y", 0.5), at("r", "other", 0.5)
    fx = at("fx", "x", 0.5) if "fx" in values else cx
    fy = at("fy", "y", 0.5) if "fy" in values else cy
    fr = at("fr", "other", 0.0) if "fr" in values else 0.0
    return None if r <= 0.0 or fr < 0.0 else (fx, fy, fr, cx, cy, r)


def _lightness(colour: str) -> float:
    red, green, blue = (int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
