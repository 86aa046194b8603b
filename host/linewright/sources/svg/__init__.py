"""Strokes from SVG files.

What is drawn: every line that has a colour. A shape with a fill but no stroke gives its outline; a shape with both
gives its outline once, in the colour of its stroke. Fillings are left bare, or hatched where that is asked for. Widths
of lines are not read: the pen has the width it has. Dashes are drawn as dashes, lines without length and with round
caps as dots. What hangs over the edge of the picture (or of an inner viewport) is cut there.

What is not drawn is named in a warning, never dropped in silence: texts, photographs, markers, and the effects of
clip paths, masks, filters and patterns. What is hidden in the file stays hidden.

The way of a picture through this package::

    bytes -> document -> walk (cascade, style, affine, shapes, path_data) -> segments -> flatten -> dashes -> clip
"""

from linewright.sources.svg.fillings import Hatching
from linewright.sources.svg.limits import Limits
from linewright.sources.svg.reader import DEFAULT_TOLERANCE_MM, read_svg
from linewright.sources.svg.writer import write_svg_strokes

__all__ = ["DEFAULT_TOLERANCE_MM", "Hatching", "Limits", "read_svg", "write_svg_strokes"]
