"""Strokes from SVG files: how the file is read, up to a `Painting`; `linewright.sources.painting` makes strokes of it.

What cannot be drawn is named in a warning, never dropped in silence. What is hidden in the file stays hidden. Nothing
outside the file is ever read, but for fonts.

The way of a picture through this package::

    bytes -> document -> walk (cascade, style, affine, shapes, path_data, servers, markers, images, words) -> Painting
"""

from linewright.sources.painting.limits import Limits
from linewright.sources.painting.shading import Hatching
from linewright.sources.svg.reader import DEFAULT_TOLERANCE_MM, painting_of, read_svg

__all__ = ["DEFAULT_TOLERANCE_MM", "Hatching", "Limits", "painting_of", "read_svg"]
