"""Size of a picture: from ``width`` and ``height``, its ``viewBox``, or CSS's default."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from linewright.sources.painting.bounds import Box
from linewright.sources.painting.notes import Notes
from linewright.sources.svg.affine import parse_view_box
from linewright.sources.svg.cascade import Declared
from linewright.sources.svg.document import line_of
from linewright.sources.svg.lengths import length_px

# CSS 2.1, section 10.3.2: the size of a replaced element that states neither a size nor a ratio, px.
_SIZE_WITHOUT_ANY_PX = (300.0, 150.0)


def picture_size_px(
    root: Element, declared: Declared, box: Box | None, font_px: float, notes: Notes
) -> tuple[float, float, bool]:
    """Width and height of the root ``svg``, px, and whether the file states them.

    A percentage refers to a page, which does not exist here, so it counts as not stated. A single side gives the other
    by the proportion of the viewBox; without any, a unit of the viewBox is a px.
    """
    width = _side("width", root, declared, font_px, notes)
    height = _side("height", root, declared, font_px, notes)
    if box is None or box[2] <= 0.0 or box[3] <= 0.0:
        stated = width is not None and height is not None
        return (
            _SIZE_WITHOUT_ANY_PX[0] if width is None else width,
            _SIZE_WITHOUT_ANY_PX[1] if height is None else height,
            stated,
        )
    if width is None:
        return (box[2], box[3], True) if height is None else (height * box[2] / box[3], height, True)
    return (width, width * box[3] / box[2] if height is None else height, True)


def _side(name: str, root: Element, declared: Declared, font_px: float, notes: Notes) -> float | None:
    text = declared.get(name, "auto")
    if text == "auto" or text.endswith("%"):
        return None
    size = length_px(text, "x", (0.0, 0.0), font_px)
    if size is None:
        notes.add(f'{name}="{text[:40]}" is not a length; the viewBox decides instead', line_of(root))
    return size


def page_boxes(root: Element) -> list[Box]:
    """Pages of a file with several: those of its ``view`` elements, or its ``page`` elements in any namespace.

    A ``view`` beside the whole is a page of its own, after the first (SVG 2, section 16.6).
    """
    pages: list[Box] = []
    for element in root.iter():
        if element.tag.rpartition("}")[2] == "page":
            box = parse_view_box(" ".join(element.get(side, "") for side in ("x", "y", "width", "height")))
            if box is not None and min(box[2:]) > 0.0:
                pages.append(box)
    if pages:
        return pages
    views = [parse_view_box(e.get("viewBox", "")) for e in root.iter() if e.tag.rpartition("}")[2] == "view"]
    whole = parse_view_box(root.get("viewBox", ""))
    shown = [box for box in views if box is not None and min(box[2:]) > 0.0]
    return [whole, *shown] if shown and whole is not None else []
