"""`PatternTiles`: repeats a pattern's content in every tile that intersects the filled area."""

from __future__ import annotations

from dataclasses import replace
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np

from linewright.sources.painting.marks import Clip
from linewright.sources.painting.matrices import inverse, mean_scale, multiply, translation
from linewright.sources.svg.document import line_of, local_name
from linewright.sources.svg.place import Pattern, Place
from linewright.sources.svg.scene import DRAWN, SvgScene, Walker

_MOST_TILES: Final = 10_000
"""Most copies of a pattern's content; more are too fine for any pen."""


class PatternTiles:
    """Draws patterns."""

    def __init__(self, scene: SvgScene, walker: Walker) -> None:
        self._scene = scene
        self._walker = walker

    def draw(self, element: Element, place: Place, pattern: Pattern, region: int) -> None:
        """Draw a pattern's content in every tile that intersects the region, a silent mark."""
        painting = self._scene.painting
        painting.clips.append(Clip((region,), place.clip))
        clip = len(painting.clips) - 1
        box = self._scene.box_of_marks(region, pattern.matrix, unseen=len(self._scene.unseen), silent=True)
        if box is None or not any(local_name(c) in DRAWN for c in pattern.content):
            return
        line = painting.marks[region].line
        if line is not None:
            # The corner of a mitred line extends farthest.
            reach = line.width / 2.0 * (line.miter_limit if line.join == "miter" else 1.5)
            reach *= mean_scale(multiply(inverse(pattern.matrix), painting.marks[region].matrix))
            box = (box[0] - reach, box[1] - reach, box[2] + 2.0 * reach, box[3] + 2.0 * reach)
        x, y, width, height = pattern.tile
        left, top = np.floor((box[0] - x) / width), np.floor((box[1] - y) / height)
        right, bottom = np.ceil((box[0] + box[2] - x) / width), np.ceil((box[1] + box[3] - y) / height)
        count = (right - left) * (bottom - top)
        if not np.isfinite(count) or count > _MOST_TILES:
            what = f"a pattern of more than {_MOST_TILES} tiles is too fine for a pen and left out"
            self._scene.notes.add(what, line_of(element))
            return
        declared = self._scene.cascade.declared(pattern.content)
        style = self._scene.style(declared, self._scene.style_around(pattern.content))
        alpha = place.alpha * pattern.alpha
        inside = (*place.inside, pattern.content)
        base = replace(place, clip=clip, style=style, alpha=alpha, inside=inside, viewport=pattern.viewport)
        if pattern.alpha < 1.0:
            base = replace(base, back_to=max(base.back_to, len(painting.marks)))
        for row in range(int(top), int(bottom)):
            for column in range(int(left), int(right)):
                moved = multiply(pattern.matrix, translation(x + column * width, y + row * height))
                tile = replace(base, matrix=moved)
                if pattern.cut:
                    tile = self._scene.framed(tile, 0.0, 0.0, width, height)
                    painting.clips[tile.clip] = replace(painting.clips[tile.clip], kind="tile")
                self._walker.children(pattern.content, replace(tile, matrix=multiply(moved, pattern.inner)))
