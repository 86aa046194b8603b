"""`Embedding`: embedded photographs and SVGs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Final, Protocol
from xml.etree.ElementTree import Element

import numpy as np

from linewright.drawing.strokes import Points
from linewright.errors import SourceError
from linewright.sources.isolines import isolines
from linewright.sources.painting.marks import Mark, Paint, Pixels
from linewright.sources.painting.matrices import multiply, scaling, translation
from linewright.sources.svg import shapes
from linewright.sources.svg.affine import fit_view_box, parse_view_box
from linewright.sources.svg.cascade import Declared
from linewright.sources.svg.document import Document, href_of, line_of, parse_document
from linewright.sources.svg.images import BadImage, embedded
from linewright.sources.svg.picture_size import picture_size_px
from linewright.sources.svg.place import Place
from linewright.sources.svg.scene import SvgScene


class Nested(Protocol):
    """Interface to a walk over an embedded document."""

    @property
    def scene(self) -> SvgScene:
        """Its own scene, on the same painting."""

    def show(self, place: Place) -> None:
        """Draw the whole document."""


_LEVELS: Final = (0.04, 0.25, 0.5, 0.75)
"""Lightness thresholds of the steps by which an image acts in a mask; the first is that of visibility."""

_ACROSS_PX: Final = 256
"""Resolution of an image in a mask: 1 mm on A4."""


def _greys(pixels: Pixels) -> Iterator[tuple[float, list[Points]]]:
    """Grey level and closed rings of the area at least as light, in shares of the image's width and height."""
    step = -(-max(pixels.shape[:2]) // _ACROSS_PX)
    small = pixels[::step, ::step].astype(np.float64) / 255.0
    light = small[:, :, :3] @ np.array((0.2126, 0.7152, 0.0722))  # CSS Masking 1, section 7.10.1
    if small.shape[2] == 4:
        light = light * small[:, :, 3]
    rows, columns = light.shape
    padded = np.pad(light, 1)
    x = np.clip((np.arange(-1, columns + 1) + 0.5) / columns, 0.0, 1.0)
    y = np.clip((np.arange(-1, rows + 1) + 0.5) / rows, 0.0, 1.0)
    for level, above in pairwise((*_LEVELS, 1.0)):
        yield (level + above) / 2.0, isolines(padded, level, x, y)


class Embedding:
    """Draws images."""

    def __init__(self, scene: SvgScene, nested: Callable[[Document], Nested]) -> None:
        self._scene = scene
        self._nested = nested

    def image(self, element: Element, declared: Declared, place: Place) -> None:
        """An ``image`` element: an embedded photograph or SVG."""
        if not place.style.visible:
            return
        try:
            found = embedded(href_of(element), self._scene.limits)
        except BadImage as problem:
            self._scene.notes.add(f"<image> is not drawn: {problem}", line_of(element))
            return
        x = self._scene.length(element, declared, "x", "x", place, 0.0)
        y = self._scene.length(element, declared, "y", "y", place, 0.0)
        if found.svg is not None:
            self._nested_svg(element, declared, found.svg, place, x, y)
            return
        assert found.pixels is not None
        rows, columns = found.pixels.shape[:2]
        width, height = self._image_size(element, declared, place, columns, rows)
        if width <= 0.0 or height <= 0.0:
            return
        moved = replace(place, matrix=multiply(place.matrix, translation(x, y)))
        aspect = element.get("preserveAspectRatio", "")
        if "slice" in aspect:
            moved = self._scene.framed(moved, 0.0, 0.0, width, height)
        fit = fit_view_box((0.0, 0.0, columns, rows), aspect, width, height)
        matrix = multiply(moved.matrix, multiply(fit, scaling(columns, rows)))
        if place.silent:
            self._lets_through(element, found.pixels, replace(moved, matrix=matrix))
            return
        shapes.rectangle(self._scene.painting.segments, 0.0, 0.0, 1.0, 1.0)
        opaque = found.pixels.shape[2] == 3 and place.alpha >= 1.0
        mark = Mark(matrix, Paint("#000000", place.alpha, None, opaque), None, False, moved.clip, place.layer)
        self._scene.painting.add(
            replace(
                mark,
                back_to=place.back_to,
                photograph=found.pixels,
                origin=element,
                line_number=line_of(element),
            )
        )

    def _lets_through(self, element: Element, pixels: Pixels, place: Place) -> None:
        """A photograph in a mask: areas of equal grey, lighter ones on top of darker ones."""
        self._scene.notes.add(f"an image in a mask counts by {len(_LEVELS)} steps of its lightness", line_of(element))
        painting = self._scene.painting
        for grey, rings in _greys(pixels):
            before = len(painting.segments.starts)
            for ring in rings:
                painting.segments.begin()
                for begin, end in pairwise(ring.tolist()):
                    painting.segments.line(*begin, *end)
                painting.segments.close()
            if len(painting.segments.starts) > before:
                self._scene.count_segments(element)
                share = round(255 * grey)
                paint = Paint(f"#{share:02x}{share:02x}{share:02x}", place.alpha)
                painting.add(Mark(place.matrix, paint, None, True, place.clip, origin=element))

    def _image_size(
        self, element: Element, declared: Declared, place: Place, own_width: float, own_height: float
    ) -> tuple[float, float]:
        """Width and height of an image; a missing side follows from its proportion."""
        width = self._scene.length(element, declared, "width", "x", place, -1.0)
        height = self._scene.length(element, declared, "height", "y", place, -1.0)
        width_given = declared.get("width", "auto") != "auto"
        height_given = declared.get("height", "auto") != "auto"
        if not width_given:
            width = own_width * height / own_height if height_given else own_width
        if not height_given:
            height = own_height * width / own_width
        return width, height

    def _nested_svg(self, element: Element, declared: Declared, data: bytes, place: Place, x: float, y: float) -> None:
        """An embedded SVG, drawn in its position."""
        if len(place.inside) > 4:
            self._scene.notes.add("an image within an image within an image is not drawn", line_of(element))
            return
        try:
            name = f"{self._scene.document.name}, line {line_of(element)}"
            document = parse_document(data, name, self._scene.limits, self._scene.notes)
        except SourceError as problem:
            self._scene.notes.add(f"<image> is not drawn: {problem}", line_of(element))
            return
        inner = self._nested(document)
        scene = inner.scene
        root = document.root
        own = scene.cascade.declared(root)
        box = parse_view_box(root.get("viewBox", ""))
        own_width, own_height, _ = picture_size_px(root, own, box, 16.0, scene.notes)
        width, height = self._image_size(element, declared, place, own_width, own_height)
        if min(width, height, own_width, own_height) <= 0.0 or (box is not None and min(box[2:]) <= 0.0):
            return
        moved = replace(place, matrix=multiply(place.matrix, translation(x, y)))
        moved = self._scene.framed(moved, 0.0, 0.0, width, height)
        fit = fit_view_box((0.0, 0.0, own_width, own_height), element.get("preserveAspectRatio", ""), width, height)
        matrix = multiply(moved.matrix, fit)
        style = scene.style(own, scene.first_style)
        moved = replace(moved, matrix=matrix, style=style, inside=(*place.inside, element), uses=())
        inner.show(scene.in_view_box(root, moved, box, own_width, own_height))
        self._scene.visited = scene.visited
