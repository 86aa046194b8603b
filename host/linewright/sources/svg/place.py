"""`Place`: the element that the walk has reached, with what it inherits; and `Pattern`, a paint."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree.ElementTree import Element

from linewright.sources.painting.bounds import Box
from linewright.sources.painting.marks import Line, Paint
from linewright.sources.painting.matrices import Matrix
from linewright.sources.svg.style import Style


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """Content that is repeated.

    Parameters
    ----------
    content : the element whose children are drawn.
    tile : ``(x, y, width, height)`` in units of the pattern.
    matrix : those units to mm of the page.
    inner : units of the content to those of a tile whose corner is the origin.
    viewport : what percentages of the content refer to.
    alpha : opacity of the paint.
    cut : whether content is cut at its tile.
    """

    content: Element
    tile: Box
    matrix: Matrix
    inner: Matrix
    viewport: tuple[float, float]
    alpha: float
    cut: bool


@dataclass(frozen=True, slots=True, eq=False)
class PatternLine:
    """A line whose ink is a pattern; the paint of ``line`` stands for nothing."""

    line: Line
    pattern: Pattern


@dataclass(frozen=True, slots=True)
class Context:
    """The paints that ``context-fill`` and ``context-stroke`` mean (SVG 2, section 13.3)."""

    fill: Paint | Pattern | None
    line: Paint | Pattern | None


@dataclass(frozen=True, slots=True)
class Place:
    """Where the walk stands.

    Parameters
    ----------
    matrix : units of the element to mm of the page.
    viewport : width and height that percentages refer to.
    layer, clip : indices as in `Mark`, -1 for none.
    uses : targets of the use elements that led here.
    inside : paint servers, clips, masks and markers that led here, so that none contains itself.
    alpha : product of the opacities of the groups around.
    back_to : see `Mark`.
    silent : whether what is drawn is the shape of a mask.
    """

    matrix: Matrix
    viewport: tuple[float, float]
    style: Style
    layer: int = -1
    clip: int = -1
    uses: tuple[Element, ...] = ()
    inside: tuple[Element, ...] = ()
    alpha: float = 1.0
    back_to: int = 0
    silent: bool = False
    context: Context | None = None
