"""`Effects`: opacity, clip paths and masks, which apply to an element with its contents."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final
from xml.etree.ElementTree import Element

from linewright.sources.painting.bounds import Box
from linewright.sources.painting.marks import Clip, Mark
from linewright.sources.painting.matrices import flattens, multiply, translation
from linewright.sources.svg import shapes
from linewright.sources.svg.cascade import Declared
from linewright.sources.svg.document import href_of, line_of, local_name
from linewright.sources.svg.grammar import url_of
from linewright.sources.svg.lengths import fraction
from linewright.sources.svg.outlines import SHAPES, Outlines
from linewright.sources.svg.paint import NONE
from linewright.sources.svg.place import Place
from linewright.sources.svg.scene import SHAPE_PAINT, SvgScene, Walker, for_us, shown
from linewright.sources.svg.writing import Writing

EFFECTS: Final = frozenset(("opacity", "clip-path", "mask", "filter", "mix-blend-mode"))
"""Properties that apply to an element with its contents."""

_MOST_NESTED: Final = 16
"""Largest nesting of clips, masks, patterns and markers; pictures have two or three."""

_COST_NESTED: Final = 50
"""Cost of a nested clip or mask, in elements: a few levels multiply without bound."""


class Effects:
    """Draws elements under their effects."""

    def __init__(self, scene: SvgScene, walker: Walker, outlines: Outlines, writing: Writing) -> None:
        self._scene = scene
        self._walker = walker
        self._outlines = outlines
        self._writing = writing

    def applied(self, element: Element, declared: Declared, place: Place, draw: Callable[[Place], None]) -> None:
        """Draw an element's contents, then apply its effects."""
        if EFFECTS.isdisjoint(declared):
            draw(place)
            return
        painting, line = self._scene.painting, line_of(element)
        if declared.get("filter", NONE).lower() != NONE:
            self._scene.notes.add("filter is not applied", line)
        share = fraction(declared.get("opacity", "1"))
        alpha = 1.0 if share is None else min(1.0, max(0.0, share))
        blending = declared.get("mix-blend-mode", "normal").lower()
        if blending != "normal":
            self._scene.notes.add(f"mix-blend-mode: {blending} mixes no inks here; what is below stays seen", line)
        if alpha < 1.0 or blending != "normal":
            place = replace(place, alpha=place.alpha * alpha, back_to=len(painting.marks))
        inner = place
        wanted = [(name, self._effect(name, declared, place, line)) for name in ("mask", "clip-path")]
        reserved: list[tuple[str, Element, int]] = []
        for name, target in wanted:
            if target is not None:
                painting.clips.append(Clip((), inner.clip))
                inner = replace(inner, clip=len(painting.clips) - 1)
                reserved.append((name, target, inner.clip))
        if any(name == "mask" for name, _, _ in reserved):
            inner = replace(inner, back_to=max(inner.back_to, len(painting.marks)))
        first, unseen = len(painting.marks), len(self._scene.unseen)
        self._scene.bounding += bool(reserved)
        draw(inner)
        self._scene.bounding -= bool(reserved)
        for name, target, number in reserved:
            box = self._scene.box_of_marks(first, place.matrix, unseen=unseen)
            fill = self._mask if name == "mask" else self._clip_path
            fill(target, replace(place, inside=(*place.inside, target)), box, number)

    def _effect(self, name: str, declared: Declared, place: Place, line: int | None) -> Element | None:
        """The clip path or mask of an element."""
        text = declared.get(name, NONE)
        link = url_of(text)
        if link is None:
            if text.lower() != NONE:
                self._scene.notes.add(f"{name} '{text[:40]}' is not read; the lines are drawn without it", line)
            return None
        target = self._scene.document.target(link[0])
        if target is None or local_name(target) != {"mask": "mask", "clip-path": "clipPath"}[name]:
            self._scene.notes.add(f"{name} '{link[0][:40]}' is not in the file; the lines are drawn without it", line)
            return None
        if target in place.inside:
            self._scene.notes.add(f"{name} '{link[0][:40]}' contains itself and is left out", line)
            return None
        if len(place.inside) >= _MOST_NESTED:
            what = f"{name}s within others, more than {_MOST_NESTED} deep, are left out"
            self._scene.notes.add(what, line)
            return None
        if place.inside:
            self._scene.visited += _COST_NESTED
        return target

    def _clip_path(self, target: Element, place: Place, box: Box | None, number: int) -> None:
        """Give clip ``number`` the shapes of a ``clipPath`` (CSS Masking 1, section 6)."""
        painting = self._scene.painting
        declared = self._scene.cascade.declared(target)
        parent = painting.clips[number].parent
        style = self._scene.style(declared, self._scene.style_around(target))
        place = replace(place, clip=-1, style=style, silent=True, alpha=1.0, layer=-1)
        own = self._effect("clip-path", declared, place, line_of(target))
        place = self._scene.transformed(target, declared, place)
        if own is not None:
            painting.clips.append(Clip((), parent))
            parent = len(painting.clips) - 1
            inside = replace(place, inside=(*place.inside, own))
            self._clip_path(own, inside, box, parent)
        if target.get("clipPathUnits") == "objectBoundingBox":
            place = _in_box(place, box)
        members: list[int] = []
        if not flattens(place.matrix):
            for child in target:
                members += self._clip_member(child, place)
        painting.clips[number] = Clip(tuple(members), parent)

    def _clip_member(self, child: Element, place: Place, *, used: bool = False) -> list[int]:
        """Silent marks of one child of a ``clipPath``: a shape, a text, or a ``use`` of one."""
        name = local_name(child)
        if (name not in SHAPES and name not in ("path", "text", "use")) or (used and name == "use"):
            return []
        declared = self._scene.cascade.declared(child)
        declared.pop("opacity", None)  # opacity does not affect clips (CSS Masking 1, section 6.1)
        if not shown(declared) or not for_us(child):
            return []
        place = replace(place, style=self._scene.style(declared, place.style))
        if "transform" in declared:
            place = self._scene.transformed(child, declared, place)
        own = self._effect("clip-path", declared, place, line_of(child))
        if own is not None:
            self._scene.painting.clips.append(Clip((), place.clip))
            place = replace(place, clip=len(self._scene.painting.clips) - 1)
        first, boxes, unseen = len(self._scene.painting.marks), len(self._scene.boxes), len(self._scene.unseen)
        members: list[int] = []
        if name == "use":
            target = self._scene.document.target(href_of(child))
            if target is not None and target not in place.inside:
                x = self._scene.length(child, declared, "x", "x", place, 0.0)
                y = self._scene.length(child, declared, "y", "y", place, 0.0)
                moved = replace(place, matrix=multiply(place.matrix, translation(x, y)))
                members = self._clip_member(target, moved, used=True)
        elif name == "text":
            plain = replace(place.style, fill="#000000", stroke=NONE, fill_alpha=1.0)
            self._writing.text(child, declared, replace(place, style=plain), plain=True)
            members = self._silenced(first)
        elif place.style.visible:
            segments = self._scene.painting.segments
            rows, outlines = len(segments), len(segments.starts)
            try:
                self._outlines.draw(child, name, declared, place, segments)
                self._scene.count_segments(child)
                if len(segments.starts) > outlines:
                    mark = Mark(place.matrix, SHAPE_PAINT, None, place.style.clip_even_odd, place.clip, silent=True)
                    members = [self._scene.painting.add(replace(mark, origin=child, line_number=line_of(child)))]
            except shapes.BadShape:
                segments.drop(rows, outlines)
        if own is not None:
            box = self._scene.box_of_marks(first, place.matrix, unseen=unseen, silent=True)
            self._clip_path(own, replace(place, inside=(*place.inside, own)), box, place.clip)
        self._forget_boxes(boxes, unseen)
        return members

    def _silenced(self, first: int) -> list[int]:
        """The visible marks from ``first`` on, made silent as the shape of a clip or mask."""
        marks = self._scene.painting.marks
        members = [i for i in range(first, len(marks)) if not marks[i].silent]
        for i in members:
            marks[i] = replace(marks[i], silent=True)
        return members

    def _forget_boxes(self, boxes: int, unseen: int) -> None:
        """Exclude the shape of a clip or mask from surrounding bounding boxes (SVG 2, 8.10)."""
        del self._scene.boxes[boxes:], self._scene.unseen[unseen:]

    def _mask(self, target: Element, place: Place, box: Box | None, number: int) -> None:
        """Give clip ``number`` the content of a ``mask`` (CSS Masking 1, section 7)."""
        painting = self._scene.painting
        declared = self._scene.cascade.declared(target)
        parent = painting.clips[number].parent
        style = self._scene.style(declared, self._scene.style_around(target))
        place = replace(place, clip=-1, style=style, alpha=1.0, back_to=0, layer=-1, context=None)
        by_box = target.get("maskUnits", "objectBoundingBox") != "userSpaceOnUse"
        by_box_within = target.get("maskContentUnits", "") == "objectBoundingBox"
        if (by_box or by_box_within) and (box is None or box[2] <= 0.0 or box[3] <= 0.0):
            painting.clips[number] = Clip((), parent)
            return
        viewport = replace(place, viewport=(1.0, 1.0)) if by_box else place
        across, down = viewport.viewport
        x = self._scene.length(target, declared, "x", "x", viewport, -0.1 * across)
        y = self._scene.length(target, declared, "y", "y", viewport, -0.1 * down)
        width = self._scene.length(target, declared, "width", "x", viewport, 1.2 * across)
        height = self._scene.length(target, declared, "height", "y", viewport, 1.2 * down)
        if by_box and box is not None:
            x, y, width, height = box[0] + x * box[2], box[1] + y * box[3], width * box[2], height * box[3]
        if width <= 0.0 or height <= 0.0:
            painting.clips[number] = Clip((), parent)
            return
        region = self._scene.framed(replace(place, clip=parent), x, y, width, height).clip
        painting.clips[region] = replace(painting.clips[region], kind="clip")
        own = self._effect("mask", declared, place, line_of(target))
        if own is not None:
            painting.clips.append(Clip((), region))
            region = len(painting.clips) - 1
            self._mask(own, replace(place, inside=(*place.inside, own)), box, region)
        if target.get("maskContentUnits") == "objectBoundingBox":
            place = _in_box(place, box)
        first, boxes, unseen = len(painting.marks), len(self._scene.boxes), len(self._scene.unseen)
        self._walker.children(target, replace(place, silent=True))
        members = tuple(self._silenced(first))
        self._forget_boxes(boxes, unseen)
        alpha = declared.get("mask-type", "luminance").lower() == "alpha"
        painting.clips[number] = Clip(members, region, "alpha" if alpha else "mask")


def _in_box(place: Place, box: Box | None) -> Place:
    if box is None:
        return replace(place, matrix=(0.0,) * 6)
    unit = (box[2], 0.0, 0.0, box[3], box[0], box[1])
    return replace(place, matrix=multiply(place.matrix, unit), viewport=(1.0, 1.0))
