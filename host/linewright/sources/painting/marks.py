"""`Painting`: a picture file read to the end, its shapes in the order in which they are painted, curves still curves.

What every reader of drawing files (SVG, and others beside it) hands over, and what `linewright.sources.painting.drawn`
makes strokes of, once it is known where on the sheet and how large.
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
"""(h, w, 3) or (h, w, 4): red, green, blue and, where there are four, opacity."""

Cap = Literal["butt", "round", "square"]
Join = Literal["miter", "round", "bevel"]


@dataclass(frozen=True, slots=True)
class Paint:
    """What an area or a line is painted with.

    Parameters
    ----------
    colour : ``#rrggbb`` of the ink. For a gradient: the one that stands for it where a line has one colour.
    alpha : how much of what lies below is covered, 0 to 1, with the opacity of the groups around.
    gradient : colours that change from place to place; None for a flat colour.
    opaque : whether it hides what lies below it in its own group.
    """

    colour: str
    alpha: float = 1.0
    gradient: Gradient | None = None
    opaque: bool = True


@dataclass(frozen=True, slots=True)
class Line:
    """How outlines are stroked. Lengths are in the units of the mark, before its matrix.

    Parameters
    ----------
    width : of the line as the file has it; the pen's own width decides what is drawn.
    dashes : dash, gap, dash, ... of even number, empty for an unbroken line.
    path_length : what the file calls the whole length, which dashes are then measured by; None: as it is.
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
    """One shape: its outlines, and how they are filled and stroked.

    Parameters
    ----------
    matrix : own units to mm of the page, as large as the file states it.
    fill, line : None where there is none.
    even_odd : fill rule; else by winding.
    clip : index into the painting's clips, -1 for none.
    layer : index into its layers, -1 outside of all.
    back_to : index of the first mark that this one may hide: a shape in a group that is seen through hides what is in
        its group, and nothing below it.
    silent : never drawn: the shape of a clip or a mask.
    photograph : pixels in place of a filling, spread over the unit square of its own
        units; None for shapes.
    origin, line_number : where it comes from, for messages: what `Painting.describe` understands, and the line.
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
    """Where marks are seen.

    Parameters
    ----------
    members : indices of silent marks; seen is what lies in any of them.
    parent : another clip that must be passed as well, -1 for none.
    kind : ``page`` is the edge of the paper, where a cut filling is left open; ``frame`` an inner viewport; ``tile``
        that of a pattern, where a filling that goes on in the next one is left open; ``mask`` lets through where its
        members, painted one over the other, are light; ``alpha`` where they are opaque.
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
    size_stated : False where the strokes' own extent decides instead.
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
        """Whether a clip, or one around it, is the tile of a pattern."""
        while clip >= 0 and self.clips[clip].kind != "tile":
            clip = self.clips[clip].parent
        return clip >= 0

    def add(self, mark: Mark) -> int:
        """Take all outlines that were begun since the last mark as this one's; its index."""
        self.marks.append(mark)
        number = len(self.marks) - 1
        self.owner.extend([number] * (len(self.segments.starts) - len(self.owner)))
        return number
