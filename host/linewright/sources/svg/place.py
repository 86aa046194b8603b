"""`Place`: state of the walk at an element, with inherited values; and `Pattern`, a paint."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree.ElementTree import Element

from linewright.sources.painting.bounds import Box
from linewright.sources.painting.marks import Line, Paint
from linewright.sources.painting.matrices import Matrix
from linewright.sources.svg.style import Style


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """Content repeated in tiles.

    Parameters
    ----------
    content : element whose children are drawn.
    tile : ``(x, y, width, height)`` in units of the pattern.
    matrix : those units to mm of the page.
    inner : units of the content to those of a tile with its corner at the origin.
    viewport : reference of the content's percentages.
    alpha : opacity of the paint.
    cut : clip the content at its tile.
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
    """A line painted with a pattern; the paint of ``line`` is unused."""

    line: Line
    pattern: Pattern


@dataclass(frozen=True, slots=True)
class Context:
    """Paints for ``context-fill`` and ``context-stroke`` (SVG 2, section 13.3)."""

    fill: Paint | Pattern | None
    line: Paint | Pattern | None


@dataclass(frozen=True, slots=True)
class Place:
    """State of the walk at an element.

    Parameters
    ----------
    matrix : units of the element to mm of the page.
    viewport : width and height that percentages refer to.
    layer, clip : indices as in `Mark`, -1 for none.
    uses : targets of the enclosing use elements.
    inside : enclosing paint servers, clips, masks and markers, to detect cycles.
    alpha : product of the opacities of enclosing groups.
    back_to : see `Mark`.
    silent : True while drawing the shape of a mask.
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
