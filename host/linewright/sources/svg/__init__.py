"""Strokes from SVG files: how the file is read, up to a `Painting`; `linewright.sources.painting` makes strokes of it.

What cannot be drawn is named in a warning, never dropped in silence. What is hidden in the file stays hidden. Nothing
outside the file is ever read, but for fonts.

The way of a picture through this package::

    bytes -> document -> walk -> Painting

with what the walk draws, the lower ones used by the upper ones::

    embedding (pictures inside), markers (at vertices)
    effects (opacity, clips, masks)
    writing (characters -> text_layout -> typesetting)
    outlines (shapes, path_data), tiles (patterns)
    scene (cascade, style, servers, affine): what all of them share
"""

from linewright.sources.painting.limits import FileLimits
from linewright.sources.painting.shading import FillHatching
from linewright.sources.svg.reader import DEFAULT_TOLERANCE_MM, painting_of, read_svg

__all__ = ["DEFAULT_TOLERANCE_MM", "FileLimits", "FillHatching", "painting_of", "read_svg"]
