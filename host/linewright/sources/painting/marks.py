"""`Painting`: the contents of a drawing file, shapes in paint order, as curves.

All readers of drawing files return it. `linewright.sources.painting.drawn` makes strokes of it at its size on the
sheet.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from linewright.sources.painting.notes import Notes
from linewright.sources.painting.segments import Segments

if TYPE_CHECKING:
    from linewright.sources.painting.gradients import Gradient
    from linewright.sources.painting.matrices import Matrix

Pixels = NDArray[np.uint8]
"""(h, w, 3) or (h, w, 4): red, green, blue and optionally opacity."""

Cap = Literal["butt", "round", "square"]
Join = Literal["miter", "round", "bevel"]


@dataclass(frozen=True, slots=True)
class Paint:
    """Paint of an area or a line.

    Parameters
    ----------
    colour : ``#rrggbb`` of the ink. For a gradient: its representative colour for lines.
    alpha : opacity, 0 to 1, including that of enclosing groups.
    gradient : varying colours; None for a flat colour.
    opaque : whether it hides what is below it in its own group.
    """

    colour: str
    alpha: float = 1.0
    gradient: Gradient | None = None
    opaque: bool = True


@dataclass(frozen=True, slots=True)
class Line:
    """Stroking of outlines. Lengths are in the units of the mark, before its matrix.

    Parameters
    ----------
    width : line width in the file; the drawn width is the pen's.
    dashes : dash, gap, dash, ... of even number, empty for an unbroken line.
    path_length : the file's stated length of the path, by which dashes are scaled; None: the true length.
    """

    paint: Paint
    width: float = 1.0
    cap: Cap = "butt"
    join: Join = "miter"
    miter_limit: float = 4.0
    dashes: tuple[float, ...] = ()
    dash_offset: float = 0.0
    path_length: float | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """One shape: outlines with fill and stroke.

    Parameters
    ----------
    matrix : own units to mm of the page at its stated size.
    fill, line : None if absent.
    even_odd : even-odd fill rule; False: winding.
    clip : index into the painting's clips, -1 for none.
    layer : index into its layers, -1 outside of all.
    back_to : index of the first mark that this one may hide: a shape in a transparent group hides only what is in
        its group.
    silent : never drawn, because it is the shape of a clip or a mask.
    photograph : pixels in place of a filling, spread over the unit square of its own
        units; None for shapes.
    origin, line_number : its origin for messages: argument of `Painting.describe`, and line.
    """

    matrix: Matrix
    fill: Paint | None = None
    line: Line | None = None
    even_odd: bool = False
    clip: int = -1
    layer: int = -1
    back_to: int = 0
    silent: bool = False
    photograph: Pixels | None = None
    origin: object = None
    line_number: int | None = None


@dataclass(frozen=True, slots=True)
class Clip:
    """Region in which marks are visible.

    Parameters
    ----------
    members : indices of silent marks; their union is visible.
    parent : enclosing clip, -1 for none.
    kind : ``page`` is the edge of the paper, where a cut filling is left open; ``frame`` an inner viewport; ``tile``
        that of a pattern, where a filling that continues in the next tile is left open; ``mask``: visible where its
        painted
        members are light; ``alpha``: where they are opaque.
    """

    members: tuple[int, ...]
    parent: int = -1
    kind: Literal["page", "frame", "tile", "clip", "mask", "alpha"] = "clip"


def _nowhere(_origin: object) -> str:
    return ""


@dataclass(eq=False)
class Painting:
    """Shapes in paint order.

    Parameters
    ----------
    segments : outlines of all marks, each in its mark's own units; ``owner[i]`` is the mark of outline ``i``,
    in ascending order.
    layers : names.
    width_mm, height_mm : of the page as the file states it.
    size_stated : False: the strokes' own extent decides.
    name : of the file, for messages.
    describe : the place of a mark's origin in words, for errors.
    """

    name: str = "the picture"
    notes: Notes = field(default_factory=Notes)
    segments: Segments = field(default_factory=Segments)
    owner: array[int] = field(default_factory=lambda: array("q"))
    marks: list[Mark] = field(default_factory=list)
    clips: list[Clip] = field(default_factory=list)
    layers: list[str] = field(default_factory=list)
    width_mm: float = 0.0
    height_mm: float = 0.0
    size_stated: bool = True
    describe: Callable[[object], str] = _nowhere

    def in_tile(self, clip: int) -> bool:
        """Whether a clip, or an enclosing one, is the tile of a pattern."""
        while clip >= 0 and self.clips[clip].kind != "tile":
            clip = self.clips[clip].parent
        return clip >= 0

    def add(self, mark: Mark) -> int:
        """Assign all outlines since the last mark to this one; returns its index."""
        self.marks.append(mark)
        number = len(self.marks) - 1
        self.owner.extend([number] * (len(self.segments.starts) - len(self.owner)))
        return number
