"""Scenes as SVG, written directly: a hundred thousand strokes take less than a second."""

from __future__ import annotations

import itertools
from typing import Final
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from linewright.pictures.scene import Ink, Label, Patch, Scene

UNITS_PER_MM: Final = 1000
"""Coordinates are whole micrometres: finer than any step, and integers are written and read fastest."""

STROKES_PER_PATH: Final = 500
"""Strokes per path element: viewers search for what is under the pointer path by path, and are slow with paths of a
megabyte."""


def to_svg(scene: Scene) -> str:
    """The scene as an SVG document, sized in mm."""
    width, height = f"{scene.width_mm:g}", f"{scene.height_mm:g}"
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<svg xmlns="http://www.w3.org/2000/svg"',
        f' width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}">',
        f"<title>{escape(scene.title)}</title>",
    ]
    for item in scene.items:
        if isinstance(item, Patch):
            out.append(_patch(item))
        elif isinstance(item, Label) and item.as_strokes:
            from linewright.pictures.letters import lettered

            out.extend(_ink(lettered(item), f'role="img" aria-label={quoteattr(item.text)}'))
        elif isinstance(item, Label):
            out.append(
                f'<text x="{item.x_mm:g}" y="{item.y_mm:g}" font-family="sans-serif" font-size="{item.size_mm:g}" '
                f'fill="{item.colour}" text-anchor="{item.anchor}">{escape(item.text)}</text>'
            )
        else:
            out.extend(_ink(item))
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _patch(item: Patch) -> str:
    edge = f' stroke="{item.edge}" stroke-width="{item.edge_mm:g}"' if item.edge else ""
    return (
        f'<rect x="{item.x_mm:g}" y="{item.y_mm:g}" width="{item.width_mm:g}" height="{item.height_mm:g}" '
        f'fill="{item.fill or "none"}"{edge}/>'
    )


def _ink(item: Ink, about: str = "") -> list[str]:
    whole = np.rint(item.points_mm * UNITS_PER_MM).astype(np.int64)
    texts = [f"{x} {y}" for x, y in whole.tolist()]
    starts = item.starts.tolist()
    # A dot is a line of length 0, visible through its round ends.
    strokes = ["M" + "L".join(texts[a:b]) if b - a > 1 else f"M{texts[a]}h0" for a, b in itertools.pairwise(starts)]
    opacity = f' opacity="{item.opacity:g}"' if item.opacity < 1 else ""
    name = about or f"id={quoteattr(item.name)}"
    head = (
        f'<g {name} transform="scale({1 / UNITS_PER_MM:g})" fill="none" stroke="{item.colour}" '
        f'stroke-width="{item.width_mm * UNITS_PER_MM:.0f}" stroke-linecap="round" stroke-linejoin="round"{opacity}>'
    )
    paths = [
        f'<path d="{"".join(strokes[i : i + STROKES_PER_PATH])}"/>' for i in range(0, len(strokes), STROKES_PER_PATH)
    ]
    return [head, *paths, "</g>"]
